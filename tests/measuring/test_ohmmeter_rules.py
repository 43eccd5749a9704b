"""What one reading, or a few of one thing, are taken for: by figures that can be followed by hand."""

from __future__ import annotations

import itertools
import math
import random

import pytest

from loomproof.electrics.components import ComponentReading
from loomproof.errors import UnfitError
from loomproof.loom.model import ComponentKind, End
from loomproof.measuring.ohmmeter import (
    alike,
    judge_alone,
    judge_bound,
    judge_conductor,
    judge_part,
    split_by_ohms,
)
from loomproof.planning.bounding import BoundReading
from loomproof.planning.plan import ConductorReading, PartReading
from loomproof.results.measured import Decision
from tests.measuring.scripted import Scripted, between, meter, ohmmeter_of, one_after_the_other
from tests.planning.test_meter_and_reach import fixed

A, B = End("0", "1"), End("0", "2")  # points 1 and 2
OTHER = End("1", "1")  # point 3


def test_a_reading_is_the_mean_less_the_leads() -> None:
    asker = Scripted(one_after_the_other([1.0, 2.0, 6.0]))
    made = ohmmeter_of(asker, made=meter(repeats=3, lead_ohm={1: 0.25, 2: 0.5}))
    assert made.read(A, B) == pytest.approx((3.0 - 0.75, 0.1))
    assert asker.asked == [(1, 2, 2)] * 3
    once_open = ohmmeter_of(Scripted(one_after_the_other([1.0, math.inf, 1.0])), made=meter(repeats=3))
    assert once_open.read(A, B) == (math.inf, math.inf)


def test_less_than_nothing_is_refused_beyond_two_uncertainties() -> None:
    for ohm, leads in ((-0.2, {}), (0.3, {1: 0.25, 2: 0.25})):
        assert ohmmeter_of(Scripted(between({(1, 2): ohm})), made=meter(lead_ohm=leads)).read(A, B)[
            0
        ] == pytest.approx(-0.2)
    low = Scripted(between({(1, 2): -0.201}))
    with pytest.raises(UnfitError, match=r"0:1 to 0:2 \(points 1 and 2\).*there is a voltage on the loom"):
        ohmmeter_of(low).read(A, B)
    assert ohmmeter_of(low).read_sets(1, 2, charged=True)[0] == -0.201
    with pytest.raises(UnfitError, match=r"the adapter table takes 0\.500 Ω off for the leads"):
        ohmmeter_of(Scripted(between({(1, 2): 0.29})), made=meter(lead_ohm={1: 0.25, 2: 0.25})).read(A, B)


@pytest.mark.parametrize(
    ("leads", "two", "good"),
    [
        ({}, 1.0, True),
        ({}, 2.29, True),  # 1 Ω for leads that nobody learned, and 0.2 + 0.1 Ω
        ({}, 2.31, False),
        ({}, 0.71, True),
        ({}, 0.69, False),
        ({1: 0.2, 2: 0.3}, 1.5, True),
        ({1: 0.2, 2: 0.3}, 1.79, True),
        ({1: 0.2, 2: 0.3}, 1.81, False),
        ({1: 0.2, 2: 0.3}, 1.21, True),
        ({1: 0.2, 2: 0.3}, 1.19, False),
    ],
)
def test_four_wires_are_believed_where_two_agree(leads: dict[int, float], two: float, good: bool) -> None:
    """Read 1 Ω with four wires (±0.1 Ω) and so much with two (±0.2 Ω), leads included."""
    asker = Scripted(lambda _a, _b, wires: two if wires == 2 else 1.0)
    made = ohmmeter_of(asker, made=meter(0.2, four_wire=fixed(0.1), lead_ohm=leads))
    if good:
        assert made.read(A, B, 4) == pytest.approx((1.0, 0.1))
        assert asker.asked == [(1, 2, 4), (1, 2, 2)]
    else:
        with pytest.raises(UnfitError, match=r"points 1 and 2: 1\.00 Ω with four wires"):
            made.read(A, B, 4)


def test_four_wires_of_an_open_contact_are_open() -> None:
    asker = Scripted(lambda _a, _b, wires: math.inf if wires == 2 else 0.0)
    assert ohmmeter_of(asker, made=meter(four_wire=fixed(0.1))).read(A, B, 4) == (math.inf, math.inf)


@pytest.mark.parametrize(
    ("seen", "ohm", "rose", "rises", "count"),
    [
        ([math.inf], math.inf, False, False, 1),
        ([5.0, math.inf], math.inf, True, False, 2),
        ([10.1], 10.1, False, False, 1),
        ([10.0, 10.05], 10.05, False, False, 2),
        ([10.0, 10.11], 10.11, True, False, 2),
        ([5.0, 5.1], 5.1, False, False, 2),
        ([5.0, 5.11, 5.12, 5.13], 5.12, True, False, 3),
        ([-1.0, -0.05], -0.05, True, False, 3),
        ([-1.0, -0.5, -0.11, 0.0, 0.05, 0.1], 0.1, True, False, 7),
        ([-0.05, -0.05], -0.05, False, False, 2),
    ],
)
def test_a_reading_is_taken_until_it_stands(
    seen: list[float], ohm: float, rose: bool, rises: bool, count: int
) -> None:
    """±0.1 Ω, and 10 Ω are enough: it stands where it is no more than ±U above the reading half as old."""
    asker = Scripted(one_after_the_other(seen))
    found = ohmmeter_of(asker).settled(1, 2, 10.0, charged=True)
    assert (found.ohm, found.rose, found.rises) == (ohm, rose, rises)
    assert len(asker.asked) == count


def test_what_still_rises_after_fifty_readings_is_said_so() -> None:
    asker = Scripted(one_after_the_other([1.3**k for k in range(52)] + [math.inf]))
    found = ohmmeter_of(asker).settled(1, 2, 1e9, charged=True)
    assert (found.rises, found.rose, len(asker.asked)) == (True, True, 51)


def conductor(limit: float, wires: int = 2) -> ConductorReading:
    return ConductorReading(
        A, B, 4 if wires == 4 else 2, 0.5, 0.6, limit, 0.7, True, ("W1",), defaults_used=False
    )


@pytest.mark.parametrize(
    ("ohm", "limit", "decision"),
    [
        (0.5, 1.0, Decision.PASS),
        (0.89, 1.0, Decision.PASS),
        (0.95, 1.0, Decision.UNDECIDED),
        (1.05, 1.0, Decision.UNDECIDED),
        (1.11, 1.0, Decision.FAIL),
        (math.inf, 1.0, Decision.FAIL),
    ],
)
def test_a_conductor_is_judged_by_its_limit(ohm: float, limit: float, decision: Decision) -> None:
    found = judge_conductor(ohmmeter_of(Scripted(between({(1, 2): ohm}))), conductor(limit))
    assert (found.measured_ohm, found.decision, found.wires) == (ohm, decision, ("W1",))
    assert found.uncertainty_ohm == pytest.approx(0.0 if math.isinf(ohm) else 0.1)
    assert (found.limit_ohm, found.expected_ohm, found.meter_wires, found.most_ohm) == (limit, 0.5, 2, None)


def test_a_conductor_below_the_meters_range_is_known_to_be_below_it() -> None:
    made = meter(range_ohm=(0.5, 1e6), lead_ohm={1: 0.1, 2: 0.1})
    found = judge_conductor(ohmmeter_of(Scripted(between({(1, 2): 0.4})), made=made), conductor(1.0))
    assert found.most_ohm == pytest.approx(0.5 + 0.1 - 0.2)
    assert found.decision is Decision.PASS


def resistor(lower: float, upper: float, *, charges: bool = False) -> PartReading:
    part = ComponentReading(
        "R1", ComponentKind.RESISTOR, A, OTHER, (lower + upper) / 2, lower, upper, math.inf, charges=charges
    )
    return PartReading(part, lower, upper)


@pytest.mark.parametrize(
    ("ohm", "decision"),
    [
        (8.5, Decision.FAIL),
        (8.95, Decision.UNDECIDED),
        (9.05, Decision.UNDECIDED),
        (10.0, Decision.PASS),
        (11.05, Decision.UNDECIDED),
        (11.2, Decision.FAIL),
        (math.inf, Decision.FAIL),
    ],
)
def test_a_part_is_judged_by_both_limits(ohm: float, decision: Decision) -> None:
    found = judge_part(ohmmeter_of(Scripted(between({(1, 4): ohm}))), resistor(9.0, 11.0))
    assert (found.decision, found.component, found.expected_ohm) == (decision, "R1", 10.0)
    assert (found.lower_ohm, found.limit_ohm) == (9.0, 11.0)
    rising = ohmmeter_of(Scripted(one_after_the_other([1.0, 4.0, 7.0, 10.0])))
    charged = judge_part(rising, resistor(9.0, 11.0, charges=True))
    assert (charged.measured_ohm, charged.decision) == (10.0, Decision.PASS)


def bound(lower: float, upper: float = math.inf, *, charges: bool = False) -> BoundReading:
    return BoundReading("C1", A, OTHER, 0b11, 0b1100, lower, upper, charges=charges)


@pytest.mark.parametrize(
    ("ohm", "decision"),
    [
        (3.0, Decision.FAIL),
        (4.85, Decision.FAIL),
        (4.95, Decision.UNDECIDED),
        (5.05, Decision.UNDECIDED),
        (5.2, Decision.PASS),
        (math.inf, Decision.PASS),
    ],
)
def test_what_tells_a_short_across_a_part_is_judged_by_the_least_it_may_be(
    ohm: float, decision: Decision
) -> None:
    found, charged = judge_bound(ohmmeter_of(Scripted(between({(0b11, 0b1100): ohm}))), bound(5.0))
    assert (found.decision, charged) == (decision, False)
    assert (found.component, found.lower_ohm, found.expected_ohm) == ("C1", 5.0, math.inf)
    assert found.uncertainty_ohm == pytest.approx(0.0 if math.isinf(ohm) else 0.1)
    # Over range is no more than above the end of the range.
    far, _ = judge_bound(ohmmeter_of(Scripted(between({}))), bound(5e6))
    assert far.lower_ohm == pytest.approx(1e6 - 0.1)


@pytest.mark.parametrize(("whole", "alone", "decision"), [(5.0, 4.0, "fail"), (5.0, 6.0, "undecided")])
def test_four_wires_between_two_cavities_can_only_fail_the_whole(
    whole: float, alone: float, decision: str
) -> None:
    asker = Scripted(lambda a, _b, wires: alone if (a, wires) != (0b11, 2) else whole)
    made = meter(four_wire=fixed(0.01))
    found, _ = judge_bound(ohmmeter_of(asker, made=made), bound(5.0))
    assert found.decision.value == decision
    assert found.meter_wires == (4 if decision == "fail" else 2)
    clear, _ = judge_bound(ohmmeter_of(Scripted(between({(0b11, 0b1100): 6.0})), made=made), bound(5.0))
    assert clear.meter_wires == 2


@pytest.mark.parametrize(
    ("two", "four", "has_four", "decision", "wires"),
    [
        (6.0, 1.0, True, "pass", 2),
        (5.0, 5.05, True, "pass", 4),
        (5.0, 4.9, True, "fail", 4),
        (5.0, 4.0, False, "undecided", 2),
    ],
)
def test_a_part_alone_is_read_with_four_wires_where_two_leave_it_open(
    two: float, four: float, has_four: bool, decision: str, wires: int
) -> None:
    asker = Scripted(lambda _a, _b, w: two if w == 2 else four)
    made = meter(four_wire=fixed(0.01) if has_four else None)
    found = judge_alone(ohmmeter_of(asker, made=made), bound(5.0))
    assert (found.decision.value, found.meter_wires) == (decision, wires)
    assert asker.asked[0] == (1, 4, 2)


def test_a_capacitor_that_still_charges_passes_for_what_it_shows() -> None:
    rising = Scripted(one_after_the_other([1.2**k for k in range(60)]))
    found, charged = judge_bound(ohmmeter_of(rising), bound(1e6, charges=True))
    last = 1.2**50
    assert (found.decision, charged) == (Decision.PASS, True)
    assert found.measured_ohm == pytest.approx(last)
    assert found.lower_ohm == pytest.approx(last - 0.1)
    still = Scripted(one_after_the_other([1.2**k for k in range(60)]))
    found, charged = judge_bound(ohmmeter_of(still), bound(1e6))
    assert (found.decision, charged) == (Decision.FAIL, False)


@pytest.mark.parametrize(
    ("forward", "backward", "same"),
    [
        (100.0, 100.0, True),
        (100.0, 149.9, True),
        (100.0, 150.0, False),
        (150.0, 100.0, False),
        (math.inf, math.inf, False),
        (1.0, math.inf, False),
        (0.0, 0.0, True),
        (0.0, 1.0, False),
    ],
)
def test_a_path_conducts_both_ways_alike(forward: float, backward: float, same: bool) -> None:
    assert alike(forward, backward, 1.5) is same
    assert alike(0.0, 1.0, 1.5, 1.1) is True
    assert alike(0.0, 1.1, 1.5, 1.1) is True
    assert alike(10.0, 16.2, 1.5, 1.1) is False
    assert alike(0.0, 2e-9, 1.5) is False


@pytest.mark.parametrize("seed", range(60))
def test_fragments_are_told_apart_by_what_lies_between(seed: int) -> None:
    """Fragments on a line with resistances between: near ones are one conductor, far ones lead by a path."""
    rng = random.Random(seed)
    count = 5
    fragments = [0b11 << 2 * k for k in range(count)]
    place = [rng.choice([0.0, 10.0, 30.0, 200.0, 205.0, 1000.0]) for _ in range(count)]
    ohm = {}
    for i, j in itertools.permutations(range(count), 2):
        ohm[1 << 2 * i, 1 << 2 * j] = abs(place[i] - place[j])
    split = split_by_ohms(ohmmeter_of(Scripted(between(ohm))), fragments, 47.0)
    clusters: list[set[int]] = []
    for k in range(count):
        near = [c for c in clusters if any(abs(place[k] - place[o]) < 47.0 for o in c)]
        clusters = [c for c in clusters if c not in near] + [set().union({k}, *near)]
    assert sorted(split.clusters) == sorted(sum(fragments[k] for k in c) for c in clusters)
    home = {End(str(k), "1"): n for n, c in enumerate(clusters) for k in c}
    assert split.ways == ()
    seen = set()
    for path in split.paths:
        a, b = int(path.a.connector), int(path.b.connector)
        assert home[path.a] != home[path.b]
        assert path.ohm == abs(place[a] - place[b])
        seen.add(frozenset((home[path.a], home[path.b])))
    assert seen == {frozenset(pair) for pair in itertools.combinations(range(len(clusters)), 2)}


def test_what_conducts_one_way_is_a_way_from_source_to_sink() -> None:
    for low, high in ((1, 4), (4, 1)):
        asker = Scripted(between({(low, high): 600.0}))
        split = split_by_ohms(ohmmeter_of(asker), [0b11, 0b1100], 47.0)
        assert (split.clusters, split.paths, split.ways) == ((0b11, 0b1100), (), ((low, high),))
    open_both = split_by_ohms(ohmmeter_of(Scripted(between({}))), [0b11, 0b1100], 47.0)
    assert (open_both.paths, open_both.ways) == ((), ())
    # Near one way only is no conductor.
    asker = Scripted(between({(1, 4): 5.0, (4, 1): 900.0}))
    assert split_by_ohms(ohmmeter_of(asker), [0b11, 0b1100], 47.0).ways == ((1, 4),)
    edge = Scripted(between({(1, 4): 47.0, (4, 1): 47.0}))
    assert len(split_by_ohms(ohmmeter_of(edge), [0b11, 0b1100], 47.0).clusters) == 2
