"""Readings taken again: what moved is the loom's or the meter's, each rule at its edges, followed by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from loomproof.bench.seam import Capabilities
from loomproof.loom.model import End
from loomproof.measuring.controls import (
    charging,
    known_pairs,
    mixed_up,
    passed,
    refuse_late_answers,
    refuse_moved,
    refuse_unrepeatable,
    spare_point,
)
from loomproof.planning.bounding import BoundReading
from loomproof.planning.plan import Plan
from loomproof.planning.test_vectors import Vector
from loomproof.results.measured import Decision
from tests.measuring.scripted import (
    Scripted,
    between,
    ohmmeter_of,
    one_after_the_other,
    refused,
    wire,
)
from tests.planning.test_meter_and_reach import scope_of_sizes

FAIL, PASS = Decision.FAIL, Decision.PASS
SCOPE = scope_of_sizes([2] * 8)
PLAN = Plan(SCOPE, (Vector(0, 0, 0),))


GROUPS = tuple(SCOPE.ends(group.points) for group in SCOPE.groups)


def test_points_that_sense_joins_and_parts() -> None:
    groups = tuple(frozenset(g) for g in GROUPS)
    assert known_pairs(PLAN, groups, 16) == ((1, 2), (1, 4))
    # The first net fell apart: the next that is whole is the joined one, and its halves are not taken.
    broken = (frozenset({End("0", "1")}), frozenset({End("0", "2")}), *groups[1:])
    assert known_pairs(PLAN, broken, 16) == ((4, 8), (1, 4))
    # Two nets that were found to be one are not apart.
    merged = (groups[0] | groups[1], *groups[2:])
    assert known_pairs(PLAN, merged, 16) == ((1, 2), (1, 16))
    two = scope_of_sizes([2, 1], {0: {1}})
    ends = tuple(two.ends(group.points) for group in two.groups)
    assert known_pairs(Plan(two, ()), ends, 3) is None
    assert known_pairs(Plan(two, ()), ends, 4) == ((1, 2), (1, 8))
    single = scope_of_sizes([1, 1])
    assert known_pairs(Plan(single, ()), tuple(single.ends(g.points) for g in single.groups), 9) is None
    assert (spare_point(Plan(two, ()), 3), spare_point(Plan(two, ()), 4)) == (0, 8)


@pytest.mark.parametrize(
    ("joined", "apart", "wrong"),
    [
        ([math.inf], [1.0], True),
        ([1.0, math.inf], [math.inf, 9.9], True),
        ([1.0], [1.0], False),
        ([math.inf], [10.0], False),
        ([math.inf], [math.inf], False),
        ([], [1.0], False),
    ],
)
def test_no_loom_reads_a_joined_pair_open_and_a_parted_one_joined(
    joined: list[float], apart: list[float], wrong: bool
) -> None:
    assert mixed_up(joined, apart, 10.0) is wrong


SENSING = Capabilities(64, sense_ohm=25e3, clear_ohm=250e3, ohms=(0.0, 1e6))


@pytest.mark.parametrize("behind", [0, 1, 2, 3])
def test_a_meter_that_answers_late_is_refused_before_the_loom_is_blamed(behind: int) -> None:
    questions: list[tuple[int, int]] = []

    def late(a: int, b: int, _wires: int) -> float:
        questions.append((a, b))
        k = len(questions) - 1 - behind
        return math.inf if k < 0 or questions[k] == (1, 4) else 0.5

    asker = Scripted(late, able=SENSING)
    said = refused(refuse_late_answers, PLAN, ohmmeter_of(asker, SCOPE), GROUPS)
    assert [pair[:2] for pair in asker.asked] == [(1, 4), (1, 2), (1, 4), (1, 2), (1, 4)]
    assert bool(said) is (behind % 2 == 1)
    for able in (
        replace(SENSING, sense_ohm=None),
        replace(SENSING, clear_ohm=None),
        replace(SENSING, ohms=None),
        replace(SENSING, ohms=(0.0, 250e3)),
    ):
        silent = Scripted(late, able=able)
        assert not refused(refuse_late_answers, PLAN, ohmmeter_of(silent, SCOPE), GROUPS)
        assert silent.asked == []


def test_a_free_point_that_reads_anything_is_the_benchs() -> None:
    two = scope_of_sizes([2])
    plan = Plan(two, (Vector(0, 0, 0),))
    ends = tuple(two.ends(group.points) for group in two.groups)
    asker = Scripted(lambda _a, _b, _w: 400.0, able=SENSING)
    said = refused(refuse_late_answers, plan, ohmmeter_of(asker, two), ends)
    assert said.startswith("0:1 and the free point 3 have nothing between them, and read 400 Ω")
    once = Scripted(one_after_the_other([400.0, 1.0, math.inf, 1.0, 400.0]), able=SENSING)
    assert not refused(refuse_late_answers, plan, ohmmeter_of(once, two), ends)


def again(*ohm: float) -> Scripted:
    """Read conductors of nets 0, 1, 2 … again as so many ohms, and what is apart as open."""
    table = {(1 << 4 * 0 + 2 * k, 2 << 2 * k): value for k, value in enumerate(ohm)}
    return Scripted(between(table), able=SENSING)


def test_one_net_that_moved_is_the_looms_and_two_are_the_meters() -> None:
    """±0.1 Ω: a second reading may be off by twice that."""
    read = [wire(k, 1.0) for k in range(4)]
    for values, off in (
        ((1.0, 1.0, 1.0, 1.0), False),
        ((1.21, 1.0, 1.0, 1.0), False),
        ((1.21, 1.0, 1.21, 1.0), True),
        ((1.19, 1.0, 1.19, 1.0), False),
        ((0.79, 1.0, 1.21, 1.0), True),
        ((math.inf, 1.0, 1.0, 1.0), False),
        ((math.inf, 1.0, 1.0, math.inf), True),
        ((1.08, 1.08, 1.08, 1.08), True),  # a drift: all the same way by more than seven tenths of U
        ((0.92, 0.92, 0.92, 0.92), True),
        ((1.06, 1.08, 1.08, 1.08), False),
        ((0.92, 1.08, 1.08, 1.08), False),
    ):
        said = refused(refuse_moved, PLAN, ohmmeter_of(again(*values), SCOPE), GROUPS, read, frozenset())
        assert bool(said) is off, values
    unsteady = frozenset({End("0", "1")})
    moved = again(1.21, 1.0, 1.21, 1.0)
    assert not refused(refuse_moved, PLAN, ohmmeter_of(moved, SCOPE), GROUPS, read, unsteady)
    for count, off in ((2, False), (3, True)):
        drift = again(*([1.08] * count))
        said = refused(refuse_moved, PLAN, ohmmeter_of(drift, SCOPE), GROUPS, read[:count], frozenset())
        assert bool(said) is off


def test_where_one_moved_the_other_nets_are_read_on_and_on() -> None:
    """Only four are read again at first; a fifth that moves as well is met after one of those did."""
    read = [wire(k, 1.0) for k in range(5)]
    asker = again(1.3, 1.0, 1.0, 1.0, 1.3)
    assert refused(refuse_moved, PLAN, ohmmeter_of(asker, SCOPE), GROUPS, read, frozenset())
    calm = again(1.3, 1.0, 1.0, 1.0, 1.0)
    assert not refused(refuse_moved, PLAN, ohmmeter_of(calm, SCOPE), GROUPS, read, frozenset())
    conductors = [pair for pair in calm.asked if pair[:2] != (1, 4)]
    assert len(conductors) == 4 + 24
    apart = [pair for pair in calm.asked if pair[:2] == (1, 4)]
    assert len(apart) == 3


def test_what_is_blamed_is_read_again_with_another_net_between() -> None:
    read = [replace(wire(0, 5.0), decision=FAIL), wire(1, 1.0), wire(2, 1.0)]
    asker = again(5.0, 1.0, 1.0)
    assert not refused(refuse_unrepeatable, PLAN, ohmmeter_of(asker, SCOPE), read, frozenset())
    assert [pair[:2] for pair in asker.asked] == [(4, 8), (1, 2)]
    assert not refused(refuse_unrepeatable, PLAN, ohmmeter_of(again(1.0, 1.0, 1.0), SCOPE), read, frozenset())
    assert refused(refuse_unrepeatable, PLAN, ohmmeter_of(again(1.0, 1.0, 1.3), SCOPE), read, frozenset())
    two = [*read, replace(wire(3, 5.0), decision=FAIL)]
    assert refused(refuse_unrepeatable, PLAN, ohmmeter_of(again(1.0, 1.0, 1.0, 1.0), SCOPE), two, frozenset())
    none = again(1.0, 1.0, 1.3, 1.0)
    unsteady = frozenset({End("0", "2"), End("3", "1")})
    assert not refused(refuse_unrepeatable, PLAN, ohmmeter_of(none, SCOPE), two, unsteady)
    assert none.asked == []
    unknown = [replace(read[0], expected_ohm=math.inf), *read[1:]]
    assert not refused(refuse_unrepeatable, PLAN, ohmmeter_of(none, SCOPE), unknown, frozenset())
    assert none.asked == []


def test_of_each_net_the_first_reading_that_passed_is_read_again() -> None:
    read = [
        replace(wire(0, 5.0), decision=FAIL),
        wire(0, 1.0),
        wire(0, 1.1),
        replace(wire(1, 1.0), decision=Decision.UNDECIDED),
        replace(wire(2, 2.1), decision=Decision.UNDECIDED),
        replace(wire(3, 1.0), expected_ohm=math.inf),
        wire(4, 1.0),
    ]
    found = passed(PLAN, read, frozenset({End("4", "2")}))
    assert [(r.a.connector, r.measured_ohm) for r in found] == [("0", 1.0), ("1", 1.0)]
    coupled = scope_of_sizes([2, 2, 2, 2], {0: {1}})
    bound = BoundReading("C1", End("1", "1"), End("2", "1"), 1, 4, 5.0, charges=True)
    plan = Plan(coupled, (), bounds=(bound,))
    assert charging(plan) == {End(n, c) for n in "012" for c in "12"}
    assert charging(replace(plan, bounds=(replace(bound, charges=False),))) == frozenset()
    assert passed(plan, [wire(0, 1.0), wire(3, 1.0)], frozenset()) == [wire(3, 1.0)]
