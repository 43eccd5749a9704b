"""A starter for a new loom: a small one that holds together, with comments that say what goes where."""

from __future__ import annotations

from collections.abc import Sequence

from loomproof.loom import columns
from loomproof.loom.conversion import Need
from loomproof.loom.identity import FILE, SETTINGS, toml_text
from loomproof.loom.model import Settings
from loomproof.loom.patterns import Usual, Without
from loomproof.loom.tables import csv_bytes

_ROWS: dict[str, list[dict[str, str]]] = {
    "connectors": [
        {"connector": "C1", "kind": "plug", "cavities": "1-3 / 4-6", "description": "example: body plug"},
        {"connector": "LAMP", "kind": "plug", "cavities": "1-2", "description": "example: lamp"},
        {"connector": "E1", "kind": "ring", "cavities": "1", "description": "example: earth ring"},
        {"connector": "S1", "kind": "splice", "description": "example: joint in the earth"},
    ],
    "wires": [
        {
            "wire": "W1",
            "from_connector": "C1",
            "from_cavity": "1",
            "to_connector": "LAMP",
            "to_cavity": "1",
            "colour": "GY/BK",
            "csa_mm2": "0.75",
            "length_m": "1.4",
            "circuit": "lamp",
        },
        {
            "wire": "W2",
            "from_connector": "LAMP",
            "from_cavity": "2",
            "to_connector": "S1",
            "colour": "BN",
            "csa_mm2": "0.75",
            "length_m": "0.4",
            "circuit": "earth",
        },
        {
            "wire": "W3",
            "from_connector": "S1",
            "to_connector": "E1",
            "to_cavity": "1",
            "colour": "BN",
            "csa_mm2": "1.5",
            "length_m": "0.2",
            "circuit": "earth",
        },
        {
            "wire": "W4",
            "from_connector": "C1",
            "from_cavity": "2",
            "to_connector": "S1",
            "colour": "BN",
            "csa_mm2": "0.75",
            "length_m": "1.1",
            "circuit": "earth",
        },
    ],
    "components": [],
    "circuits": [
        {
            "circuit": "lamp",
            "purpose": "example: lamp",
            "designation": "58",
            "load_a": "0.42",
            "fuse": "7.5 A",
            "needs": "earth",
        },
        {"circuit": "earth", "purpose": "example: earth", "designation": "31"},
    ],
    "cavities": [{"connector": "C1", "cavity": cavity, "spare": "yes"} for cavity in ("3", "4", "5", "6")],
}


def starter(name: str, usual: Sequence[Usual] = ()) -> dict[str, bytes]:
    """Return the files of a starter folder by name: a loom of two plugs that `check` passes.

    Circuits that looms of a kind usually have are added to theirs, with no wire yet.
    """
    files = {FILE: _toml(name).encode()}
    for table, rows in (_ROWS | {"circuits": [*_ROWS["circuits"], *map(_row, usual)]}).items():
        headings = [column.name for column in columns.TABLES[table]]
        cells = [[row.get(heading, "") for heading in headings] for row in rows]
        files[f"{table}.csv"] = csv_bytes(headings, cells)
    return files


def _row(usual: Usual) -> dict[str, str]:
    need = Need.OPTIONAL if usual.without is Without.YES else Need.NEEDED
    return {
        "circuit": usual.circuit,
        "purpose": usual.purpose,
        "designation": usual.designation,
        "need": need.value,
    }


def _toml(name: str) -> str:
    default = Settings()
    lines = [
        "# A loom: this file and the tables beside it, which open in any spreadsheet.",
        "# Names are text: 01 is not 1. Format columns of names as text before you type into them.",
        "# Replace the example rows by your own; a check of the description says what does not fit.",
        "",
        "[loom]",
        f"name = {toml_text(name)}",
        '# serial = "…"        # what tells this loom from others of its kind',
        '# part_number = "…"   # of the design, and its revision; both stand on the certificate',
        '# revision = "…"',
        '# description = "…"',
        "",
        "[tables]",
        '# The code of the colours in wires.csv: "IEC 60757", "BS AU 7" or "German".',
        'colour_code = "IEC 60757"',
        '# decimal = ","        # where your spreadsheet writes 0,75 and not 0.75',
        "",
        "# Taken where the tables say nothing; uncomment to set your own.",
        "# [defaults]",
        *(f"# {setting} = {getattr(default, setting)!r}" for setting in SETTINGS),
        "",
        "# A question about the conversion, whose answer makes circuits needed, optional or unused:",
        "# [[choice]]",
        '# name = "lamp"',
        '# question = "Does the car keep this lamp?"',
        '# default = "yes"',
        "# [[choice.answer]]",
        '# name = "yes"',
        '# makes = { lamp = "needed" }',
        "# [[choice.answer]]",
        '# name = "no"',
        '# makes = { lamp = "unused" }',
        "",
        "# What stands in the tables (* marks a needed heading; a heading of your own starts with #):",
    ]
    for table, known in columns.TABLES.items():
        lines += ["#", f"# {table}.csv" + (" (may be left out)" if table in columns.OPTIONAL else "")]
        for column in known:
            lines.append(f"#   {column.name + ('*' if column.needed else ''):<16} {column.help}")
    return "\n".join(lines) + "\n"
