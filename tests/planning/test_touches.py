"""How few touches: figures for the demo loom, the bound against a search of all plans, every pair asked."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from itertools import combinations
from typing import Any

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.seam import singles
from loomproof.electrics.expectation import expect
from loomproof.loom.model import Connector, ConnectorKind, End, Loom, Wire
from loomproof.loom.reading import load
from loomproof.planning.net_access import Scope, scope_of
from loomproof.planning.touches import MOST_RED, Step, effort_of, steps_if_sound
from tests.bench.torture import FIXTURES


def scope_at(name: str) -> Scope:
    loom = load(FIXTURES / name).loom
    return scope_of(expect(loom, 20.0), in_order(loom.cavities).point_of)


def scope_with(sizes: Sequence[int]) -> Scope:
    """Nets of these sizes, each on a plug of its own, its cavities in a row of wires."""
    connectors = tuple(
        Connector(f"N{k}", ConnectorKind.PLUG, (tuple(str(c) for c in range(1, size + 1)),))
        for k, size in enumerate(sizes)
    )
    wires = tuple(
        Wire(f"W{k}.{c}", End(f"N{k}", str(c)), End(f"N{k}", str(c + 1)), csa_mm2=0.5, length_m=1.0)
        for k, size in enumerate(sizes)
        for c in range(1, size)
    )
    loom = Loom("nets", connectors=connectors, wires=wires)
    return scope_of(expect(loom, 20.0), in_order(loom.cavities).point_of)


def test_the_demo_loom_takes_so_many_touches() -> None:
    """127 cavities, 60 nets: at most 2 000 with two probes, at most 600 with clips; every pair is asked."""
    scope = scope_at("hillclimb_engine")
    assert (scope.points.bit_count(), len(scope.groups)) == (127, 60)
    two, clips = effort_of(scope, 0), effort_of(scope, 5)
    assert two.touches <= 2000
    assert clips.touches <= 600
    assert two.bound <= two.touches < 1.06 * two.bound
    assert clips.bound <= clips.touches < 1.35 * clips.bound
    assert two.pairs == clips.pairs == 60 * 59 // 2 - 2  # a diode and a resistor join two pairs of nets


@pytest.mark.parametrize("clips", [0, 3, 5, 10, 40])
@pytest.mark.parametrize("name", ["tail_lamp", "hillclimb_engine"])
def test_every_pair_is_asked_and_every_net_is_one(name: str, clips: int) -> None:
    """Followed with a pencil: what each sweep of a sound loom shows, without the planner's own record."""
    scope = scope_at(name)
    home = {p: k for k, group in enumerate(scope.groups) for p in singles(group.points)}
    apart: set[frozenset[int]] = set()
    joined: dict[int, int] = {}
    for step in steps_if_sound(scope, clips):
        assert 0 < len(step.red) <= MOST_RED
        assert not step.black & step.red_points
        bunch = {home[p] for p in singles(step.black)}
        assert len(bunch) <= max(clips, 1)
        for red in step.red:
            if step.whole:
                assert bunch == {home[red]}
                joined[home[red]] = joined.get(home[red], step.black) | red
                continue
            assert home[red] not in bunch
            apart |= {frozenset((k, home[red])) for k in bunch}
            if step.chained:
                bunch.add(home[red])
        assert not step.chained or len(bunch) <= clips
    pairs = {frozenset(pair) for pair in combinations(range(len(scope.groups)), 2)}
    coupled = {pair for pair in pairs if len({scope.bundle_of[k] for k in pair}) == 1}
    assert apart == pairs - coupled
    assert all(joined[k] == group.points for k, group in enumerate(scope.groups) if group.size > 1)


def fewest(sizes: Sequence[int]) -> int:
    """The fewest touches of two probes by which a person can know that these nets are whole and apart.

    Breadth first over all ways to lay probes: a state is where they lie and what was seen.
    """
    ends = [(net, cavity) for net, size in enumerate(sizes) for cavity in range(size)]

    def known(seen: frozenset[frozenset[tuple[int, int]]]) -> bool:
        group = {end: {end} for end in ends}
        for pair in seen:
            a, b = pair
            if a[0] == b[0]:
                both = group[a] | group[b]
                for end in both:
                    group[end] = both
        if any(len(group[end]) < sizes[end[0]] for end in ends):
            return False
        return len({frozenset((a[0], b[0])) for a, b in map(tuple, seen) if a[0] != b[0]}) == len(
            list(combinations(sizes, 2))
        )

    start: tuple[Any, Any, frozenset[frozenset[tuple[int, int]]]] = (None, None, frozenset())
    reached, todo = {start}, deque([(start, 0)])
    while todo:
        (black, red, seen), touches = todo.popleft()
        if known(seen):
            return touches
        for end in ends:
            for there in ((end, red), (black, end)):
                if there[0] == there[1]:
                    continue
                more = seen | {frozenset(there)} if None not in there else seen
                state = (*there, more)
                if state not in reached:
                    reached.add(state)
                    todo.append((state, touches + 1))
    raise AssertionError("no plan ends")


@pytest.mark.parametrize("sizes", [(1, 1), (1, 1, 1), (2, 1), (2, 2), (3, 1), (1, 1, 1, 1), (2, 1, 1)])
def test_no_plan_is_under_the_bound(sizes: tuple[int, ...]) -> None:
    effort = effort_of(scope_with(sizes), 0)
    assert effort.bound <= fewest(sizes) <= effort.touches


def test_touches_are_counted_as_they_are_made() -> None:
    """Black stays for nothing; of a chain each end is touched, then clipped."""
    assert Step(0b1, (0b10, 0b100)).touches(0) == 3
    assert Step(0b1, (0b10, 0b100)).touches(0b1) == 2
    assert Step(0b1, (0b10, 0b100), chained=True).touches(0b1) == 4
    assert Step(0b111, (0b1000,)).touches(0b011) == 2


def test_parts_are_left_to_their_ohms() -> None:
    """No sweep goes from one net to another that a part joins: a beep may come through it."""
    scope = scope_at("hillclimb_engine")
    home = {p: k for k, group in enumerate(scope.groups) for p in singles(group.points)}
    for step in steps_if_sound(scope, 10):
        bundles = [scope.bundle_of[home[p]] for p in singles(step.black)]
        assert step.whole or all(scope.bundle_of[home[red]] not in bundles for red in step.red)
