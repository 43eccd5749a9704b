"""Take names and colours of a known loom over into a traced one: what was accepted, and whence it is."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace

from loomproof.errors import InputError
from loomproof.loom.model import Circuit, Connector, End, Hazard, Loom, Wire
from loomproof.results.matching import CavityPlace, Match, Place

UNPLACED = "t"
"""Before the traced name of a cavity of which nothing tells where it is in the known plug."""


def take(found: Match, connectors: Collection[str]) -> Loom:
    """Return the traced loom with the names of these of its connectors as the known loom has them.

    Cavities take the known name where one net tells them, or where names mean the same in both looms; any
    other keeps its traced name with a ``t`` before it, since nothing says where it sits. Wires that
    run between cavities so named take name, colour, section, length and circuit of the known wire, with a
    note that says whence. A hazard is taken where it is worse than what was said of the traced one.
    Raises `InputError` for a connector that the traced loom does not have, or that belongs nowhere.
    """
    places = [_place(found, name) for name in dict.fromkeys(connectors)]
    ends = _names(found, places)
    mine = {place.traced: found.known.by_name[place.known] for place in places}
    taken = {place.known for place in places}
    moved = {c.name: _free(c.name, taken) for c in found.traced.connectors if c.name not in mine}

    def named(end: End) -> End:
        return ends.get(end) or End(moved[end.connector], end.cavity)

    moved_wires = tuple(replace(w, a=named(w.a), b=named(w.b)) for w in found.traced.wires)
    wires = _wires(found, moved_wires, taken)
    return replace(
        found.traced,
        connectors=tuple(
            _connector(c, mine[c.name], ends, found.known.name)
            if c.name in mine
            else replace(c, name=moved[c.name])
            for c in found.traced.connectors
        ),
        wires=wires,
        circuits=_circuits(found, wires),
        components=tuple(
            replace(part, terminals=tuple((terminal, named(end)) for terminal, end in part.terminals))
            for part in found.traced.components
        ),
        cavity_facts=tuple(replace(facts, end=named(facts.end)) for facts in found.traced.cavity_facts),
    )


def _place(found: Match, name: str) -> Place:
    place = found.place_of.get(name)
    if place is None:
        raise InputError(
            f"{found.traced.name}: there is no connector {name}",
            cure=f"There are {', '.join(found.place_of)}.",
        )
    if not place.known:
        raise InputError(
            f"{name}: nothing in {found.known.name} is like it, so there is no name to take over",
            cure="Leave it out, and name it by hand.",
        )
    return place


def _free(name: str, taken: Collection[str]) -> str:
    """A connector that keeps its name makes room where another one takes just that name."""
    while name in taken:
        name = UNPLACED + name
    return name


def _names(found: Match, places: Collection[Place]) -> Mapping[End, End]:
    """Return the new end of each cavity of the accepted connectors."""
    by_end: dict[End, CavityPlace] = {cavity.traced: cavity for cavity in found.cavities}
    named: dict[End, End] = {}
    for place in places:
        for end in found.traced.by_name[place.traced].ends:
            cavity = by_end.get(end)
            same = cavity is not None and found.by_names and cavity.known.cavity == end.cavity
            if cavity is not None and (cavity.sure or same):
                named[end] = End(place.known, cavity.known.cavity)
        used = {end.cavity for end in named.values() if end.connector == place.known}
        for end in found.traced.by_name[place.traced].ends:
            if end not in named:
                by_name = found.by_names and end.cavity in found.known.by_name[place.known].cavities
                name = end.cavity if by_name and end.cavity not in used else UNPLACED + end.cavity
                named[end] = End(place.known, name)
    return named


def _connector(traced: Connector, known: Connector, ends: Mapping[End, End], source: str) -> Connector:
    names = [ends[end].cavity for end in traced.ends]
    rows = known.rows if set(names) == set(known.cavities) else (tuple(names),)
    hazard = known.hazard if _worse(known.hazard, traced.hazard) else traced.hazard
    said = f"{known.description}; " if known.description else ""
    return replace(
        known, rows=rows, hazard=hazard, description=f"{said}matched to {source}, traced as {traced.name}"
    )


def _worse(known: Hazard, traced: Hazard) -> bool:
    order = (Hazard.NONE, Hazard.UNKNOWN, Hazard.ELECTRONICS, Hazard.PYROTECHNIC)
    return order.index(known) > order.index(traced)


def _wires(found: Match, wires: tuple[Wire, ...], accepted: Collection[str]) -> tuple[Wire, ...]:
    """Return wires with what the known wire between the same cavities, or alone at the same cavity, is.

    Only cavities of accepted connectors tell: others may bear a known name by chance. A wire of which nothing
    is taken over makes room where another takes its name.
    """
    taken: dict[str, Wire] = {}
    left: list[Wire] = []
    for wire in wires:
        known = None
        if all(end.connector in accepted for end in wire.ends if end.cavity):
            known = _known_wire(found.known, wire)
        if known is None or known.name in taken:
            left.append(wire)
            continue
        note = f"as {known.name} of {found.known.name}, traced as {wire.name}"
        kept = replace(known, a=wire.a, b=wire.b, twisted_with="", screened_by="", bundle="")
        taken[known.name] = replace(kept, note=f"{wire.note}; {note}" if wire.note else note)
    names = {*taken, *(wire.name for wire in left)}
    free = []
    for wire in left:
        if wire.name in taken:
            name = _free(wire.name, names)
            names.add(name)
            free.append(replace(wire, name=name))
        else:
            free.append(wire)
    return (*taken.values(), *free)


def _known_wire(known: Loom, wire: Wire) -> Wire | None:
    if wire.a.cavity and wire.b.cavity:
        direct = [w for w in known.wires_at.get(wire.a, ()) if wire.b in w.ends]
        return direct[0] if len(direct) == 1 else None
    end = wire.a if wire.a.cavity else wire.b
    alone = known.wires_at.get(end, ()) if end.cavity else ()
    return alone[0] if len(alone) == 1 and any(not one.cavity for one in alone[0].ends) else None


def _circuits(found: Match, wires: Collection[Wire]) -> tuple[Circuit, ...]:
    """Return the circuits of the traced loom, and of the known one those that wires taken over are of.

    What a circuit needs, and a fuse of the known loom, go along only where they are in this loom as well.
    """
    mine = found.traced.circuit_by_name
    used = {wire.circuit for wire in wires if wire.circuit} - set(mine)
    added = [circuit for circuit in found.known.circuits if circuit.name in used]
    there = {*mine, *used}
    parts = found.known.component_by_name
    return (
        *found.traced.circuits,
        *(
            replace(
                circuit,
                needs=tuple(name for name in circuit.needs if name in there),
                fuse="" if circuit.fuse in parts else circuit.fuse,
            )
            for circuit in added
        ),
    )
