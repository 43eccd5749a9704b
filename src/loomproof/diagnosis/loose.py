"""Contacts that come and go: one wire or contact that explains all cavities that did not read steadily."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.found import Found
from loomproof.diagnosis.mending import is_ring
from loomproof.diagnosis.words import listed
from loomproof.diagnosis.writing import Writer
from loomproof.loom.model import End
from loomproof.results.findings import Alternative, Evidence, Finding, Kind


def loose_findings(found: Found, writer: Writer, known: Sequence[Finding]) -> list[Finding]:
    """Return all findings with the intermittent ones in; an open that comes and goes is told once."""
    kept = list(known)
    by_net: dict[int, set[int]] = {}
    for end in found.measured.unstable:
        place = found.place_of(end)
        if place is not None:
            by_net.setdefault(found.wiring.net_of[place], set()).add(place)
    for net, places in sorted(by_net.items()):
        for shown, edges in _causes(found, net, places):
            finding = _finding(found, writer, sorted(shown), edges)
            wires = set(finding.wires)
            kept = [
                other
                for other in kept
                if other.kind is not Kind.OPEN
                or not (set(other.wires) & wires or set(other.cavities) & set(finding.cavities))
            ]
            kept.append(finding)
    return kept


def _causes(found: Found, net: int, unstable: set[int]) -> Iterator[tuple[set[int], list[int]]]:
    """Yield the fewest edges that explain what came and went in a net: (cavities, edges that do it equally).

    An edge that lets go parts its two sides. In one question all of the side that was not driven changes
    together, so each set that changed is one of its sides.
    """
    left = [
        frozenset(place for end in together if (place := found.place_of(end)) is not None)
        for together in found.measured.unsteady
    ]
    left = [places for places in left if places and places <= unstable] or [frozenset(unstable)]
    wiring = found.wiring
    leaves = frozenset(wiring.nets[net].leaves)
    sides: dict[int, tuple[frozenset[int], frozenset[int]]] = {}
    for number in wiring.nets[net].edges:
        side = frozenset(wiring.side(number, wiring.edges[number].u))
        if side != leaves:
            sides[number] = (side, leaves - side)
    while left:
        most = max((sum(each in both for each in left) for both in sides.values()), default=0)
        if not most:
            yield set().union(*left), []
            return
        explained = {number: [each for each in left if each in both] for number, both in sides.items()}
        first = next(each for each in explained.values() if len(each) == most)
        yield set().union(*first), [number for number, each in explained.items() if each == first]
        left = [each for each in left if each not in first]


def _finding(found: Found, writer: Writer, places: Sequence[int], edges: Sequence[int]) -> Finding:
    ends = tuple(found.wiring.leaf_ends[leaf] for leaf in sorted(places))
    shown = [Evidence(f"{listed(ends)} did not read the same each time")]
    wires, what = _named(found, writer, edges[0]) if edges else ((), listed(ends))
    others = [
        Alternative(
            text=f"{_named(found, writer, number)[1]} comes and goes",
            cause=Cause.LOOSE_CONTACT,
            cavities=ends,
            wires=_named(found, writer, number)[0],
            tell_apart=f"Watch the loom and move {what} alone: an event then is this one.",
        )
        for number in edges[1:]
    ]
    cavities = _cavities(found, edges[0], ends) if edges else ends
    return writer.make(
        Cause.LOOSE_CONTACT,
        cavities,
        f"{what} {'comes and goes' if edges or len(ends) < 2 else 'come and go'}",
        [writer.names.place(end) for end in cavities],
        [
            f"Watch the loom while you move {what}, end by end, to find which end lets go.",
            _renew(writer, cavities),
            *(_in_wire(writer, found.wiring.edges[edges[0]].wires) if edges else ()),
        ],
        wires=wires,
        evidence=shown,
        alternatives=others,
        cost=writer.weights.open_wire,
    )


def _in_wire(writer: Writer, wires: Sequence[str]) -> Iterator[str]:
    """Yield what is left where neither end of a wire lets go; nothing for a contact or a part."""
    if wires:
        yield (
            f"Where neither end lets go, bend {writer.names.wires(wires)} along its length: it lets go where "
            "strands are broken inside the insulation. Join in a piece there."
        )


def _named(found: Found, writer: Writer, number: int) -> tuple[tuple[str, ...], str]:
    edge = found.wiring.edges[number]
    if edge.contact >= 0:
        end = found.wiring.leaf_ends[edge.contact]
        return tuple(wire.name for wire in found.loom.wires_at.get(end, ())), f"the contact of {end}"
    return edge.wires, edge.component or writer.names.wires(edge.wires)


def _cavities(found: Found, number: int, ends: tuple[End, ...]) -> tuple[End, ...]:
    edge = found.wiring.edges[number]
    own = tuple(found.wiring.leaf_ends[node] for node in (edge.u, edge.v) if node < found.wiring.leaf_count)
    return own or ends


def _renew(writer: Writer, cavities: Sequence[End]) -> str:
    rings = [end for end in cavities if is_ring(writer.names, end)]
    if rings and len(rings) == len(cavities):
        return "Clean lug and seat and tighten the bolt; renew a lug whose crimp moves."
    lug = "; at a ring, the bolt or the lug" if rings else ""
    return f"Renew the contact{lug}: a spread or half-crimped one does not get better."
