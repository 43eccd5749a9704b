"""Edges of what is read: bundles told apart, four wires against two, one factor, volts, classes of sense."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import cast

import pytest

from loomproof.bench.questions import Answer, Question, Sense, Settle, Voltage
from loomproof.bench.seam import Capabilities, Opening
from loomproof.electrics.expectation import expect
from loomproof.errors import SafetyError, UnfitError, UsageError
from loomproof.loom.model import ComponentKind, End
from loomproof.measuring.clearance import Clearance
from loomproof.measuring.component_presence import joined_across, sensed_parts
from loomproof.measuring.controls import _controls
from loomproof.measuring.counting_bench import Asker
from loomproof.measuring.insulation import measure_insulation
from loomproof.measuring.insulation_test import run_insulation
from loomproof.measuring.nets_by_resistance import _joined
from loomproof.measuring.one_factor import _one_joint_explains, refuse_common_factor
from loomproof.measuring.one_way import lowest_first
from loomproof.measuring.preparing import checked
from loomproof.measuring.probe_ends import claims_of
from loomproof.measuring.resolve_nets import _by_classes, _split_dark
from loomproof.measuring.safety import LONGEST_DWELL_MS
from loomproof.measuring.selfcheck import find_settle
from loomproof.measuring.separate_nets import rejoined
from loomproof.measuring.shared_cause import refuse_leaking_board
from loomproof.measuring.undriven import ROUND_TRIP_S, VOLT_TIME_S, _voltages
from loomproof.measuring.wiggle import WiggleLog
from loomproof.planning.conductors import Conductors
from loomproof.planning.net_access import scope_of
from loomproof.planning.plan import CONTROL_NETS, Plan, plan_proof
from loomproof.planning.request import InsulationTest
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


def test_a_contact_that_changes_from_reading_to_reading_is_no_open_sense_lead() -> None:
    """25 Ω that scatter by half an ohm, read 25.8 Ω with four wires: two wires read 24.6 Ω the first time."""
    two = iter([24.6, 25.3, 25.9, 24.9, 25.6])
    made = meter(0.0, four_wire=fixed(0.0))
    moving = ohmmeter_of(Scripted(lambda _a, _b, wires: 25.8 if wires == 4 else next(two)), made=made)
    assert moving.read_sets(1, 2, 4) == (25.8, 0.0)
    assert list(two) == []
    ends = iter([24.6, 25.3, float("inf"), 24.9, 25.6])
    opens = ohmmeter_of(Scripted(lambda _a, _b, wires: 25.8 if wires == 4 else next(ends)), made=made)
    assert opens.read_sets(1, 2, 4)[0] == float("inf")


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


@pytest.mark.parametrize(("u", "off"), [(0.39, False), (0.41, True)])
def test_a_conductor_has_a_say_that_is_read_to_a_fifth_of_what_is_expected(u: float, off: bool) -> None:
    """0.1 Ω where 2 Ω are expected speaks against a gain of 1.5, read closely enough."""
    parts = [read_part("R1", 0, 1, 100.0, 150.0), read_part("R2", 2, 3, 1000.0, 1500.0)]
    wire = judged("4:1", "4:2", 0.1, 2.0, 3.0, u=u)
    assert bool(refused(refuse_common_factor, Plan(scope_of_sizes([2] * 5), ()), [*parts, wire])) is off


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


@pytest.mark.parametrize("dwell_ms", [0, LONGEST_DWELL_MS])
def test_the_longest_dwell_is_a_test_that_needs_a_clearance(dwell_ms: int) -> None:
    bench = MemoryBench(Capabilities(8))
    with pytest.raises(SafetyError):
        measure_insulation(bench, cast(Clearance, None), 1, 2, 50.0, dwell_ms)
    for wrong in (-1, LONGEST_DWELL_MS + 1):
        with pytest.raises(UsageError):
            measure_insulation(bench, cast(Clearance, None), 1, 2, 50.0, wrong)


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
    ("low_of", "ohm", "joined"),
    [
        ({1: 2, 2: 1}, 1e6, True),
        ({1: 2}, 1e6, False),
        ({2: 1}, 1e6, False),
        ({1: 4, 2: 4}, 1e6, False),
        ({1: 2, 2: 1}, 1e3, False),  # it may read low: no short is needed for that
    ],
)
def test_a_part_that_should_read_high_and_reads_low_both_ways_has_a_short_across_it(
    low_of: dict[int, int], ohm: float, joined: bool
) -> None:
    expectation = expect(loom_of("", (part(ComponentKind.RESISTOR, "R1", "A:1", "B:1", ohm),), extra="C:1"))
    able = Capabilities(8)
    ends = expectation.loom.cavities
    plan = plan_proof(expectation, {end: k for k, end in enumerate(ends, 1)}, able, None)
    groups = [frozenset({end}) for end in ends]
    found = joined_across(plan, expectation, cast(Asker, Sensing(low_of, able)), groups)
    assert set(found) == ({frozenset(ends[:2]), groups[2]} if joined else set(groups))


def test_no_short_is_told_where_other_parts_conduct_or_a_net_is_odd() -> None:
    parts = tuple(part(ComponentKind.RESISTOR, f"R{k}", "A:1", "B:1", 10.0**k) for k in (3, 6))
    expectation = expect(loom_of("", parts, extra="C:1"))
    able = Capabilities(8)
    a, b, c = expectation.loom.cavities
    plan = plan_proof(expectation, {a: 1, b: 2, c: 3}, able, None)
    asker = cast(Asker, Sensing({1: 2, 2: 1}, able))
    groups = tuple(frozenset({end}) for end in (a, b, c))
    assert joined_across(plan, expectation, asker, groups) == groups
    alone = expect(loom_of("", parts[1:], extra="C:1"))
    plan = plan_proof(alone, {a: 1, b: 2, c: 3}, able, None)
    odd = (frozenset({a}), frozenset({b, c}))
    assert set(joined_across(plan, alone, asker, odd)) == set(odd)


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
    assert "no voltage explains it" not in check.text
    check = _voltages(bench, Conductors((1, 2), names={1: "A:1"}), None, 0.5, 1)
    assert check.text.endswith("A:1 reads low with nothing driven, and no voltage explains it")


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


def test_three_readings_that_two_leaks_cannot_give_are_the_boards_however_small() -> None:
    """0.39 and 0.2 Ω within ±0.1: side by side two leaks of a loom read 0.13 Ω, and 0.39 Ω is read."""
    scope = scope_of_sizes([1] * 4)
    asker = Scripted(between({(1, 2): 0.39, (4, 8): 0.2, (5, 10): 0.39}))
    assert refused(refuse_leaking_board, Plan(scope, ()), ohmmeter_of(asker, scope))
    asker = Scripted(between({(1, 2): 0.39, (4, 8): 0.39, (5, 10): 0.3}))
    assert not refused(refuse_leaking_board, Plan(scope, ()), ohmmeter_of(asker, scope))


def test_a_piece_that_came_off_its_net_is_looked_for_on_the_nets_that_parts_couple() -> None:
    """Net 0 fell apart, and its second cavity hangs on net 1: nets 1 and 2 are as they should be."""
    scope = scope_of_sizes([2, 1, 1], {0: {1, 2}, 1: {0, 2}, 2: {0, 1}})
    first, second = (frozenset({End("0", cavity)}) for cavity in "12")
    one, two = (scope.ends(group.points) for group in scope.groups[1:])
    made = ohmmeter_of(
        Scripted(between(both({(2, 4): 0.3, (2, 4 | 8): 0.3, (1 | 2, 4 | 8): 0.3}), 100.0)), scope
    )
    found = rejoined(Plan(scope, ()), made, (first, second, one, two), [], [])
    assert set(found) == {first, second | one, two}


@pytest.mark.parametrize(
    ("low_of", "conducts"), [({1: 6}, True), ({1: 2}, False), ({}, False), ({1: 8}, False)]
)
def test_a_part_conducts_where_every_cavity_of_its_other_net_reads_low(
    low_of: dict[int, int], conducts: bool
) -> None:
    """R1 leads from A:1 to the net of B:1 and C:1; A:1 is driven."""
    parts = (part(ComponentKind.RESISTOR, "R1", "A:1", "B:1", 100.0),)
    expectation = expect(loom_of("W1 B:1 C:1 1.0m 0.5mm2", parts, extra="D:1"))
    able = Capabilities(8)
    a, b, c, d = (End(name, "1") for name in "ABCD")
    plan = plan_proof(expectation, {a: 1, b: 2, c: 3, d: 4}, able, None)
    asker = cast(Asker, Sensing(low_of, able))
    groups = [frozenset({a}), frozenset({b, c}), frozenset({d})]
    (told,) = sensed_parts(plan, expectation, asker, groups)
    assert (told.component, told.conducts) == ("R1", conducts)
    assert sensed_parts(plan, expectation, asker, [groups[0], groups[1] | groups[2]]) == ()


def test_the_lowest_of_an_insulation_tests_readings_is_told() -> None:
    loom = loom_of("W1 A:1 B:1 1.0m 0.5mm2\nW2 A:2 B:2 1.0m 0.5mm2", extra="C:1 D:1 E:1")
    scope = scope_of(expect(loom), {end: k for k, end in enumerate(loom.cavities, 1)}, 250e3)
    figures = iter([5e9, 3e9, 4e9])
    found = run_insulation(loom, scope, InsulationTest(50.0), lambda _a, _b: next(figures))
    assert (found.lowest_ohm, found.decision) == (3e9, Decision.PASS)


def test_a_net_that_hangs_on_one_without_parts_is_looked_for_on_the_others_too() -> None:
    """Net 0 is found as one with net 3, which no part couples; and net 1 hangs on both by 0.3 Ω."""
    scope = scope_of_sizes([1, 1, 1, 1], {0: {1, 2}, 1: {0, 2}, 2: {0, 1}})
    zero, one, two, three = (scope.ends(group.points) for group in scope.groups)
    made = ohmmeter_of(
        Scripted(lambda a, b, _w: 0.3 if (a & 2 and b & 9) or (b & 2 and a & 9) else 100.0), scope
    )
    found = rejoined(Plan(scope, ()), made, (zero | three, one, two), [], [])
    assert set(found) == {zero | three | one, two}


class NeverUp(Quiet):
    """What was driven once stays low."""

    def _answer(self, question: Question) -> Answer:
        return [1 for _ in question.drives] if isinstance(question, Sense) else super()._answer(question)


def test_points_that_never_rise_are_waited_for_a_fifth_of_a_second() -> None:
    bench = NeverUp(Capabilities(8))
    check, settle_us = find_settle(bench, cleared_for_points(bench, meter_v=0.0), [0b1, 0b10])
    assert (check.passed, settle_us) == (False, None)
    assert check.text.startswith("no two settings up to 200000 µs agree; point 1 never rises")
    with pytest.raises(SafetyError, match="a voltage on the loom, a stuck input"):
        checked(bench, cleared_for_points(bench, meter_v=0.0), Conductors((0b1, 0b10)))
