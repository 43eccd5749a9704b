"""Whether built-in parts conduct at all, by sense: what a bench without ohms can say of them.

A resistor or coil that is far under the bench's lower threshold must read low: one of its two nets is driven
alone, one reading for each part. Its value stays unknown. A diode is left out: its drop has no margin against
an input's threshold. So is a part that others stand in for.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from loomproof.bench.seam import Capabilities
from loomproof.electrics.couplings import Coupling
from loomproof.electrics.expectation import Expectation
from loomproof.electrics.graph import reachable
from loomproof.loom.model import End
from loomproof.measuring.counting_bench import Asker
from loomproof.measuring.separate_nets import merged
from loomproof.planning.plan import Plan
from loomproof.results.measured import SensedPart


def sensible_parts(
    plan: Plan, expectation: Expectation, able: Capabilities
) -> Iterator[tuple[Coupling, int, int]]:
    """Yield what surely reads low while it is there, with its two groups; nothing where ohms are measured."""
    if plan.meter is not None or not plan.vectors:
        return
    scope = plan.scope
    group_of = {net: k for k, net in enumerate(scope.net_of_group)}
    points: dict[int, int] = {}
    for k, group in zip(scope.bundle_of, scope.groups, strict=True):
        points[k] = points.get(k, 0) + group.size
    for coupling in expectation.couplings:
        i, j = group_of.get(coupling.net_a), group_of.get(coupling.net_b)
        if i is None or j is None or not coupling.linear:
            continue
        # All points that parts join share the path: their pull-ups count, each with the same current.
        surely_ohm = able.surely_low_ohm(points[scope.bundle_of[i]])
        if coupling.hi_ohm < surely_ohm and not _bypassed(expectation, coupling):
            yield coupling, i, j


def sensed_parts(
    plan: Plan, expectation: Expectation, asker: Asker, groups: Sequence[frozenset[End]]
) -> tuple[SensedPart, ...]:
    """Ask which of those parts conduct, where both of their nets were found as they should be."""
    scope, able = plan.scope, asker.capabilities()
    found = set(groups)
    asked = [
        (coupling.component, i, j)
        for coupling, i, j in sensible_parts(plan, expectation, able)
        if {scope.ends(scope.groups[i].points), scope.ends(scope.groups[j].points)} <= found
    ]
    lows = asker.sense([scope.groups[i].head for _, i, _ in asked])
    heads = [[scope.end_of[scope.groups[k].head.bit_length()] for k in (i, j)] for _, i, j in asked]
    return tuple(
        SensedPart(component, a, b, conducts=not scope.groups[j].points & ~low)
        for (component, _, j), low, (a, b) in zip(asked, lows, heads, strict=True)
    )


def joined_across(
    plan: Plan, expectation: Expectation, asker: Asker, groups: Sequence[frozenset[End]]
) -> tuple[frozenset[End], ...]:
    """Return the conductors with those joined that read low across a part which is to read high.

    A resistor above the bench's upper threshold lets no point read low, driven from either side.
    """
    scope, clear_ohm = plan.scope, asker.capabilities().clear_ohm
    group_of = {net: k for k, net in enumerate(scope.net_of_group)}
    whole = set(groups)
    asked = []
    for coupling in expectation.couplings if clear_ohm is not None else ():
        i, j = group_of.get(coupling.net_a), group_of.get(coupling.net_b)
        if i is None or j is None or not coupling.linear or coupling.lo_ohm <= (clear_ohm or 0.0):
            continue
        ends = [scope.ends(scope.groups[k].points) for k in (i, j)]
        if whole.issuperset(ends) and not _bypassed(expectation, coupling):
            asked.append((i, j))
    lows = asker.sense([scope.groups[k].head for pair in asked for k in pair])
    joined = [
        tuple(scope.end_of[scope.groups[k].head.bit_length()] for k in (i, j))
        for (i, j), there, back in zip(asked, lows[::2], lows[1::2], strict=True)
        if there & scope.groups[j].points and back & scope.groups[i].points
    ]
    return merged(groups, [(a, b) for a, b in joined])


def _bypassed(expectation: Expectation, part: Coupling) -> bool:
    """Whether other parts make a way between its two nets, a diode's one way counted as one."""
    others = [(c.net_a, c.net_b) for c in expectation.couplings if c is not part]
    return part.net_b in reachable([part.net_a], [*others, *((b, a) for a, b in others)])
