"""Hook-ups to trace with: all pairs of plugs meet, in as few as can be; what is found saves some."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomproof.loom.model import Connector, ConnectorKind, End, Hazard, Loom
from loomproof.planning.hookup_plan import HookUpPlan
from loomproof.planning.trace_plan import hook_ups_to_trace, still_needed


def loom_of(sizes: list[int]) -> Loom:
    plugs = (
        Connector(f"P{k}", ConnectorKind.PLUG, (tuple(map(str, range(1, n + 1))),), hazard=Hazard.NONE)
        for k, n in enumerate(sizes, start=1)
    )
    return Loom("unknown", connectors=tuple(plugs))


def met(plan: HookUpPlan) -> set[frozenset[str]]:
    return {
        frozenset(pair)
        for each in plan.hook_ups
        for pair in combinations((unit.connector for unit in each.units), 2)
    }


@pytest.mark.parametrize(
    ("sizes", "fewest"),
    [
        # Plugs of many sizes: Schönheim's count of plug-ins against points.
        ([48, 40, 32, 26, 24, 20, 18, 16, 12, 12, 10, 8, 8, 6, 6, 4, 4, 3, 3], 8),
        # Thirty plugs of ten, twelve at a time: 30 / 12 = 5/2 takes nine (Mills 1979, from memory).
        ([10] * 30, 9),
    ],
)
def test_three_hundred_cavities_on_128_points_in_the_fewest_hook_ups(sizes: list[int], fewest: int) -> None:
    assert sum(sizes) == 300
    plan = hook_ups_to_trace(loom_of(sizes), 128)
    names = [f"P{k}" for k in range(1, len(sizes) + 1)]
    assert met(plan) == set(map(frozenset, combinations(names, 2)))
    assert all(len(each.point_of) <= 128 for each in plan.hook_ups)
    assert len(plan.hook_ups) == plan.bound == fewest


@settings(max_examples=30, deadline=None)
@given(st.lists(st.integers(1, 6), min_size=2, max_size=6), st.randoms(use_true_random=False))
def test_whatever_is_found_every_two_conductors_meet_in_no_more_hook_ups(
    sizes: list[int], chance: object
) -> None:
    """Oracle: pairs of conductors over the hook-ups that were really made, counted here."""
    import random

    assert isinstance(chance, random.Random)
    loom = loom_of(sizes)
    nets: list[list[End]] = [[] for _ in range(max(2, len(loom.cavities) // 2))]
    for end in loom.cavities:
        chance.choice(nets).append(end)
    plan = hook_ups_to_trace(loom, max(sizes) + sorted(sizes)[-2])
    planned, done = len(plan.hook_ups), 0
    plugged: list[set[End]] = []
    while done < len(plan.hook_ups):
        plugged.append(set(plan.hook_ups[done].point_of))
        done += 1
        found = found_in(nets, plugged)
        plan = still_needed(plan, done, found)
        assert len(plan.hook_ups) <= planned
    assert set().union(*plugged) == set(loom.cavities)
    found = found_in(nets, plugged)
    assert {frozenset(net) for net in found} == {frozenset(net) for net in nets if net}
    for a, b in combinations(found, 2):
        assert any(each & set(a) and each & set(b) for each in plugged)


def found_in(nets: list[list[End]], plugged: list[set[End]]) -> list[tuple[End, ...]]:
    """Return what these hook-ups show to be one conductor: cavities of a net that some of them shares."""
    found: list[set[End]] = []
    for net in nets:
        for each in plugged:
            some = each & set(net)
            if some:
                touching = [part for part in found if part & some]
                found = [part for part in found if not part & some] + [some.union(*touching)]
    return [tuple(sorted(part)) for part in found]
