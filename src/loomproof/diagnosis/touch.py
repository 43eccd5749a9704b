"""Where two conductors could touch, likeliest first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from loomproof.diagnosis.weights import Weights
from loomproof.diagnosis.words import Names
from loomproof.loom.model import End, Loom, Wire


@dataclass(frozen=True, slots=True)
class Touch:
    """One way two conductors could come together; ``cost`` is added to a short's to order places."""

    cost: int
    text: str
    ends: tuple[End, ...] = ()


@dataclass(frozen=True)
class Conductor:
    """One piece of a net: its tested cavities, every end of its wires, its wires."""

    leaves: tuple[End, ...]
    ends: frozenset[End]
    wires: tuple[Wire, ...]
    name: str = field(default="", compare=False)


def touches(loom: Loom, one: Conductor, other: Conductor, weights: Weights) -> tuple[Touch, ...]:
    """Return every known place where two conductors come near each other, likeliest first.

    Side by side in a housing, at one splice cover or twisted or screened together, in one bundle, in one
    housing, between the same connectors. Empty where the description brings them nowhere together.
    """
    names = Names(loom)
    found = [*_in_housing(loom, one, other, weights, names), *_along(one, other, weights, names)]
    return tuple(sorted(found, key=lambda touch: touch.cost))


def side_by_side(names: Names, a: End, b: End) -> str:
    """Return where two neighbours in a housing touch, ``a`` before ``b`` in order."""
    return f"{names.place(a)}, and {b} beside it"


def in_one_housing(a: End, b: End) -> str:
    """Return where two cavities of a housing touch that do not sit side by side."""
    return f"{a} and {b}, in one housing but not side by side"


def _in_housing(
    loom: Loom, one: Conductor, other: Conductor, weights: Weights, names: Names
) -> Iterable[Touch]:
    small, big = (one, other) if len(one.ends) <= len(other.ends) else (other, one)
    homes: dict[str, list[End]] = {}
    for end in sorted(big.ends):
        homes.setdefault(end.connector, []).append(end)
    for end in sorted(small.ends):
        near = [e for e in loom.neighbours(end) if e in big.ends] if end.connector in homes else []
        for beside in near:
            a, b = sorted((end, beside))
            yield Touch(weights.touch_neighbours, side_by_side(names, a, b), (a, b))
        if end.connector in homes and end.cavity and not near:
            beside = homes[end.connector][0]
            a, b = sorted((end, beside))
            yield Touch(weights.touch_housing, in_one_housing(a, b), (a, b))


def _along(one: Conductor, other: Conductor, weights: Weights, names: Names) -> Iterable[Touch]:
    by_name = {wire.name: wire for wire in other.wires}
    by_route: dict[frozenset[str], Wire] = {}
    for wire in other.wires:
        by_route.setdefault(frozenset({wire.a.connector, wire.b.connector}), wire)
    for wire in one.wires:
        for other_name in {wire.twisted_with, wire.screened_by} & by_name.keys():
            text = f"along {names.wire(wire.name)} and {names.wire(other_name)}, twisted or screened together"
            yield Touch(weights.touch_splice, text)
        for mate in other.wires if wire.name else ():
            if wire.name in (mate.twisted_with, mate.screened_by):
                text = (
                    f"along {names.wire(wire.name)} and {names.wire(mate.name)}, twisted or screened together"
                )
                yield Touch(weights.touch_splice, text)
        beside, shared = _longest_beside(wire, other.wires)
        if beside is not None:
            text = f"in bundle {' '.join(shared)}, {names.wire(wire.name)} against {names.wire(beside.name)}"
            yield Touch(weights.touch_bundle, text)
        route = frozenset({wire.a.connector, wire.b.connector})
        if route in by_route:
            mate = by_route[route]
            text = (
                f"between {' and '.join(sorted(route))}, "
                f"{names.wire(wire.name)} against {names.wire(mate.name)}"
            )
            yield Touch(weights.touch_route, text)


def _longest_beside(wire: Wire, others: Iterable[Wire]) -> tuple[Wire | None, tuple[str, ...]]:
    """Return the wire that shares the most bundles with this one, and those bundles in order."""
    best: tuple[Wire | None, tuple[str, ...]] = (None, ())
    for other in others:
        shared = tuple(bundle for bundle in wire.bundles if bundle in other.bundles)
        if len(shared) > len(best[1]):
            best = (other, shared)
    return best


def nearest(
    loom: Loom, conductors: Sequence[Conductor], weights: Weights
) -> list[tuple[int, int, tuple[Touch, ...]]]:
    """Return every pair of conductors with its touches, the likeliest pair first."""
    pairs = [
        (i, j, touches(loom, conductors[i], conductors[j], weights))
        for i in range(len(conductors))
        for j in range(i + 1, len(conductors))
    ]
    return sorted(pairs, key=lambda pair: (pair[2][0].cost if pair[2] else weights.touch_strangers, pair[:2]))
