"""Where wires end: housings, terminals and splices, and the end of every contact point.

One contact point is one potential. Contact points that share a cavity are joined there as well, as terminals
in one cavity touch, unless their wires are conductors of one cable: that is a coaxial contact.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from lxml import etree

from loomproof.loom.kbl.document import kind_of
from loomproof.loom.kbl.naming import Names
from loomproof.loom.kbl.places import (
    own_number,
    speaks_of_pyrotechnics,
    tell_pyrotechnic,
    with_screen,
)
from loomproof.loom.model import Connector, ConnectorKind, End, Hazard
from loomproof.loom.text import natural
from loomproof.loom.vec.document import VecDocument

_TERMINALS = ("TerminalRole", "SpliceTerminalRole")


@dataclass
class Places:
    """Connectors by name; ends by the ids of cavity references, wire ends, terminals and slots."""

    names: Names = field(default_factory=Names)
    connectors: dict[str, Connector] = field(default_factory=dict)
    cavities: dict[str, End] = field(default_factory=dict)
    slots: dict[str, dict[str, End]] = field(default_factory=dict)
    terminals: dict[str, End] = field(default_factory=dict)
    wire_ends: dict[str, End] = field(default_factory=dict)
    wires_at: dict[End, list[str]] = field(default_factory=dict)
    sealed: set[End] = field(default_factory=set)
    plugged: set[End] = field(default_factory=set)
    pyrotechnic: list[str] = field(default_factory=list)
    bridges: list[tuple[End, End]] = field(default_factory=list)
    ports: dict[str, End] = field(default_factory=dict)

    def add(self, connector: Connector) -> None:
        """Keep a connector under its name."""
        self.connectors[connector.name] = connector


def read_places(
    document: VecDocument,
    components: list[etree._Element],
    where: dict[str, str],
    cable_of: dict[str, str],
    screens: frozenset[str] = frozenset(),
) -> Places:
    """Return the connectors of these components and the end of every contact point.

    ``where`` says in words where a component is, by its id; ``cable_of`` names the cable of each wire end, by
    ids, where its wire is one of several conductors; ``screens`` are the wire ends of screens.
    """
    places = Places()
    ungendered: list[str] = []
    mounted = {
        (point.findtext("MountedTerminal") or "").strip()
        for point in _contact_points(document)
        if point.find("CavityMounting") is None
    }
    for component in components:
        for role in component.iterfind("Role"):
            kind = kind_of(role)
            if kind == "ConnectorHousingRole":
                _housing(document, component, role, where, places, ungendered)
            elif kind == "EEComponentRole":
                for inner in role.iter("ConnectorHousingRole"):
                    _housing(document, component, inner, where, places, ungendered)
            elif kind in _TERMINALS:
                _terminal(document, component, role, where, places, role.get("id", "") in mounted)
    # Screens last, so that of a coaxial contact the inner conductor has the cavity's own name.
    for point in sorted(_contact_points(document), key=lambda one: not screens.isdisjoint(_wires_on(one))):
        _contact_point(document, point, places, cable_of)
    tell_pyrotechnic(document, places.pyrotechnic)
    document.warn_of("components that share an identification, told apart by a number", places.names.renamed)
    document.warn_of(
        "connectors called plug, for the file does not say which are plugs and which sockets",
        ungendered,
        cure="Correct `kind` in the connectors table where it matters to you.",
    )
    return places


def _contact_points(document: VecDocument) -> Iterator[etree._Element]:
    for specification in document.specifications("ContactingSpecification"):
        yield from specification.iterfind("ContactPoint")


def _housing(
    document: VecDocument,
    component: etree._Element,
    role: etree._Element,
    where: dict[str, str],
    places: Places,
    ungendered: list[str],
) -> None:
    name = places.names.give(
        document.called(role) or document.called(component) or component.get("id", "plug")
    )
    rows = tuple(_rows(document, role, name, places))
    about = described(document, component)
    housing = _part(document, component)
    ungendered.append(name)
    hazard = Hazard.UNKNOWN
    if speaks_of_pyrotechnics(f"{about} {housing}"):
        places.pyrotechnic.append(name)
        hazard = Hazard.PYROTECHNIC
    places.add(
        Connector(
            name,
            ConnectorKind.PLUG,
            rows or (("1",),),
            about,
            housing,
            where.get(component.get("id", ""), ""),
            hazard,
        )
    )


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
    where: dict[str, str],
    places: Places,
    on_its_own: bool,
) -> None:
    """Keep a splice, or a ring: a terminal on which wires are mounted and that sits in no cavity."""
    if kind_of(role) == "SpliceTerminalRole":
        kind = ConnectorKind.SPLICE
    elif on_its_own or document.text(document.part(component), "PrimaryPartType") == "RingTerminal":
        kind = ConnectorKind.RING
    else:
        return
    name = places.names.give(document.called(component) or component.get("id", "end"))
    rows = () if kind is ConnectorKind.SPLICE else (("1",),)
    housing = "" if kind is ConnectorKind.SPLICE else _part(document, component)
    at = where.get(component.get("id", ""), "")
    places.add(Connector(name, kind, rows, described(document, component), housing, at))
    end = End(name) if kind is ConnectorKind.SPLICE else End(name, "1")
    places.terminals[role.get("id", "")] = end
    for key in (role.findtext("ComponentPort") or "").split():
        places.ports[key] = end


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


def _contact_point(
    document: VecDocument, point: etree._Element, places: Places, cable_of: dict[str, str]
) -> None:
    keys = [
        key
        for mounting in point.iterfind("CavityMounting")
        for key in (mounting.findtext("EquippedCavityRef") or "").split()
    ]
    found = list(dict.fromkeys(places.cavities[key] for key in keys if key in places.cavities))
    wires = _wires_on(point)
    terminal = (point.findtext("MountedTerminal") or "").strip()
    if found:
        end = _apart(found[0], wires, places, cable_of)
        places.bridges += [(end, other) for other in found[1:]]
    elif terminal in places.terminals:
        end = places.terminals[terminal]
    elif wires:
        end = _bare(document, point, len(wires), places)
    else:
        return
    for key in wires:
        places.wire_ends[key] = end
        places.wires_at.setdefault(end, []).append(key)
    if any(one.find("MountedCavitySeal") is not None for one in point.iterfind("WireMounting")):
        places.sealed.add(end)
    if any(one.find("ReplacedPlug") is not None for one in point.iterfind("CavityMounting")) and not wires:
        places.plugged.add(end)


def _wires_on(point: etree._Element) -> list[str]:
    return [
        key
        for mounting in point.iterfind("WireMounting")
        for key in (mounting.findtext("ReferencedWireEnd") or "").split()
    ]


def _apart(end: End, wires: list[str], places: Places, cable_of: dict[str, str]) -> End:
    """Return the cavity, or beside it one for the outer conductor where it holds a coaxial contact."""
    cables = {cable_of[key] for key in wires if key in cable_of}
    there = places.wires_at.get(end, [])
    if not cables & {cable_of[key] for key in there if key in cable_of}:
        return end
    connector, outer = with_screen(places.connectors[end.connector], end.cavity)
    places.add(connector)
    return outer


def _bare(document: VecDocument, point: etree._Element, wires: int, places: Places) -> End:
    """Return the end of a contact point without terminal and cavity: a joint, or a wire's loose end."""
    name = places.names.give(document.called(point) or point.get("id", "end"))
    if wires > 1:
        places.add(Connector(name, ConnectorKind.SPLICE))
        return End(name)
    places.add(Connector(name, ConnectorKind.TAIL, (("1",),)))
    return End(name, "1")
