"""The tables of a loom and the headings that each may have: one place for reader, writer and starter."""

from __future__ import annotations

from typing import NamedTuple


class Column(NamedTuple):
    """A heading, whether a table must have it, and what stands under it."""

    name: str
    needed: bool
    help: str


CONNECTORS = (
    Column("connector", True, "its name, as short as the label on the loom"),
    Column("kind", True, "plug, socket, ring, blade, bullet, tail, fuse holder, relay base or splice"),
    Column("cavities", True, "rows seen from the mating face: 1-16 / 17-32; . is a gap; a splice has none"),
    Column("housing", False, "type or part number; two connectors of one housing can be exchanged"),
    Column("hazard", False, "none, pyrotechnic, electronics in place, unknown; empty is unknown"),
    Column("location", False, "where it sits"),
    Column("description", False, "what plugs into it"),
)
WIRES = (
    Column("wire", True, "its name"),
    Column("from_connector", True, "connector or splice"),
    Column("from_cavity", True, "cavity; empty on a splice, may be empty where a connector has one cavity"),
    Column("to_connector", True, "connector or splice"),
    Column("to_cavity", True, "cavity; as above"),
    Column("colour", False, "main colour, tracer after a slash, in the code that loom.toml names"),
    Column("csa_mm2", False, "section in mm²"),
    Column("awg", False, "or the gauge: 18, 2/0"),
    Column("section", False, "or the size as people write it: 14/0.30, 18 AWG"),
    Column("length_m", False, "length in metres"),
    Column("circuit", False, "the circuit that it belongs to"),
    Column("twisted_with", False, "the wires twisted with it"),
    Column("screened_by", False, "the wire that is its screen"),
    Column("bundle", False, "the bundles that it runs through, in order"),
    Column("note", False, "free text"),
)
COMPONENTS = (
    Column("component", True, "its name"),
    Column("kind", True, "fuse, resistor, diode, relay, coil, link or capacitor"),
    Column("terminals", True, "1=F:1 2=F:2; a diode has A and K, a relay 85 86 30 87 87a"),
    Column("resistance_ohm", False, "ohms; of a relay those of its coil"),
    Column("tolerance_pct", False, "tolerance in per cent"),
    Column("forward_v", False, "forward voltage of a diode"),
    Column("capacitance_f", False, "farads"),
    Column("rating_a", False, "rating of a fuse in amperes"),
    Column("fitted", False, "yes or no: is it in place while the loom is proved; empty is yes"),
    Column("pullable", False, "yes or no: can it be pulled for the proof; empty is the opposite of fitted"),
    Column("circuit", False, "the circuit that it belongs to"),
    Column("note", False, "free text"),
)
CIRCUITS = (
    Column("circuit", True, "its name"),
    Column("purpose", False, "what it does"),
    Column("designation", False, "terminal number of DIN 72552"),
    Column("load_a", False, "load current in amperes"),
    Column("fuse", False, "a fuse of this loom, or the rating of one outside it: 10 A"),
    Column("needs", False, "circuits without which it does nothing"),
    Column("need", False, "needed, optional or unused; empty is needed"),
)
CAVITIES = (
    Column("connector", True, "connector"),
    Column("cavity", True, "cavity"),
    Column("spare", False, "yes: no wire belongs in it"),
    Column("sealed", False, "yes or no: is a seal or blanking plug in place; empty is not known"),
    Column("shared", False, "yes: its terminal holds more than one wire"),
    Column("note", False, "free text"),
)
LOOM = (
    Column("key", True, "name, serial, description, colour_code or one of the defaults"),
    Column("value", True, "its value"),
)
CHOICES = (
    Column("choice", True, "its name; one row for each answer"),
    Column("question", True, "what is asked"),
    Column("answer", True, "name of the answer"),
    Column("says", False, "the answer in words"),
    Column("makes", False, "what it makes of circuits: fan=needed purge=unused"),
    Column("default", False, "yes on the answer that holds where none is given"),
)

TABLES: dict[str, tuple[Column, ...]] = {
    "connectors": CONNECTORS,
    "wires": WIRES,
    "components": COMPONENTS,
    "circuits": CIRCUITS,
    "cavities": CAVITIES,
}
"""The tables that a folder and a workbook share."""

OPTIONAL = ("cavities", "choices")
"""Tables that may be left out; that another is missing is an error: it may be lost, not empty."""
