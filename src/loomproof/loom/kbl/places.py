"""Where wires end: connectors, splices, ring terminals and component boxes, and the end of every contact.

What joins two wire ends is that they meet in one cavity; a splice is one end whatever its contact points
say, because all its contact points lie on one joint (NOTES.md holds the counts under each rule).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from lxml import etree

from loomproof.loom.kbl.document import Document, words
from loomproof.loom.kbl.naming import Names
from loomproof.loom.model import Connector, ConnectorKind, End, Hazard

HAZARD = "hazard"
LOCATION = "location"
"""Types of the installation instructions that carry what KBL has no words for: a hazard, a place in words."""

PYROTECHNIC = ("airbag", "gurtstraffer", "belt tensioner", "pretensioner", "pyrotech", "squib", "zündpille")
"""Words that make a connector pyrotechnic until a person says otherwise: KBL has no mark for it, and a
connector taken for one in error only stays off the bench."""

_USAGE = {
    "splice": ConnectorKind.SPLICE,
    "ring terminal": ConnectorKind.RING,
    "no end": ConnectorKind.TAIL,
    "dangler": ConnectorKind.TAIL,
}


@dataclass
class Places:
    """Connectors by name, and the end on which each contact point, cavity and slot cavity lies."""

    names: Names = field(default_factory=Names)
    connectors: dict[str, Connector] = field(default_factory=dict)
    contacts: dict[str, End] = field(default_factory=dict)
    cavities: dict[str, End] = field(default_factory=dict)
    plugged: set[End] = field(default_factory=set)
    sealed: set[End] = field(default_factory=set)
    pyrotechnic: list[str] = field(default_factory=list)
    bridges: list[tuple[End, End]] = field(default_factory=list)

    def add(self, connector: Connector) -> None:
        """Keep a connector under its name."""
        self.connectors[connector.name] = connector


def read_places(document: Document) -> Places:
    """Return the connectors of the harness and the end of every contact point and cavity."""
    places = Places()
    occurrences = document.harness.findall("Connector_occurrence")
    # An occurrence without contacts that shares the Id of another is a variant of its housing.
    twins: list[str] = []
    ungendered: list[str] = []
    wired = {words(o.findtext("Id")) for o in occurrences if o.find("Contact_points") is not None}
    for occurrence in occurrences:
        wanted = document.text(occurrence, "Id") or occurrence.get("id", "")
        contacted = occurrence.find("Contact_points") is not None
        if not contacted and (wanted in wired or wanted in places.names):
            twins.append(wanted)
            continue
        connector = _connector(document, occurrence, places, ungendered)
        places.add(connector)
        for contact in occurrence.iterfind("Contact_points"):
            note_contact(document, contact, places)
    _say(document, places, twins, ungendered)
    return places


def _say(document: Document, places: Places, twins: list[str], ungendered: list[str]) -> None:
    document.warn_of(
        "connectors without contacts that carry the Id of another, left out as variants of its housing", twins
    )
    document.warn_of(
        "connectors marked pyrotechnic because their words speak of one",
        places.pyrotechnic,
        cure="They stay off the bench; correct `hazard` where the words mislead.",
    )
    document.warn_of("connectors that share an Id, told apart by a number", places.names.renamed)
    document.warn_of(
        "connectors called plug, for KBL does not say which are plugs and which sockets",
        ungendered,
        cure="Correct `kind` in the connectors table where it matters to you.",
    )


def _connector(
    document: Document, occurrence: etree._Element, places: Places, ungendered: list[str]
) -> Connector:
    part = document.part(occurrence)
    name = places.names.give(document.text(occurrence, "Id") or occurrence.get("id", "connector"))
    kind = _kind(document, occurrence, part)
    if kind is None:
        ungendered.append(name)
        kind = ConnectorKind.PLUG
    rows = tuple(_rows(document, occurrence, name, kind, places))
    described = document.text(occurrence, "Description")
    housing = " ".join(filter(None, (document.text(part, "Part_number"), document.text(part, "Description"))))
    return Connector(
        name,
        kind,
        () if kind is ConnectorKind.SPLICE else rows or (("1",),),
        described,
        "" if kind is ConnectorKind.SPLICE else housing.removesuffix(" -"),
        location(document, occurrence),
        _hazard(document, occurrence, f"{described} {housing}", name, places),
    )


def _kind(
    document: Document, occurrence: etree._Element, part: etree._Element | None
) -> ConnectorKind | None:
    usage = document.text(occurrence, "Usage")
    stated = document.text(part, "Housing_type")
    if usage in _USAGE:
        return _USAGE[usage]
    try:
        return ConnectorKind(stated)
    except ValueError:
        return None


def _hazard(document: Document, occurrence: etree._Element, about: str, name: str, places: Places) -> Hazard:
    """Return a connector's hazard: as stated, else pyrotechnic where its words speak of one, else unknown."""
    said = _instruction(document, occurrence, HAZARD)
    try:
        if said:
            return Hazard(said)
    except ValueError:
        document.warn(f"the hazard {said!r} is not known and is read as unknown", occurrence)
    if any(word in about.casefold() for word in PYROTECHNIC):
        places.pyrotechnic.append(name)
        return Hazard.PYROTECHNIC
    return Hazard.UNKNOWN


def _instruction(document: Document, occurrence: etree._Element, kind: str) -> str:
    for told in occurrence.iterfind("Installation_information"):
        if document.text(told, "Instruction_type") == kind:
            return document.text(told, "Instruction_value")
    return ""


def location(document: Document, occurrence: etree._Element) -> str:
    """Return where an occurrence is placed in the car, as text; empty where the file does not say."""
    placement = occurrence.find("Placement")
    point = document.ref(placement, "Cartesian_point") if placement is not None else None
    if point is None:
        return _instruction(document, occurrence, LOCATION)
    found = (f"{float(node.text or '0'):.0f}" for node in point.iterfind("Coordinates"))
    return "x y z (mm): " + " ".join("0" if value == "-0" else value for value in found)


def _rows(
    document: Document, occurrence: etree._Element, name: str, kind: ConnectorKind, places: Places
) -> Iterator[tuple[str, ...]]:
    """Yield one row for each slot: KBL lists cavities and does not say how they sit."""
    taken: set[str] = set()
    for slot in occurrence.iterfind("Slots"):
        row: list[str] = []
        for cavity in slot.iterfind("Cavities"):
            number = document.text(document.part(cavity), "Cavity_number") or str(len(taken) + 1)
            if number in taken:
                number = f"{document.text(document.part(slot), 'Id') or len(row) + 1}.{number}"
            while number in taken:
                number += "'"
            taken.add(number)
            row.append(number)
            end = End(name) if kind is ConnectorKind.SPLICE else End(name, number)
            note_cavity(cavity, end, places)
        if row:
            yield tuple(row)


def note_cavity(cavity: etree._Element, end: End, places: Places) -> None:
    """Keep the end of a cavity, and whether a plug blanks it."""
    places.cavities[cavity.get("id", "")] = end
    if cavity.find("Associated_plug") is not None:
        places.plugged.add(end)


def note_contact(document: Document, contact: etree._Element, places: Places) -> None:
    """Keep the end of a contact point, and whether a seal is on it."""
    keys = (contact.findtext("Contacted_cavity") or "").split()
    found = [places.cavities[key] for key in keys if key in places.cavities]
    if not found:
        document.warn(
            f"contact point {document.text(contact, 'Id')} lies in no cavity of the harness", contact
        )
        return
    # One terminal that fills several cavities joins them.
    places.bridges += [(found[0], other) for other in dict.fromkeys(found[1:]) if other != found[0]]
    places.contacts[contact.get("id", "")] = found[0]
    for part in document.refs(contact, "Associated_parts"):
        if part.tag == "Cavity_seal_occurrence":
            places.sealed.add(found[0])
