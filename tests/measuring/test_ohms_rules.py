"""Edges of what is read: bundles told apart, four wires against two, one factor, volts, classes of sense."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import cast

import pytest

from loomproof.bench.questions import Answer, Question, Sense, Settle, Voltage
from loomproof.bench.seam import Capabilities, Opening
from loomproof.electrics.expectation import expect
from loomproof.errors import UnfitError, UsageError
from loomproof.loom.model import ComponentKind, End
from loomproof.measuring.clearance import Clearance
from loomproof.measuring.component_presence import joined_across
from loomproof.measuring.controls import _controls
from loomproof.measuring.counting_bench import Asker
from loomproof.measuring.insulation import measure_insulation
from loomproof.measuring.nets_by_resistance import _joined
from loomproof.measuring.one_factor import _one_joint_explains, refuse_common_factor
from loomproof.measuring.one_way import lowest_first
from loomproof.measuring.probe_ends import claims_of
from loomproof.measuring.resolve_nets import _by_classes, _split_dark
from loomproof.measuring.selfcheck import find_settle
from loomproof.measuring.undriven import ROUND_TRIP_S, VOLT_TIME_S, _voltages
from loomproof.measuring.wiggle import WiggleLog
from loomproof.planning.conductors import Conductors
from loomproof.planning.plan import CONTROL_NETS, Plan, plan_proof
from loomproof.planning.test_vectors import Group, Vector
from loomproof.results.measured import Decision, Measured
from tests.cleared import cleared_for_points
from tests.electrics.looms import loom_of, part
from tests.measuring.scripted import Scripted, between, judged, meter, ohmmeter_of, refused
from tests.measuring.scripted import part as read_part
from tests.memory_bench import MemoryBench, simulated
from tests.planning.test_meter_and_reach import fixed, scope_of_sizes

FAIL = Decision.FAIL


def both(ohm: dict[tuple[int, int], float]) -> dict[tuple[int, int], float]:
    return ohm | {(b, a): value for (a, b), value in ohm.items()}


def test_two_bundles_meet_at_the_two_conductors_that_read_low_both_ways() -> None:
    plan = Plan(scope_of_sizes([1] * 4), ())
    asker = Scripted(between(both({(2, 12): 5.0, (2, 8): 5.0})))
    assert _joined(ohmmeter_of(asker, plan.scope), plan, [1, 2], [4, 8]) == [10, 1, 4]
    one_way = Scripted(between({(1, 4): 5.0}))
    assert _joined(ohmmeter_of(one_way, plan.scope), plan, [1], [4]) == [1, 4]
    assert [(a, b) for a, b, _ in one_way.asked] == [(1, 4), (4, 1)], "one conductor is read once"
    pair = Scripted(between(both({(1, 4): 5.0})))
    assert _joined(ohmmeter_of(pair, plan.scope), plan, [1], [4]) == [5]
    assert [(a, b) for a, b, _ in pair.asked] == [(1, 4), (4, 1)]
    apart = Scripted(between({}, 50.0))  # what reads more than 47 Ω is apart
    assert _joined(ohmmeter_of(apart, plan.scope), plan, [1, 2], [4, 8]) == [1, 2, 4, 8]


@pytest.mark.parametrize(("two_ohm", "can_be"), [(0.9, False), (1.0, True), (2.0, True), (2.1, False)])
def test_two_wires_read_what_four_do_and_the_leads(two_ohm: float, can_be: bool) -> None:
    """Leads that nobody learned have up to 1 Ω; this meter is exact."""
    made = meter(0.0, four_wire=fixed(0.0))
    ohmmeter = ohmmeter_of(Scripted(lambda _a, _b, wires: 1.0 if wires == 4 else two_ohm), made=made)
    if can_be:
        assert ohmmeter.read_sets(1, 2, 4) == (1.0, 0.0)
    else:
        with pytest.raises(UnfitError, match="both can't be right"):
            ohmmeter.read_sets(1, 2, 4)


def test_ways_that_conduct_one_way_are_told_the_lowest_first() -> None:
    asker = Scripted(between({(1, 2): 100.0, (8, 4): 5.0}))
    made = ohmmeter_of(asker)
    assert lowest_first(made, [(1, 2), (4, 8), (1, 2)]) == [(4, 8), (1, 2)]
    asker.asked.clear()
    assert lowest_first(made, [(1, 2)]) == [(1, 2)]
    assert asker.asked == [], "one needs no order"


@pytest.mark.parametrize(
    ("ohms", "explained"),
    [
        ([(10.0, 11.5), (20.0, 22.4)], True),  # 0.5 Ω more brings the first over its limit
        ([(10.0, 10.5), (20.0, 21.0)], False),  # within limits
        ([(10.0, 11.5), (20.0, 30.0)], False),  # 8 Ω and more, and the first has 2.5 Ω too much at most
    ],
)
def test_one_bad_joint_adds_the_same_to_all(ohms: list[tuple[float, float]], explained: bool) -> None:
    parts = [read_part(f"R{k}", 0, k, value, read) for k, (value, read) in enumerate(ohms, start=1)]
    assert _one_joint_explains(Plan(scope_of_sizes([1] * 4), ()), parts) is explained
    if explained:
        apart = [read_part("R1", 0, 1, *ohms[0]), read_part("R2", 2, 3, *ohms[1])]
        assert not _one_joint_explains(Plan(scope_of_sizes([1] * 4), ()), apart), "no net in common"


@pytest.mark.parametrize(("wire_ohm", "off"), [(0.80, True), (0.74, False)])
def test_a_conductor_far_below_the_least_factor_says_otherwise(wire_ohm: float, off: bool) -> None:
    """Parts read 1.5 and 1.7 times what they should; half of 1.5 Ω is too little for the meter's gain."""
    parts = [read_part("R1", 0, 1, 100.0, 150.0), read_part("R2", 2, 3, 1000.0, 1700.0)]
    wire = judged("4:1", "4:2", wire_ohm, 1.0, 2.0)
    plan = Plan(scope_of_sizes([2] * 5), ())
    assert bool(refused(refuse_common_factor, plan, [*parts, wire])) is off


def test_readings_are_taken_again_where_a_gain_shows_best_and_where_it_was_early() -> None:
    readings = [judged(f"{k}:1", f"{k}:2", 1.0 + k, 1.0, 9.0, u=0.1) for k in range(6)]
    assert _controls(readings) == [readings[5], readings[4], readings[0], readings[1]]
    assert len(_controls(readings)) == CONTROL_NETS
    assert _controls(readings[:2]) == [readings[1], readings[0]]


@pytest.mark.parametrize("volts", [0.0, -1.0])
def test_no_volts_are_no_insulation_test(volts: float) -> None:
    bench = MemoryBench(Capabilities(8))
    with pytest.raises(UsageError, match="cannot be tested"):
        measure_insulation(bench, cast(Clearance, None), 1, 2, volts, 100)


@dataclass
class Sensing:
    """Stands in for an `Asker` that senses: what reads low with each drive."""

    low_of: dict[int, int]
    able: Capabilities

    def sense(self, drives: Sequence[int]) -> list[int]:
        return [drive | self.low_of.get(drive, 0) for drive in drives]

    def capabilities(self) -> Capabilities:
        return self.able


@pytest.mark.parametrize(
    ("low_of", "joined"), [({1: 2, 2: 1}, True), ({1: 2}, False), ({2: 1}, False), ({1: 4, 2: 4}, False)]
)
def test_a_part_that_should_read_high_and_reads_low_both_ways_has_a_short_across_it(
    low_of: dict[int, int], joined: bool
) -> None:
    expectation = expect(loom_of("", (part(ComponentKind.RESISTOR, "R1", "A:1", "B:1", 1e6),), extra="C:1"))
    able = Capabilities(8)
    ends = expectation.loom.cavities
    plan = plan_proof(expectation, {end: k for k, end in enumerate(ends, 1)}, able, None)
    groups = [frozenset({end}) for end in ends]
    found = joined_across(plan, expectation, cast(Asker, Sensing(low_of, able)), groups)
    assert set(found) == ({frozenset(ends[:2]), groups[2]} if joined else set(groups))


def test_what_lost_its_leader_is_asked_for_where_that_pays() -> None:
    asked: list[list[int]] = []

    def ask(drives: Sequence[int]) -> list[int]:
        asked.append(list(drives))
        return [0b0011]

    assert _split_dark(ask, 0b1111, [Group.of(0b1111)]) == [(0b0011, [1]), (0b1100, (4, 8))]
    assert asked == [[1]]
    # Two points of two nets: each is asked by itself at once.
    assert _split_dark(ask, 0b11, [Group.of(0b01), Group.of(0b10)]) == [(0b11, (1, 2))]
    assert asked == [[1]]


def test_where_parts_couple_what_reads_wrong_classes_decide_nothing() -> None:
    """A diode lets net 1 be pulled low by net 0 and by nothing else; net 1 reads wrong."""
    groups = [Group.of(1 << k) for k in range(3)]
    reach = [frozenset[int](), frozenset({0}), frozenset[int]()]
    vectors = [Vector(0b001, 0b001, 0b100), Vector(0b100, 0b100, 0b011)]

    def ask(drives: Sequence[int]) -> list[int]:
        return list(drives)

    for lows in ([0b001, 0b110], [0b001, 0b101]):  # of net 1, and of net 0 on its other side
        assert _by_classes(ask, groups, vectors, lows, reach) is None
    assert set(_by_classes(ask, groups, vectors, [0b011, 0b100], reach) or ()) == {1, 2, 4}


def test_a_touched_end_is_claimed_with_the_threshold_that_it_was_read_by() -> None:
    expectation = expect(loom_of("W1 A:1 B:1 1.0m 0.5mm2"))
    a, b = expectation.loom.cavities
    whole = (frozenset({a, b}),)
    (claim,) = claims_of([b], Measured(whole, whole, complete=True), 250e3, expectation)
    assert claim.threshold_ohm == 250e3
    assert claim.statement.startswith("read with the probe: joined to A:1 by a path under 250 kΩ;")
    (claim,) = claims_of([b], Measured(whole, whole, complete=True), None, expectation)
    assert claim.threshold_ohm is None
    assert claim.statement.startswith("read with the probe: joined to A:1; its ohms")
    alone = (frozenset({a}), frozenset({b}))
    (claim,) = claims_of([b], Measured(whole, alone, complete=True), 250e3, expectation)
    assert (claim.decision, claim.threshold_ohm) == (FAIL, None)
    assert "joined to nothing; its ohms" in claim.statement


@dataclass
class Quiet(MemoryBench):
    """No voltage anywhere, and all points read high at once."""

    able: Capabilities
    opened: Opening = field(default_factory=simulated)
    drives: list[int] = field(default_factory=list)

    def _answer(self, question: Question) -> Answer:
        if isinstance(question, Voltage):
            return 0.0
        if isinstance(question, Sense):
            self.drives = list(question.drives)
            return list(question.drives)
        return None if isinstance(question, Settle) else super()._answer(question)


def test_voltages_are_read_for_half_a_minute_and_the_rest_is_put_to_the_person() -> None:
    """66 pairs of 12 conductors at 0.9 s each: 33 are read in 30 s."""
    bench = Quiet(Capabilities(16, volt_max=30.0, reading_ms=1000 * (0.9 - ROUND_TRIP_S)))
    check = _voltages(bench, Conductors(tuple(1 << k for k in range(12))), None, 0.5, 0)
    assert VOLT_TIME_S == 30.0
    assert check.passed
    assert check.text.startswith("33 pairs of conductors read with nothing driven: largest 0 V")
    assert "not read within 30 s, and for your meter: " in check.text


def test_the_settle_time_is_found_with_every_net_driven_in_one_of_two_patterns() -> None:
    bench = Quiet(Capabilities(8))
    nets = [0b11, 0b100, 0b1000, 0b10000, 0b100000]
    check, _ = find_settle(bench, cleared_for_points(bench, meter_v=0.0), nets)
    assert check.passed
    everything = 0b111111
    assert bench.drives == [everything, 0, everything, 0b101001, everything, 0b010100]


def test_a_watch_without_sets_of_its_own_says_nothing_of_touches() -> None:
    log = WiggleLog(10.0, nets=((End("A", "1"), End("B", "1")), (End("C", "1"),)), set_s=[5.0])
    (pair, single) = log.result().nets
    assert [getattr(pair, name) for name in pair.__slots__[1:]] == [5.0, 0.0]
    assert [getattr(single, name) for name in single.__slots__[1:]] == [0.0, 0.0]
