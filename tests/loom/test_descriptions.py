"""What is wrong with a description is said at its cell, all of it at once, and what is odd is asked about."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from loomproof.errors import DescriptionError, Problem
from loomproof.loom.reading import LoadedLoom, load_files

TAIL = {path.name: path.read_bytes() for path in (Path(__file__).parents[2] / "fixtures/tail_lamp").iterdir()}
Change = Callable[[dict[str, bytes]], None]


def changed(file: str, old: str, new: str) -> dict[str, bytes]:
    files = dict(TAIL)
    assert old.encode() in files[file]
    files[file] = files[file].replace(old.encode(), new.encode(), 1)
    return files


def added(file: str, line: str) -> dict[str, bytes]:
    return TAIL | {file: TAIL[file] + f"{line}\n".encode()}


def problems(files: dict[str, bytes]) -> tuple[Problem, ...]:
    with pytest.raises(DescriptionError) as caught:
        load_files(files, "tail")
    found = caught.value.problems
    assert isinstance(found, tuple)
    return found


def warnings(files: dict[str, bytes]) -> list[str]:
    loaded: LoadedLoom = load_files(files, "tail")
    assert all(warning.severity == "warning" for warning in loaded.warnings)
    return [str(warning) for warning in loaded.warnings]


@pytest.mark.parametrize(
    ("files", "says"),
    [
        (
            changed("wires.csv", "W2,BODY,2", "W2,BODDY,2"),
            "wires.csv, row 3, column from_connector: wire W2: BODDY:2: there is no connector 'BODDY'. "
            "There is BODY:2.",
        ),
        (
            changed("wires.csv", "W2,BODY,2", "W2,BODY,9"),
            "wires.csv, row 3, column from_cavity: wire W2: there is no cavity BODY:9. It has 1, 2, "
            "3, 4, 5, 6.",
        ),
        (
            changed("wires.csv", "W2,BODY,2", "W2,BODY,02"),
            "wires.csv, row 3, column from_cavity: wire W2: there is no cavity BODY:02. There is BODY:2.",
        ),
        (
            changed("wires.csv", "W2,BODY,2", "W2,BODY,1"),
            "wires.csv, row 3, column from_cavity: wire W2: BODY:1 already holds wire W1. One of "
            "them belongs "
            "elsewhere; where one terminal holds both, say so in the cavity table: connector BODY, cavity 1, "
            "shared yes.",
        ),
        (
            changed("wires.csv", "0.75,1.4,brake", "0.75,1.4,break"),
            "wires.csv, row 3, column circuit: wire W2: there is no circuit 'break'. There is brake.",
        ),
        (
            changed("wires.csv", "BK/RD", "BK/RT"),
            "wires.csv, row 3, column colour: 'BK/RT' is no colour of IEC 60757. It holds: main colour, "
            "tracer after a slash, in the code that loom.toml names.",
        ),
        (
            changed("wires.csv", "BK/RD", "swrt"),
            "wires.csv, row 3, column colour: 'swrt' is no colour of IEC 60757. In German it is black/red. "
            "colour_code in loom.toml says which code the table uses.",
        ),
        (
            changed("wires.csv", "0.75,1.4,brake", '0.75,"1,400",brake'),
            "wires.csv, row 3, column length_m: '1,400' is not a number. Write 1.400, or "
            'decimal = "," where the loom\'s name stands.',
        ),
        (
            changed("wires.csv", "length_m", "lenght_m"),
            "wires.csv, row 1, column lenght_m: there is no column 'lenght_m'. There is length_m. "
            "A heading of your own starts with #.",
        ),
        (
            changed("wires.csv", "W2,BODY", "W1,BODY"),
            "wires.csv, row 3, column wire: the name 'W1' is given twice (first in row 2). Names "
            "are different.",
        ),
        (
            changed("connectors.csv", "LAMP,plug", "LAMP,plugg"),
            "connectors.csv, row 3, column kind: 'plugg' is not known. There is plug.",
        ),
        (
            changed("connectors.csv", "1-3 / 4-6,LP6", "1-3 / 3-6,LP6"),
            "connectors.csv, row 3, column cavities: cavity LAMP:3 is listed 2 times. Each has a "
            "name of its own.",
        ),
        (
            changed("connectors.csv", "1-3 / 4-6,LP6,none", "1-3 / 4-6,LP6,non"),
            "connectors.csv, row 3, column hazard: 'non' is not known. There is none.",
        ),
        (
            changed("cavities.csv", "BODY,6", "BODY,5"),
            "cavities.csv, row 2, column spare: BODY:5 is called spare and holds wire W5. One of "
            "the two is wrong.",
        ),
        (
            changed("circuits.csv", "1.75,10 A,earth,needed", "1.75,10 Amp,earth,needed"),
            "circuits.csv, row 3, column fuse: circuit brake: there is no fuse '10 Amp'. "
            "A fuse outside the loom is given by its rating: 10 A.",
        ),
        (
            changed("circuits.csv", "0.42,7.5 A,earth", "0.42,7.5 A,erth"),
            "circuits.csv, row 2, column needs: circuit tail: there is no circuit 'erth' that it could need. "
            "There is earth.",
        ),
        (
            added("components.csv", "D1,diode,1=LAMP:1 2=LAMP:2,,,,,"),
            "components.csv, row 2, column terminals: component D1: a diode has the terminals A and "
            "K; found 1, 2",
        ),
        (
            added("components.csv", "R1,resistor,1=LAMP:1 2=LAMP:7,,,,,"),
            "components.csv, row 2, column terminals: component R1, terminal 2: there is no cavity LAMP:7. "
            "It has 1, 2, 3, 4, 5, 6.",
        ),
        (
            changed("loom.toml", "colour_code", "color_code"),
            "loom.toml, row 6, column tables.color_code: 'color_code' is not known here. There is "
            "colour_code.",
        ),
        (
            changed("loom.toml", "[loom]", "[loom"),
            "loom.toml, row 1: it is not TOML: Expected ']' at the end of a table declaration (at "
            "line 1, column 6)",
        ),
        (
            {name: data for name, data in TAIL.items() if name != "components.csv"},
            "components.csv: the table is missing. Where there is nothing to list, it still holds "
            "its headings: "
            "component,kind,terminals",
        ),
        (
            TAIL | {"wires.csv": TAIL["wires.csv"].replace(b"BK/RD", "schwärz".encode("latin-1"))},
            "wires.csv, row 3: the byte E4 is not UTF-8. Save it again as 'CSV UTF-8'.",
        ),
        (
            changed("wires.csv", "W2,BODY", 'W2"x"y,"BO"DY'),
            "wires.csv, row 3: the line cannot be read as CSV (',' expected after '\"'). A cell "
            "that holds a double "
            "quote stands in double quotes, the quote within it doubled.",
        ),
        (
            changed("wires.csv", "W2,BODY", f"W2{140_000 * 'x'},BODY"),
            "wires.csv, row 3: a cell is longer than 131068 characters. A cell holds 32767 at most. "
            "Is a double quote left open, or is this file no table?",
        ),
        (
            TAIL | {"circuits.csv": b"PK\x03\x04\x14\x00\x08\x08\x08\x00"},
            "circuits.csv: it is a workbook or another zip file, and no CSV. Save the table as 'CSV UTF-8'.",
        ),
        (
            TAIL | {"circuits.csv": b"%PDF-1.7\n"},
            "circuits.csv: it is a PDF, and no CSV. Save the table as 'CSV UTF-8'.",
        ),
        (
            TAIL | {"circuits.csv": bytes(range(8)) * 40},
            "circuits.csv: it is a binary file, and no CSV. Save the table as 'CSV UTF-8'.",
        ),
        (
            TAIL | {"circuits.csv": "circuit,purpose\n".encode("utf-16-le")},
            "circuits.csv: it is a binary file, and no CSV. Save the table as 'CSV UTF-8'.",
        ),
        (
            {name: data if name == "loom.toml" else data.splitlines()[0] for name, data in TAIL.items()},
            "connectors.csv: no connector is listed: there is nothing to prove. List the connectors, and the "
            "wires between them.",
        ),
        (
            changed("wires.csv", "W2,BODY", "W2\x07,BODY"),
            "wires.csv, row 3, column wire: the cell holds the control character U+0007. "
            "Take it out, or put a blank there.",
        ),
        (
            changed("wires.csv", ",trunk,\n", ",trunk,,,extra\n"),
            "wires.csv, row 2: it has 13 cells under 11 headings. "
            "Put a text that holds the parting mark in double quotes.",
        ),
    ],
)  # fmt: skip
def test_one_slip_gives_one_message_with_place_and_cure(files: dict[str, bytes], says: str) -> None:
    assert [str(problem) for problem in problems(files)] == [says]


def test_connectors_without_a_wire_are_asked_about() -> None:
    files = TAIL | {"wires.csv": TAIL["wires.csv"].splitlines()[0] + b"\n"}
    odd = load_files(files, "tail").warnings
    assert "wires.csv: no wire is listed: every cavity should stand alone" in " ".join(map(str, odd))


def test_all_errors_of_all_tables_come_at_once() -> None:
    files = changed("wires.csv", "W2,BODY,2", "W2,BODDY,2")
    files["wires.csv"] = files["wires.csv"].replace(b"GY/WH", b"GREYISH")
    files["circuits.csv"] = files["circuits.csv"].replace(b"0.42", b"lots")
    files["connectors.csv"] = files["connectors.csv"].replace(b"EARTH,ring", b"EARTH,rign")
    found = [(problem.file, problem.row, problem.column) for problem in problems(files)]
    assert sorted(found) == sorted(
        [
            ("connectors.csv", 4, "kind"),
            ("circuits.csv", 2, "load_a"),
            ("wires.csv", 3, "from_connector"),
            ("wires.csv", 5, "colour"),
        ]
    ), "the wire into the ring that could not be read is not called wrong as well"


@pytest.mark.parametrize("spoilt", ["6-Jan", "Jan 06", "01. Jun", "6.1.2026", "1/6/2026"])
def test_a_range_that_a_spreadsheet_made_a_date_of_is_told_before_what_does_not_fit(spoilt: str) -> None:
    """What spreadsheets of several countries show for ``1-6`` that was typed or opened there: from memory."""
    first, *others = problems(changed("connectors.csv", "LAMP,plug,1-3 / 4-6", f"LAMP,plug,{spoilt}"))
    assert str(first) == (
        f"connectors.csv, row 3, column cavities: '{spoilt}' looks like what a spreadsheet makes of a name "
        "such as 1-3 or 1E5. If so, format the column as text and write it again."
    )
    assert first.severity == "error"
    assert all("there is no cavity LAMP:" in each.message for each in others)


def test_identifiers_stay_text() -> None:
    files = changed("connectors.csv", "BODY,plug,1-3 / 4-6", "BODY,plug,01 1 + / NC 1A 6")
    files["wires.csv"] = (
        b"wire,from_connector,from_cavity,to_connector,to_cavity\n"
        b"007,BODY,01,LAMP,1\n7,BODY,1,LAMP,2\nW3,BODY,+,LAMP,3\nW4,BODY,NC,LAMP,4\nW5,BODY,1A,LAMP,5\nW6,LAMP,6,EARTH,\n"
    )
    loom = load_files(files, "tail").loom
    assert [wire.name for wire in loom.wires][:2] == ["007", "7"]
    assert [wire.a.cavity for wire in loom.wires[:5]] == ["01", "1", "+", "NC", "1A"]
    assert loom.wires[5].b.cavity == "1"


@pytest.mark.parametrize("mark", [";", "\t"])
def test_tables_parted_by_other_marks_are_read(mark: str) -> None:
    files = {name: data.replace(b",", mark.encode()) for name, data in TAIL.items()}
    assert load_files(files, "tail").loom == load_files(TAIL, "tail").loom


def test_utf_16_with_its_mark_is_read() -> None:
    files = TAIL | {"wires.csv": TAIL["wires.csv"].decode().encode("utf-16")}
    assert load_files(files, "tail").loom == load_files(TAIL, "tail").loom


@pytest.mark.parametrize(
    ("files", "says"),
    [
        (
            changed("wires.csv", "W6,LAMP,6,EARTH,1", "W6,LAMP,6,BODY,6")
            | {"cavities.csv": b"connector,cavity,spare\nEARTH,1,yes\n"},
            None,
        ),
        (
            changed("circuits.csv", "1.75,10 A,earth,needed", "1.75,30 A,earth,needed"),
            "wires.csv, row 3, column csa_mm2: wire W2 of 0.75 mm² is thin for its fuse 30 A (30 A); "
            "common practice is at most 10.4 A",
        ),
        (
            changed("connectors.csv", "LP6", "BP6"),
            "connectors.csv, row 2, column housing: BODY, LAMP look alike (housing BP6) and can be "
            "exchanged. "
            "Label them before they come off.",
        ),
        (
            changed("cavities.csv", "BODY,6,yes", "BODY,6,no"),
            "connectors.csv, row 2, column cavities: no wire in BODY 6. "
            "Mark what is meant to be empty as spare in the cavity table.",
        ),
        (
            changed("wires.csv", "BK/RD", "BK/WH"),
            "connectors.csv, row 2, column connector: BODY has a colour more than once: BK/WH (2, 3). "
            "Wires of one colour are told apart by their cavity only.",
        ),
        (
            changed("circuits.csv", "brake lamp,54", "brake lamp,54x"),
            "circuits.csv, row 3, column designation: circuit brake: '54x' is no terminal number of "
            "DIN 72552. "
            "Known are 1, 1a, 1b, 2, 4, 4a and others.",
        ),
        (
            added("circuits.csv", "radio,radio,75,2,5 A,,optional"),
            "circuits.csv, row 8, column circuit: circuit radio has no wires",
        ),
        (
            changed("connectors.csv", "LP6,none", "LP6,"),
            "connectors.csv, column hazard: no answer on hazard for LAMP. "
            "A real bench wants one for each connector: none, pyrotechnic or electronics in place.",
        ),
        (
            changed("wires.csv", "W2,BODY,2,LAMP,2", "W2,BODY,2,3-Jan,") |
            {"connectors.csv": TAIL["connectors.csv"] + b"3-Jan,splice,,,,,\n",
             "cavities.csv": TAIL["cavities.csv"] + b"LAMP,2,yes,,,\n"},
            "wires.csv, row 3, column to_connector: '3-Jan' looks like what a spreadsheet makes of "
            "a name such as "
            "1-3 or 1E5. If so, format the column as text and write it again.",
        ),
    ],
)  # fmt: skip
def test_what_is_odd_is_asked_about(files: dict[str, bytes], says: str | None) -> None:
    found = warnings(files)
    if says is None:
        assert found == []
    else:
        assert says in found


def test_a_circuit_with_one_end_is_asked_about() -> None:
    files = added("connectors.csv", "S9,splice,,,,,")
    files["wires.csv"] = files["wires.csv"].replace(b"W2,BODY,2,LAMP,2", b"W2,BODY,2,S9,")
    files["cavities.csv"] += b"LAMP,2,yes,,,\n"
    found = warnings(files)
    assert (
        "circuits.csv, row 3, column circuit: circuit brake has one end: what starts at BODY:2 leads nowhere"
        in found
    )
    assert any("only one wire (W2) ends at the splice S9" in text for text in found)
