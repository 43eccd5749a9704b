"""Where wires end: connectors, splices, ring terminals and component boxes, and the end of every contact.

What joins two wire ends is that they meet in one cavity; a splice is one end whatever its contact points
say, because all its contact points lie on one joint (NOTES.md holds the counts under each rule).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from lxml import etree

from loomproof.loom.kbl.contacts import (
    SHARED,
    SHARED_CURE,
    USAGE,
    beside,
    coaxial_contacts,
)
from loomproof.loom.kbl.document import Document, kind_of, words
from loomproof.loom.kbl.naming import Names
from loomproof.loom.model import Connector, ConnectorKind, End, Hazard
from loomproof.loom.text import natural

HAZARD = "hazard"
LOCATION = "location"
"""Types of the installation instructions that carry what KBL has no words for: a hazard, a place in words."""

PYROTECHNIC = ("airbag", "gurtstraffer", "belt tensioner", "pretensioner", "pyrotech", "squib", "zündpille")
"""Words that make a connector pyrotechnic until a person says otherwise: KBL has no mark for it, and a
connector taken for one in error only stays off the bench."""

MODULAR = "Modular_slot_occurrence"
"""The kind of a slot that holds connectors as inserts, and no cavities."""

SHELL = "shell"
"""The cavity of what is on a connector and in none of its cavities."""


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
    occurrences: dict[str, str] = field(default_factory=dict)
    coaxial: dict[str, str] = field(default_factory=dict)
    on_connectors: dict[tuple[str, str], End] = field(default_factory=dict)
    """Ends of connections that name a connector and no contact of it, by the ids of both."""
    one_point: bool = False
    coordinates_left_out: list[str] = field(default_factory=list)
    miscounted: list[str] = field(default_factory=list)

    def add(self, connector: Connector) -> None:
        """Keep a connector under its name."""
        self.connectors[connector.name] = connector


def read_places(document: Document) -> Places:
    """Return the connectors of the harness and the end of every contact point and cavity."""
    places = Places()
    places.coaxial = coaxial_contacts(document)
    occurrences = document.harness.findall("Connector_occurrence")
    places.one_point = _one_point(document, occurrences)
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
        if (
            not contacted
            and occurrence.find("Slots/Cavities") is None
            and MODULAR in map(kind_of, occurrence.iterfind("Slots"))
        ):
            document.warn(
                f"the modular slots of {wanted} are left out: its inserts are connectors of their own",
                occurrence,
            )
            continue
        connector = _connector(document, occurrence, places, ungendered)
        places.add(connector)
        for contact in occurrence.iterfind("Contact_points"):
            note_contact(document, contact, places)
            if contact.get("id", "") in places.coaxial and contact.get("id", "") in places.contacts:
                _apart(contact.get("id", ""), places)
        places.occurrences[occurrence.get("id", "")] = connector.name
    _shared(document, occurrences, places)
    _on_connectors(document, places)
    _say(document, places, twins, ungendered)
    return places


def _shared(document: Document, occurrences: list[etree._Element], places: Places) -> None:
    """Say in which cavities several contact points with wires on them meet."""
    wired = {
        (one.findtext("Contact_point") or "").strip()
        for connection in document.harness.iterfind("Connection")
        for one in connection.iterfind("Extremities")
    }
    points = Counter(
        places.contacts[key]
        for occurrence in occurrences
        if document.text(occurrence, "Usage") not in USAGE
        for key in (contact.get("id", "") for contact in occurrence.iterfind("Contact_points"))
        if key in wired and key in places.contacts
    )
    document.warn_of(SHARED, [str(end) for end, number in points.items() if number > 1], cure=SHARED_CURE)


def _apart(contact: str, places: Places) -> None:
    """Give the outer conductor of a coaxial contact a cavity of its own beside that of the inner one."""
    inner = places.contacts[contact]
    connector, places.contacts[contact] = beside(
        places.connectors[inner.connector], inner.cavity, places.coaxial[contact]
    )
    places.add(connector)


def _one_point(document: Document, occurrences: list[etree._Element]) -> bool:
    """Whether all connectors that are placed are placed at one point: then the places say nothing."""
    points = [point for one in occurrences if (point := _point(document, one))]
    return len(points) > 1 and len(set(points)) == 1


def _on_connectors(document: Document, places: Places) -> None:
    """Give ends that name a connector, and no contact point of it, its one free cavity, else its shell."""
    named: dict[str, list[str]] = {}
    for connection in document.harness.iterfind("Connection"):
        for extremity in connection.iterfind("Extremities"):
            key = (extremity.findtext("Contact_point") or "").strip()
            if key in places.occurrences:
                named.setdefault(key, []).append(connection.get("id", ""))
    told = []
    for key, connections in named.items():
        connector = places.connectors[places.occurrences[key]]
        used = set(places.contacts.values())
        free = [end for end in connector.ends if end not in used]
        if connector.kind in USAGE.values() and len(connector.ends) == 1:
            ends = [connector.ends[0]] * len(connections)
        elif len(free) == len(connections) == 1:
            ends = free
        else:
            # Nobody says that they meet: each has an end of its own.
            numbers = range(1, len(connections) + 1)
            ends = [End(connector.name, SHELL if number == 1 else f"{SHELL} {number}") for number in numbers]
            places.add(replace(connector, rows=(*connector.rows, tuple(end.cavity for end in ends))))
        for own, end in zip(connections, ends, strict=True):
            places.on_connectors[own, key] = end
            told.append(f"{document.text(document.by_id[own], 'Id')} at {end}")
    document.warn_of(
        "connections that name a connector and no contact of it, put on its one free cavity or its shell",
        told,
        cure="Look at the loom which contact it is, and correct the wires table.",
    )


def _say(document: Document, places: Places, twins: list[str], ungendered: list[str]) -> None:
    document.warn_of(
        "connectors without contacts that carry the Id of another, left out as variants of its housing", twins
    )
    tell_pyrotechnic(document, places.pyrotechnic)
    document.warn_of(
        "connectors that words describe, whose coordinates are left out", places.coordinates_left_out
    )
    document.warn_of(
        "slots that list another number of cavities than they say",
        places.miscounted,
        cure="A cavity that is not listed is not proved: look whether the housing has more.",
    )
    document.warn_of("connectors that share an Id, told apart by a number", places.names.renamed)
    document.warn_of(
        "connectors called plug, for KBL does not say which are plugs and which sockets",
        ungendered,
        cure="Correct `kind` in the connectors table where it matters to you.",
    )


def speaks_of_pyrotechnics(about: str) -> bool:
    """Whether words about a connector speak of what must stay off the bench."""
    return any(word in about.casefold() for word in PYROTECHNIC)


def tell_pyrotechnic(document: Document, names: list[str]) -> None:
    """Say which connectors were marked pyrotechnic by their words."""
    document.warn_of(
        "connectors marked pyrotechnic because their words speak of one",
        names,
        cure="They stay off the bench; correct `hazard` where the words mislead.",
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
    terminal = _special_terminal(document, occurrence)
    described = _described(document, occurrence) or _described(document, terminal)
    if terminal is not None and document.text(part, "Part_number") == "":
        part = document.part(terminal)
    housing = " ".join(filter(None, (document.text(part, "Part_number"), document.text(part, "Description"))))
    return Connector(
        name,
        kind,
        () if kind is ConnectorKind.SPLICE else rows or (("1",),),
        described,
        "" if kind is ConnectorKind.SPLICE else housing.removesuffix(" -"),
        _location(document, occurrence, terminal, described, name, places),
        _hazard(document, occurrence, f"{described} {housing}", name, places),
    )


def _kind(
    document: Document, occurrence: etree._Element, part: etree._Element | None
) -> ConnectorKind | None:
    usage = document.text(occurrence, "Usage")
    stated = document.text(part, "Housing_type")
    if usage in USAGE:
        return USAGE[usage]
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
    if speaks_of_pyrotechnics(about):
        places.pyrotechnic.append(name)
        return Hazard.PYROTECHNIC
    return Hazard.UNKNOWN


def _instruction(document: Document, occurrence: etree._Element, kind: str) -> str:
    for told in occurrence.iterfind("Installation_information"):
        if document.text(told, "Instruction_type") == kind:
            return document.text(told, "Instruction_value")
    return ""


def _special_terminal(document: Document, occurrence: etree._Element) -> etree._Element | None:
    """Return the ring or other special terminal that a connector's contacts are, where it has words."""
    found = [
        part
        for contact in occurrence.iterfind("Contact_points")
        for part in document.refs(contact, "Associated_parts")
        if part.tag == "Special_terminal_occurrence"
    ]
    return next((one for one in found if _described(document, one)), found[0] if found else None)


def _described(document: Document, occurrence: etree._Element | None) -> str:
    """Return what an occurrence is called beside its Id: its description and its other names."""
    if occurrence is None:
        return ""
    own = document.text(occurrence, "Id")
    names = [document.text(alias, "Alias_id") for alias in occurrence.iterfind("Alias_id")]
    told = [document.text(occurrence, "Description"), *(name for name in names if name != own)]
    return ", ".join(dict.fromkeys(filter(None, told)))


def _location(
    document: Document,
    occurrence: etree._Element,
    terminal: etree._Element | None,
    described: str,
    name: str,
    places: Places,
) -> str:
    """Return where a connector sits: as said in words, else by coordinates where no words describe it."""
    said = _instruction(document, occurrence, LOCATION)
    if said or places.one_point:
        return said
    point = location(document, occurrence) or (location(document, terminal) if terminal is not None else "")
    if point and described:
        places.coordinates_left_out.append(name)
        return ""
    return point


def location(document: Document, occurrence: etree._Element) -> str:
    """Return where an occurrence is placed in the car, as text; empty where the file does not say."""
    found = _point(document, occurrence)
    return "x y z (mm): " + " ".join(found) if found else _instruction(document, occurrence, LOCATION)


def _point(document: Document, occurrence: etree._Element) -> tuple[str, ...]:
    """Return the coordinates of an occurrence in whole mm; empty where it has none."""
    placement = occurrence.find("Placement")
    point = document.ref(placement, "Cartesian_point") if placement is not None else None
    if point is None:
        return ()
    numbers = [float(node.text or "0") for node in point.iterfind("Coordinates")]
    if not all(map(math.isfinite, numbers)):
        return ()
    found = (f"{number:.0f}" for number in numbers)
    return tuple("0" if value == "-0" else value for value in found)


def _rows(
    document: Document, occurrence: etree._Element, name: str, kind: ConnectorKind, places: Places
) -> Iterator[tuple[str, ...]]:
    """Yield one row for each slot: KBL lists cavities and does not say how they sit."""
    taken: set[str] = set()
    for slot in occurrence.iterfind("Slots"):
        row: list[str] = []
        for cavity in slot.iterfind("Cavities"):
            number = document.text(document.part(cavity), "Cavity_number") or str(len(taken) + 1)
            number = own_number(number, taken, document.text(document.part(slot), "Id") or str(len(row) + 1))
            row.append(number)
            end = End(name) if kind is ConnectorKind.SPLICE else End(name, number)
            note_cavity(cavity, end, places)
        stated = document.text(document.part(slot), "Number_of_cavities")
        if row and stated.isdigit() and int(stated) not in (0, len(row)):
            places.miscounted.append(f"{name} (said {stated}, listed {len(row)})")
        if row:
            yield tuple(sorted(row, key=natural))


def own_number(number: str, taken: set[str], slot: str) -> str:
    """Return a cavity's number, told apart by its slot where another slot has it, and keep it as taken."""
    if number in taken:
        number = f"{slot}.{number}"
    while number in taken:
        number += "'"
    taken.add(number)
    return number


def note_cavity(cavity: etree._Element, end: End, places: Places) -> None:
    """Keep the end of a cavity, and whether a plug blanks it."""
    places.cavities[cavity.get("id", "")] = end
    if cavity.find("Associated_plug") is not None:
        places.plugged.add(end)


def note_contact(document: Document, contact: etree._Element, places: Places) -> None:
    """Keep the end of a contact point, and whether a seal is on it."""
    keys = (contact.findtext("Contacted_cavity") or "").split()
    found = [places.cavities[key] for key in keys if key in places.cavities]
    if found and len(found) < len(keys):
        missing = ", ".join(key for key in keys if key not in places.cavities)
        name = document.text(contact, "Id")
        document.warn(f"contact point {name} names cavities that are not in the harness: {missing}", contact)
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
