"""Parts that no reading can tell: what a sound one can't look like is read all the same.

A capacitor, a part without stated ohms, one above the meter's range or one behind which others stand in for
it joins two nets, and neither sense nor isolation may ask whether those touch. But a sound loom reads some
least resistance between them (`electrics.bounds`), and a short reads less.

Nets joined by parts that are measured hang together as a *cluster*: a short inside one changes a reading of
its parts. So clusters are read against each other, all points of one joined, which sees a short between any
two of their conductors. Parts inside one cluster are read between their own two nets.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations

from loomproof.electrics.bounds import least_ohm
from loomproof.electrics.couplings import Coupling
from loomproof.electrics.expectation import Expectation
from loomproof.electrics.unions import Unions
from loomproof.loom.model import ComponentKind, End
from loomproof.proof.scope import Scope

MOST_CLUSTERS = 12
"""So many clusters of one bundle are read each against each; of more, only those that a part joins."""


@dataclass(frozen=True, slots=True)
class BoundReading:
    """Read from points ``one`` to ``other``, each joined: a sound loom reads ``lower_ohm`` or more.

    It tells a short across ``component``, on whose nets ``a`` and ``b`` lie. Without a component it tells a
    short between nets that only several parts lead between.
    """

    component: str
    a: End
    b: End
    one: int
    other: int
    lower_ohm: float


def bound_readings(
    expectation: Expectation, scope: Scope, told: Collection[str], range_ohm: float, current_a: float
) -> Iterator[BoundReading]:
    """Yield what is read for the components that no reading has ``told``.

    ``range_ohm`` is the top of the meter's range and ``current_a`` its largest current.
    """
    group_of = {net: k for k, net in enumerate(scope.net_of_group)}
    here = [c for c in expectation.couplings if c.net_a in group_of and c.net_b in group_of]
    blind = [coupling for coupling in here if coupling.component not in told and not coupling.one_way]
    clusters = Unions(group_of)
    for coupling in here:
        if coupling.component in told or coupling.one_way:
            clusters.join(coupling.net_a, coupling.net_b)
    members: dict[int, list[int]] = {}
    for net in group_of:
        members.setdefault(clusters.root(net), []).append(net)
    points = {net: scope.groups[k].points for net, k in group_of.items()}
    head = {net: scope.end_of[scope.groups[k].head.bit_length()] for net, k in group_of.items()}
    joined: set[frozenset[int]] = set()
    for coupling in blind:
        roots = clusters.root(coupling.net_a), clusters.root(coupling.net_b)
        joined.add(frozenset(roots))
        sides = [members[root] for root in roots]
        if roots[0] == roots[1]:
            sides = [[coupling.net_a], [coupling.net_b]]
        ends = head[coupling.net_a], head[coupling.net_b]
        bounds = []
        for (source, sink), (a, b) in ((sides, ends), (sides[::-1], ends[::-1])):
            lower_ohm = min(_own_least(coupling, range_ohm), _least(expectation, source, sink, current_a))
            one, other = (sum(points[net] for net in nets) for nets in (source, sink))
            bounds.append(BoundReading(coupling.component, a, b, one, other, lower_ohm))
        # What passes no current looks the same both ways round, and a diode across it does not.
        open_both = all(bound.lower_ohm >= range_ohm for bound in bounds) or _is_open(coupling)
        yield from bounds if open_both else [max(bounds, key=lambda bound: bound.lower_ohm)]
    yield from _apart(expectation, members, joined, points, head, current_a)


def _is_open(coupling: Coupling) -> bool:
    return coupling.kind is ComponentKind.CAPACITOR


def _own_least(coupling: Coupling, range_ohm: float) -> float:
    """What a sound part of this kind reads at least; more than the meter's range is over range."""
    return min(coupling.lo_ohm, range_ohm) if _is_open(coupling) else math.inf


def _least(
    expectation: Expectation, source: Collection[int], sink: Collection[int], current_a: float
) -> float:
    return least_ohm(expectation.couplings, source, sink, current_a)


def _apart(
    expectation: Expectation,
    members: Mapping[int, list[int]],
    joined: Collection[frozenset[int]],
    points: Mapping[int, int],
    head: Mapping[int, End],
    current_a: float,
) -> Iterator[BoundReading]:
    """Yield readings between clusters of one bundle that no single part joins."""
    bundles = Unions(members)
    for pair in joined:
        bundles.join(min(pair), max(pair))
    together: dict[int, list[int]] = {}
    for root in members:
        together.setdefault(bundles.root(root), []).append(root)
    for roots in together.values():
        if not 2 < len(roots) <= MOST_CLUSTERS:
            continue
        for first, second in combinations(roots, 2):
            if frozenset((first, second)) not in joined:
                source, sink = members[first], members[second]
                one, other = (sum(points[net] for net in nets) for nets in (source, sink))
                lower_ohm = _least(expectation, source, sink, current_a)
                yield BoundReading("", head[source[0]], head[sink[0]], one, other, lower_ohm)
