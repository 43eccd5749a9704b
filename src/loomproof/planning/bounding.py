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
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass

from loomproof.electrics.bounds import least_ohm
from loomproof.electrics.component_kinds import FACTS, Path
from loomproof.electrics.couplings import Coupling
from loomproof.electrics.currents import ways
from loomproof.electrics.expectation import Expectation
from loomproof.electrics.graph import DisjointSets, reachable
from loomproof.loom.model import End
from loomproof.loom.plain import Ohm
from loomproof.planning.net_access import Scope

MOST_NETS = 24
"""So many nets of one bundle are read each to each; of more, each to all those that no part leads to."""


@dataclass(frozen=True, slots=True)
class BoundReading:
    """Read from points ``one`` to ``other``, each joined: a sound loom reads ``lower_ohm`` to ``upper_ohm``.

    It tells a short across ``component``, on whose nets ``a`` and ``b`` lie. Without a component it tells a
    short between nets that only several parts lead between. ``alone``: nothing but the component leads from
    the one net to the other, so that what is read is the component. ``charges``: a reading may charge a
    capacitor, and rises while it does.
    """

    component: str
    a: End
    b: End
    one: int
    other: int
    lower_ohm: Ohm
    upper_ohm: Ohm = math.inf
    alone: bool = False
    charges: bool = False


def bound_readings(
    expectation: Expectation, scope: Scope, told: Collection[str], range_ohm: float, current_a: float
) -> Iterator[BoundReading]:
    """Yield what is read for the components that no reading has ``told``.

    ``range_ohm`` is the top of the meter's range and ``current_a`` its largest current.
    """
    group_of = {net: k for k, net in enumerate(scope.net_of_group)}
    here = [c for c in expectation.couplings if c.net_a in group_of and c.net_b in group_of]
    blind = [coupling for coupling in here if coupling.component not in told and not coupling.one_way]
    clusters = DisjointSets(group_of, ((c.net_a, c.net_b) for c in here if c.component in told or c.one_way))
    members = {clusters.root(nets[0]): nets for nets in clusters.sets()}
    points = {net: scope.groups[k].points for net, k in group_of.items()}
    head = {net: scope.end_of[scope.groups[k].head.bit_length()] for net, k in group_of.items()}
    for coupling in blind:
        roots = clusters.root(coupling.net_a), clusters.root(coupling.net_b)
        sides = [members[root] for root in roots]
        if roots[0] == roots[1]:
            sides = [[coupling.net_a], [coupling.net_b]]
        ends = head[coupling.net_a], head[coupling.net_b]
        bounds = []
        alone = not _bypassed(expectation.couplings, coupling)
        most_ohm = _most_ohm(expectation, coupling, *ends, alone=alone)
        most_ohm = most_ohm if most_ohm <= range_ohm else math.inf
        for (source, sink), (a, b) in ((sides, ends), (sides[::-1], ends[::-1])):
            lower_ohm = min(_own_least(coupling, range_ohm), _least(expectation, source, sink, current_a))
            one, other = (sum(points[net] for net in nets) for nets in (source, sink))
            bounds.append(BoundReading(coupling.component, a, b, one, other, lower_ohm, most_ohm, alone))
        # What passes no current looks the same both ways round, and a diode across it does not.
        open_both = all(bound.lower_ohm >= range_ohm for bound in bounds) or coupling.path is Path.CAPACITOR
        yield from bounds if open_both else [max(bounds, key=lambda bound: bound.lower_ohm)]


def _most_ohm(expectation: Expectation, coupling: Coupling, a: End, b: End, *, alone: bool) -> float:
    """Return what is read at most while the part is there, Ω: whatever lies beside it makes that less.

    Of a part with ohms that is beside others, what all of them read in parallel, each at its greatest.
    """
    if coupling.nominal_ohm is None:
        return FACTS[coupling.kind].most_ohm
    island = expectation.island_of[coupling.net_a]
    if alone or not coupling.linear or a not in island.node_of or b not in island.node_of:
        return math.inf
    greatest_ohm = island.greatest.resistance(island.node_of[a], island.node_of[b])
    settings = expectation.loom.settings
    # Joints have a margin, and so have the wires on the way; a part has its tolerance, which is in already.
    joints_ohm = max(0.0, greatest_ohm - coupling.hi_ohm) + expectation.contacts_ohm(a, b)
    return greatest_ohm + settings.margin_ratio * joints_ohm + settings.margin_ohm


def _bypassed(couplings: Iterable[Coupling], coupling: Coupling) -> bool:
    """Whether other parts lead from one net of this one to the other, either way round."""
    steps = [step for other in couplings if other is not coupling for step in ways(other)]
    back = [(there, here) for here, there in steps]
    return any(coupling.net_b in reachable([coupling.net_a], way) for way in (steps, back))


def _own_least(coupling: Coupling, range_ohm: float) -> float:
    """What a sound part of this kind reads at least; more than the meter's range is over range."""
    return min(coupling.lo_ohm, range_ohm) if coupling.path is Path.CAPACITOR else math.inf


def _least(
    expectation: Expectation, source: Collection[int], sink: Collection[int], current_a: float
) -> float:
    return least_ohm(expectation.couplings, source, sink, current_a)


def pair_bounds(
    expectation: Expectation,
    scope: Scope,
    told: Mapping[str, tuple[End, End]],
    top_ohm: float,
    current_a: float,
) -> Iterator[BoundReading]:
    """Yield what is read between nets that parts couple, but not only parts that are ``told`` by ohms.

    ``told`` holds from which cavity to which each of those is read: what conducts one way only may lie across
    it as well, so the other way round is read here.

    Neither sense nor isolation asks of these nets. Each reads to each other, both ways round, no less than
    the parts between can make of it, and where none leads there this way round, ``top_ohm`` or more. Of a
    bundle of many nets each is read to all those, joined, that no part leads to from it.
    """
    group_of = {net: k for k, net in enumerate(scope.net_of_group)}
    here = [c for c in expectation.couplings if c.net_a in group_of and c.net_b in group_of]
    linear = DisjointSets(group_of, ((c.net_a, c.net_b) for c in here if c.component in told and c.linear))
    read = {frozenset((c.net_a, c.net_b)) for c in here if not (c.component in told and c.linear)}
    points = {net: scope.groups[k].points for net, k in group_of.items()}
    head = {net: scope.end_of[scope.groups[k].head.bit_length()] for net, k in group_of.items()}
    steps = [step for coupling in expectation.couplings for step in ways(coupling)]
    for coupling in here:
        if coupling.component in told and coupling.linear:
            sink, source = (expectation.net_of[end] for end in told[coupling.component])
            lower_ohm = least_ohm(expectation.couplings, [source], [sink], current_a)
            if lower_ohm <= top_ohm:
                yield BoundReading("", head[source], head[sink], points[source], points[sink], lower_ohm)
    for nets in DisjointSets(group_of, ((c.net_a, c.net_b) for c in here)).sets():
        for net in nets:
            apart = [other for other in nets if linear.root(other) != linear.root(net)]
            apart = [other for other in apart if frozenset((net, other)) not in read]
            if len(nets) <= MOST_NETS:
                for other in apart:
                    lower_ohm = min(least_ohm(expectation.couplings, [net], [other], current_a), top_ohm)
                    yield BoundReading("", head[net], head[other], points[net], points[other], lower_ohm)
                continue
            led_to = reachable([net], steps)
            unled = [other for other in apart if other not in led_to]
            if unled:
                other_points = sum(points[other] for other in unled)
                yield BoundReading("", head[net], head[unled[0]], points[net], other_points, top_ohm)
