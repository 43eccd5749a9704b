"""Where wires can end: housings, pins of parts, terminals that sit in no cavity, and splices."""

from __future__ import annotations

from collections.abc import Iterator

from lxml import etree

from loomproof.loom.kbl.document import kind_of
from loomproof.loom.kbl.places import (
    own_number,
    speaks_of_pyrotechnics,
    tell_pyrotechnic,
)
from loomproof.loom.model import Connector, ConnectorKind, End, Hazard
from loomproof.loom.text import natural
from loomproof.loom.vec.contacts import contact_points, mountings, place_wires
from loomproof.loom.vec.document import EE_ROLES, VecDocument
from loomproof.loom.vec.held import Harness, Places

TERMINALS = {
    "SpliceTerminalRole": ConnectorKind.SPLICE,
    "BridgeTerminalRole": ConnectorKind.SPLICE,
    "OpenWireEndTerminalRole": ConnectorKind.TAIL,
    "TerminalRole": ConnectorKind.RING,
    "PluggableTerminalRole": ConnectorKind.RING,
    "RingTerminalRole": ConnectorKind.RING,
    "BoltTerminalRole": ConnectorKind.RING,
    "HoleTerminalRole": ConnectorKind.RING,
}
"""Roles of terminals, and what such a terminal is as an end of the loom where it sits in no cavity."""

_RING = "RingTerminalRole"
MODULAR = "ModularSlotReference"
"""The kind of a slot that holds connectors as inserts, and no cavities."""


def read_places(document: VecDocument, harness: Harness) -> Places:
    """Return the connectors of a harness and the end of every contact point of its wires."""
    places = Places()
    points = [point for point in contact_points(document) if harness.has(point)]
    terminals = _Terminals(document, points)
    for component in harness.components:
        for role in component.iterfind("Role"):
            kind = kind_of(role)
            if kind == "ConnectorHousingRole":
                _housing(document, component, role, harness, places, terminals)
            elif kind in EE_ROLES:
                for reference in role.iterfind("HousingComponentRef"):
                    inner = reference.find("ConnectorHousingRole")
                    if inner is not None:
                        _housing(document, component, inner, harness, places, terminals)
                    else:
                        _pins(document, component, reference, harness, places, terminals)
            elif kind in TERMINALS:
                _terminal(document, component, role, harness, places, terminals)
    place_wires(document, points, harness, places)
    tell_pyrotechnic(document, places.pyrotechnic)
    document.warn_of("components that share an identification, told apart by a number", places.names.renamed)
    return places


class _Terminals:
    """Which terminals sit in a cavity, which on their own, and which cavities hold a ring."""

    def __init__(self, document: VecDocument, points: list[etree._Element]) -> None:
        self.in_cavity: set[str] = set()
        self.alone: set[str] = set()
        self.ringed: set[str] = set()
        for point in points:
            key = (point.findtext("MountedTerminal") or "").strip()
            cavities = [cavity for keys in mountings(point) for cavity in keys]
            (self.in_cavity if cavities else self.alone).add(key)
            terminal = document.by_id.get(key)
            if terminal is not None and kind_of(terminal) == _RING:
                self.ringed.update(cavities)
        mated = (
            (mating.findtext(tag) or "").strip()
            for mating in document.root.iter("MatingPoint")
            for tag in ("FirstTerminalRole", "SecondTerminalRole")
        )
        self.named = {*self.alone, *mated} - {""}


def _housing(
    document: VecDocument,
    component: etree._Element,
    role: etree._Element,
    harness: Harness,
    places: Places,
    terminals: _Terminals,
) -> None:
    name = places.names.give(
        document.called(role) or document.called(component) or component.get("id", "plug")
    )
    rows = tuple(_rows(document, role, name, places)) or (("1",),)
    if role.find("SlotReference/CavityReference") is None and MODULAR in map(
        kind_of, role.iterfind("SlotReference")
    ):
        document.warn(
            f"the modular slots of {name} are left out: its inserts are connectors of their own", role
        )
        return
    about = described(document, component)
    housing = _part(document, component)
    cavities = [one.get("id", "") for one in role.iter("CavityReference")]
    ring = len(cavities) == 1 and cavities[0] in terminals.ringed
    hazard = Hazard.UNKNOWN
    if speaks_of_pyrotechnics(f"{about} {housing}"):
        places.pyrotechnic.append(name)
        hazard = Hazard.PYROTECHNIC
    places.of_component[name] = component.get("id", "")
    at = harness.where.get(component.get("id", ""), "")
    kind = ConnectorKind.RING if ring else ConnectorKind.PLUG
    places.add(Connector(name, kind, rows, about, housing, at, hazard))


def _pins(
    document: VecDocument,
    component: etree._Element,
    reference: etree._Element,
    harness: Harness,
    places: Places,
    terminals: _Terminals,
) -> None:
    """Keep the pins of a part whose housing the file leaves out, where wires or mates are on them."""
    pins = {
        terminal.get("id", ""): document.called(document.ref(pin, "PinComponent")) or document.called(pin)
        for pin in reference.iterfind("PinComponentRef")
        if (terminal := pin.find("TerminalRole")) is not None
    }
    if terminals.named.isdisjoint(pins):
        return
    name = places.names.give(document.called(component) or component.get("id", "part"))
    taken: set[str] = set()
    row = []
    for number, (key, said) in enumerate(pins.items(), 1):
        row.append(own_number(said or str(number), taken, "pin"))
        places.terminals[key] = End(name, row[-1])
    places.of_component[name] = component.get("id", "")
    at = harness.where.get(component.get("id", ""), "")
    rows = (tuple(sorted(row, key=natural)),)
    housing = _part(document, component)
    places.add(Connector(name, ConnectorKind.PLUG, rows, described(document, component), housing, at))


def _rows(
    document: VecDocument, role: etree._Element, name: str, places: Places
) -> Iterator[tuple[str, ...]]:
    """Yield one row for each slot, in natural order: VEC says no more of how cavities sit."""
    taken: set[str] = set()
    for slot in role.iterfind("SlotReference"):
        row: list[str] = []
        by_number: dict[str, End] = {}
        for cavity in slot.iterfind("CavityReference"):
            part = document.ref(cavity, "ReferencedCavity")
            number = document.text(part, "CavityNumber") or document.called(cavity) or str(len(taken) + 1)
            said = number
            number = own_number(number, taken, document.called(slot) or str(len(row) + 1))
            row.append(number)
            end = End(name, number)
            places.cavities[cavity.get("id", "")] = end
            by_number[said] = end
            for key in (cavity.findtext("ComponentPort") or "").split():
                places.ports[key] = end
            for inner in cavity.iterfind("IntegratedTerminalRole"):
                places.terminals[inner.get("id", "")] = end
        places.slots[slot.get("id", "")] = by_number
        if row:
            yield tuple(sorted(row, key=natural))


def _terminal(
    document: VecDocument,
    component: etree._Element,
    role: etree._Element,
    harness: Harness,
    places: Places,
    terminals: _Terminals,
) -> None:
    """Keep a splice, or a ring or other terminal that sits in no cavity."""
    key, said = role.get("id", ""), kind_of(role)
    kind = TERMINALS[said]
    is_ring = said == _RING or document.text(document.part(component), "PrimaryPartType") == "RingTerminal"
    always = said == "SpliceTerminalRole" or (is_ring and key not in terminals.in_cavity)
    if not always and key not in terminals.alone:
        return
    name = places.names.give(document.called(component) or component.get("id", "end"))
    splice = kind is ConnectorKind.SPLICE
    rows = () if splice else (("1",),)
    housing = "" if splice else _part(document, component)
    at = harness.where.get(component.get("id", ""), "")
    places.add(Connector(name, kind, rows, described(document, component), housing, at))
    end = End(name) if splice else End(name, "1")
    places.terminals[key] = end
    for port in (role.findtext("ComponentPort") or "").split():
        places.ports[port] = end


def described(document: VecDocument, component: etree._Element) -> str:
    """Return what a component is called beside its identification: description, abbreviation, other names."""
    usage = document.ref(component, "RealizedUsageNode")
    aliases = [document.text(one, "IdentificationValue") for one in component.iterfind("AliasId")]
    told = [
        document.said(component),
        document.said(usage),
        document.said(usage, "Abbreviation"),
        document.said(component, "Abbreviation"),
        *(alias for alias in aliases if alias != document.called(component)),
    ]
    return ", ".join(dict.fromkeys(filter(None, told)))


def _part(document: VecDocument, component: etree._Element) -> str:
    part = document.part(component)
    return " ".join(filter(None, (document.text(part, "PartNumber"), document.said(part))))
