"""Nets that parts couple: which readings are taken, which path is told and which figure a part gets."""

from __future__ import annotations

import math
from collections.abc import Iterable

import pytest

from loomproof.loom.model import End
from loomproof.measuring.coupled import (
    MOST_BESIDE,
    Stray,
    _own,
    _singles,
    beside_parts,
    coupled_paths,
    one_place,
)
from loomproof.planning.bounding import BoundReading
from loomproof.planning.net_access import Scope
from loomproof.planning.plan import Plan
from loomproof.results.measured import Decision, Judged, JudgedDiode, OneWay, Path
from tests.measuring.scripted import Scripted, between, judged, ohmmeter_of, part
from tests.planning.test_meter_and_reach import scope_of_sizes

FAIL, PASS = Decision.FAIL, Decision.PASS


def coupled(count: int, rest: int = 1) -> Scope:
    """So many nets of one cavity that parts couple in a row, and others by themselves."""
    reach = {k: {n for n in range(count) if n != k} for k in range(count)}
    return scope_of_sizes([1] * (count + rest), reach)


THREE = coupled(3)
A, B, C, D = (End(str(k), "1") for k in range(4))
EVERYONE = frozenset({A, B, C, D})
ONES = tuple(THREE.ends(group.points) for group in THREE.groups)


def bound(a: int, b: int, lower_ohm: float = 100.0, name: str = "", **more: object) -> BoundReading:
    """A reading from one net to another, or to several joined."""
    made = {"upper_ohm": math.inf, "alone": False, "charges": False} | more
    return BoundReading(name, End(str(a), "1"), End(str(b), "1"), 1 << a, 1 << b, lower_ohm, **made)  # type: ignore[arg-type]  # fields of a reading


def both_ways(ohm: dict[tuple[int, int], float]) -> dict[tuple[int, int], float]:
    return ohm | {(b, a): value for (a, b), value in ohm.items()}


def paths(bounds: Iterable[BoundReading], ohm: dict[tuple[int, int], float]) -> list[Stray]:
    plan = Plan(THREE, (), bounds=tuple(bounds))
    return coupled_paths(plan, ohmmeter_of(Scripted(between(ohm, 1000.0)), THREE), EVERYONE)


def test_a_path_under_what_parts_make_is_told_once_the_lowest_first() -> None:
    bounds = [bound(0, 1), bound(1, 0), bound(0, 2), bound(2, 0)]
    found = paths(bounds, both_ways({(1, 2): 5.0, (1, 4): 3.0}))
    assert [stray.ohm for stray in found] == [3.0, 5.0]
    told = [stray.path for stray in found if isinstance(stray.path, Path)]
    assert [(path.a, path.b, path.ohm, path.stray) for path in told] == [(A, C, 3.0, True), (A, B, 5.0, True)]
    assert [path.uncertainty_ohm for path in told] == pytest.approx([0.1, 0.1])
    assert paths(bounds, {}) == []
    # Of two readings of one pair the lower one counts, whichever came first.
    assert [stray.ohm for stray in paths(bounds[:2], {(1, 2): 9.0, (2, 1): 5.0})] == [5.0]
    assert [stray.ohm for stray in paths(bounds[:2], {(1, 2): 5.0, (2, 1): 9.0})] == [5.0]


def test_a_path_that_conducts_one_way_is_told_with_its_way() -> None:
    (found,) = paths([bound(0, 1), bound(1, 0)], {(1, 2): 5.0, (2, 1): math.inf})
    assert found.path == OneWay(A, B, stray=True)
    assert found.end == A


def test_nothing_is_said_of_nets_that_are_wrong_otherwise_nor_of_parts() -> None:
    plan = Plan(THREE, (), bounds=(bound(0, 1), bound(1, 2, name="C1")))
    meter = ohmmeter_of(Scripted(between({}, 1.0)), THREE)
    assert coupled_paths(plan, meter, frozenset({B, C, D})) == []


def test_nets_that_were_read_together_are_read_one_by_one() -> None:
    plan = Plan(THREE, ())
    alone = bound(0, 1, charges=True)
    assert list(_singles(plan, alone)) == [alone]
    several = BoundReading("", A, B, 0b1, 0b110, 100.0)
    assert list(_singles(plan, several)) == [bound(0, 1), bound(0, 2)]


def beside(
    readings: list[Judged], diodes: list[JudgedDiode], groups: Iterable[frozenset[End]] = ONES
) -> list[tuple[End, End]]:
    meter = ohmmeter_of(Scripted(between({}, 7.0)), THREE)
    found = beside_parts(Plan(THREE, ()), meter, groups, readings, diodes)
    assert all(path.ohm == 7.0 for path in found)
    return [(path.a, path.b) for path in found]


EACH_TO_EACH = [(A, B), (A, C), (B, A), (B, C), (C, A), (C, B)]


def test_where_a_part_reads_too_low_its_nets_are_read_each_to_each() -> None:
    assert beside([part("R1", 0, 1, 100.0, 50.0)], []) == EACH_TO_EACH
    assert beside([part("R1", 0, 1, 100.0, 200.0)], []) == []
    assert beside([part("R1", 0, 1, 100.0, 50.0, PASS)], []) == []
    assert beside([judged("0:1", "1:1", 50.0, 100.0, 110.0, FAIL, lower=90.0)], []) == []
    odd = (ONES[0] | ONES[3], *ONES[1:3])
    assert beside([part("R1", 0, 1, 100.0, 50.0)], [], odd) == [], "one net is not as described"


@pytest.mark.parametrize(
    ("forward", "backward", "decision", "read"),
    [
        (5.0, 6.0, FAIL, True),
        (5.0, math.inf, FAIL, False),
        (math.inf, 6.0, FAIL, False),
        (5.0, 6.0, PASS, False),
    ],
)
def test_a_diode_that_conducts_both_ways_has_something_beside_it(
    forward: float, backward: float, decision: Decision, read: bool
) -> None:
    diode = JudgedDiode("D1", A, B, forward, backward, "ohm", decision, reversed=False)
    assert beside([], [diode]) == (EACH_TO_EACH if read else [])


def test_of_many_nets_each_is_not_read_to_each() -> None:
    for count, read in ((MOST_BESIDE, MOST_BESIDE * (MOST_BESIDE - 1)), (MOST_BESIDE + 1, 0)):
        scope = coupled(count)
        meter = ohmmeter_of(Scripted(between({}, 7.0)), scope)
        groups = [scope.ends(group.points) for group in scope.groups]
        low = [part("R1", 0, 1, 100.0, 50.0)]
        assert len(beside_parts(Plan(scope, ()), meter, groups, low, [])) == read


def failed(ohm: float, a: int = 0, b: int = 1) -> tuple[BoundReading, Judged]:
    """A part between two nets that reads less than it may be, with no limit of its own."""
    it = judged(f"{a}:1", f"{b}:1", ohm, math.inf, math.inf, FAIL, u=0.1, lower=100.0, part="C1")
    return bound(a, b, name="C1"), it


def stray(ohm: float, a: End = B, b: End = C) -> Stray:
    return Stray(ohm, Path(a, b, ohm, 0.1, stray=True))


@pytest.mark.parametrize(
    ("own_ohm", "path_ohm", "part_is_blamed"), [(50.0, 46.0, True), (50.0, 44.0, False), (12.0, 11.0, True)]
)
def test_a_path_is_told_where_it_reads_least(own_ohm: float, path_ohm: float, part_is_blamed: bool) -> None:
    """A path shows through parts at other nets with a tenth more or so; less than that is the place itself.

    Whole sides read 50 Ω; the part's own two nets are read again.
    """
    meter = ohmmeter_of(Scripted(between({(1, 2): own_ohm})), THREE)
    reading, other = failed(50.0), stray(7.0, D, D)
    kept, left = one_place(Plan(THREE, ()), meter, [reading], [stray(path_ohm), other], EVERYONE)
    assert kept == ([reading[1]] if part_is_blamed else [])
    assert left == ([other] if part_is_blamed else [stray(path_ohm), other])


def test_a_part_with_no_path_beside_it_is_blamed_as_it_was_read() -> None:
    asker = Scripted(between({}, 1.0))
    reading = failed(50.0)
    assert one_place(Plan(THREE, ()), ohmmeter_of(asker, THREE), [reading], [], EVERYONE) == (
        [reading[1]],
        [],
    )
    assert asker.asked == []
    kept, _ = one_place(Plan(THREE, ()), ohmmeter_of(asker, THREE), [reading], [], frozenset({D}))
    assert kept == [], "its nets are wrong otherwise"


def own(read_ohm: float, decision: Decision, *, alone: bool, sound: bool = True) -> list[Judged]:
    """What is said of a part of 100 to 200 Ω that reads so much at its own cavities."""
    planned = bound(0, 1, 100.0, "R1", upper_ohm=200.0, alone=alone)
    reading = judged("0:1", "1:1", 70.0, math.inf, 200.0, decision, lower=100.0, part="R1")
    meter = ohmmeter_of(Scripted(between({(1, 2): read_ohm})), THREE)
    return list(_own(meter, planned, reading, EVERYONE if sound else frozenset()))


def test_a_parts_figure_is_read_at_its_own_cavities() -> None:
    (passed,) = own(150.0, PASS, alone=True)
    assert (passed.measured_ohm, passed.limit_ohm, passed.decision) == (150.0, 200.0, PASS)
    for alone in (True, False):
        (blamed,) = own(60.0, FAIL, alone=alone)
        assert (blamed.measured_ohm, blamed.limit_ohm, blamed.decision) == (60.0, 200.0, FAIL)
        assert own(60.0, FAIL, alone=alone, sound=False) == []


def test_where_no_figure_is_its_own_only_what_lies_across_it_at_least_is_told() -> None:
    for read_ohm, decision, alone in ((150.0, PASS, False), (150.0, FAIL, True), (150.0, FAIL, False)):
        (told,) = own(read_ohm, decision, alone=alone)
        assert (told.measured_ohm, told.limit_ohm, told.decision) == (70.0, math.inf, decision)
