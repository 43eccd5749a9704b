"""The tables of a loom and the headings that each may have: one place for reader, writer and starter."""

from __future__ import annotations

from typing import Literal, NamedTuple

from loomproof.errors import Problem, suggestion
from loomproof.loom.component_kinds import ComponentKind
from loomproof.loom.model import ConnectorKind, Hazard, Need
from loomproof.loom.tables import Table


class Column(NamedTuple):
    """A heading, whether a table must have it, what stands under it, and whether those are names or numbers.

    ``among`` are the words that may stand there, where no other may.

    A name is text whatever it looks like (``01`` is not ``1``), so what a spreadsheet may have made of it
    is asked about; in a number and in free text nothing is lost.
    """

    name: str
    needed: bool
    help: str
    holds: Literal["names", "numbers", "words"] = "words"
    among: tuple[str, ...] = ()


_YES_OR_NO = ("yes", "no")


CONNECTORS = (
    Column("connector", True, "its name, as short as the label on the loom", "names"),
    Column(
        "kind",
        True,
        "plug, socket, ring, blade, bullet, tail, fuse holder, relay base or splice",
        among=tuple(ConnectorKind),
    ),
    Column(
        "cavities",
        True,
        "rows seen from the mating face: 1-16 / 17-32; . is a gap; a splice has none",
        "names",
    ),
    Column("housing", False, "type or part number; two connectors of one housing can be exchanged", "names"),
    Column(
        "hazard",
        False,
        "none, pyrotechnic, electronics in place, unknown; empty is unknown",
        among=tuple(Hazard),
    ),
    Column("location", False, "where it sits"),
    Column("description", False, "what plugs into it"),
)
WIRES = (
    Column("wire", True, "its name", "names"),
    Column("from_connector", True, "connector or splice", "names"),
    Column(
        "from_cavity",
        True,
        "cavity; empty on a splice, may be empty where a connector has one cavity",
        "names",
    ),
    Column("to_connector", True, "connector or splice", "names"),
    Column("to_cavity", True, "cavity; as above", "names"),
    Column("colour", False, "main colour, tracer after a slash, in the code that loom.toml names"),
    Column("csa_mm2", False, "section in mm²", "numbers"),
    Column("awg", False, "or the gauge: 18, 2/0", "numbers"),
    Column("section", False, "or the size as people write it: 14/0.30, 18 AWG", "names"),
    Column("length_m", False, "length in metres", "numbers"),
    Column("circuit", False, "the circuit that it belongs to", "names"),
    Column("twisted_with", False, "the wires twisted with it", "names"),
    Column("screened_by", False, "the wire that is its screen", "names"),
    Column("bundle", False, "the bundles that it runs through, in order", "names"),
    Column("note", False, "free text"),
)
COMPONENTS = (
    Column("component", True, "its name", "names"),
    Column("kind", True, ", ".join(ComponentKind), among=tuple(ComponentKind)),
    Column("terminals", True, "1=F:1 2=F:2; a diode has A and K, a relay 85 86 30 87 87a", "names"),
    Column(
        "resistance_ohm", False, "ohms, or with a prefix: 4.7 kΩ; of a relay those of its coil", "numbers"
    ),
    Column("tolerance_pct", False, "tolerance in per cent", "numbers"),
    Column("forward_v", False, "forward voltage of a diode", "numbers"),
    Column("capacitance_f", False, "farads, or with a prefix: 100 nF", "numbers"),
    Column("rating_a", False, "rating of a fuse in amperes", "numbers"),
    Column(
        "fitted", False, "yes or no: is it in place while the loom is proved; empty is yes", among=_YES_OR_NO
    ),
    Column(
        "pullable",
        False,
        "yes or no: can it be pulled for the proof; empty is the opposite of fitted",
        among=_YES_OR_NO,
    ),
    Column("circuit", False, "the circuit that it belongs to", "names"),
    Column("note", False, "free text"),
)
CIRCUITS = (
    Column("circuit", True, "its name", "names"),
    Column("purpose", False, "what it does"),
    Column("designation", False, "terminal number of DIN 72552", "names"),
    Column("load_a", False, "load current in amperes", "numbers"),
    Column("fuse", False, "a fuse of this loom, or the rating of one outside it: 10 A", "names"),
    Column("needs", False, "circuits without which it does nothing", "names"),
    Column("need", False, "needed, optional or unused; empty is needed", among=tuple(Need)),
)
CAVITIES = (
    Column("connector", True, "connector", "names"),
    Column("cavity", True, "cavity", "names"),
    Column("spare", False, "yes: no wire belongs in it", among=_YES_OR_NO),
    Column(
        "sealed",
        False,
        "yes or no: is a seal or blanking plug in place; empty is not known",
        among=_YES_OR_NO,
    ),
    Column("shared", False, "yes: its terminal holds more than one wire", among=_YES_OR_NO),
    Column("note", False, "free text"),
)
BUNDLES = (
    Column("bundle", True, "its name, as the table of wires has it", "names"),
    Column("length_m", False, "length in metres, from where it forks or ends to where it does", "numbers"),
    Column("from_place", False, "where it begins: a connector, or a name for the fork", "names"),
    Column("to_place", False, "where it ends; bundles that name the same place meet there", "names"),
    Column("note", False, "free text"),
)
LOOM = (
    Column(
        "key",
        True,
        "name, serial, part_number, revision, description, colour_code, decimal or one of the defaults",
    ),
    Column("value", True, "its value"),
)
CHOICES = (
    Column("choice", True, "its name; one row for each answer", "names"),
    Column("question", True, "what is asked"),
    Column("answer", True, "name of the answer", "names"),
    Column("says", False, "the answer in words"),
    Column("makes", False, "what it makes of circuits: fan=needed purge=unused", "names"),
    Column("default", False, "yes on the answer that holds where none is given"),
)

TABLES: dict[str, tuple[Column, ...]] = {
    "connectors": CONNECTORS,
    "wires": WIRES,
    "components": COMPONENTS,
    "circuits": CIRCUITS,
    "cavities": CAVITIES,
    "bundles": BUNDLES,
}
"""The tables that a folder and a workbook share."""

SHEETS: dict[str, tuple[Column, ...]] = {"loom": LOOM, **TABLES, "choices": CHOICES}
"""The sheets of a workbook: the tables, and what stands in loom.toml of a folder."""

OPTIONAL = ("cavities", "bundles", "choices")
"""Tables that may be left out; that another is missing is an error: it may be lost, not empty."""


def heading_problems(table: Table, columns: tuple[Column, ...]) -> list[Problem]:
    """Say which headings a table lacks and which it has too many."""
    known = [column.name for column in columns]
    problems = [
        table.problem(f"the heading {column.name!r} is missing", 1, column.name, f"It holds: {column.help}.")
        for column in columns
        if column.needed and column.name not in table.headings
    ]
    for heading in table.headings:
        if heading and heading not in known and not heading.startswith("#"):
            near = suggestion(heading, known) or f"Known: {', '.join(known)}."
            cure = f"{near} A heading of your own starts with #."
            problems.append(table.problem(f"there is no column {heading!r}", 1, heading, cure))
    return problems
