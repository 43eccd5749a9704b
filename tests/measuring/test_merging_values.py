"""Hook-ups put together, value by value: what is kept of several readings, and what each bench can't say."""

from __future__ import annotations

import math
from dataclasses import replace

from loomproof.electrics.conductors import RESISTIVE_OHM
from loomproof.electrics.expectation import expect
from loomproof.loom.model import End
from loomproof.measuring.merge_hookups import merged_measured, merged_plan, never_met
from loomproof.measuring.separate_nets import by_description, rejoined, resistive_joined
from loomproof.planning.bounding import BoundReading
from loomproof.planning.plan import Plan
from loomproof.planning.test_vectors import Vector
from loomproof.results.measured import Decision, JudgedDiode, Measured, Path, SensedPart
from tests.electrics.looms import loom_of
from tests.measuring.scripted import Scripted, between, judged, meter, ohmmeter_of
from tests.measuring.test_merging import ends, part
from tests.planning.test_meter_and_reach import component, conductor, scope_of_sizes

PASS, FAIL, UNDECIDED = Decision.PASS, Decision.FAIL, Decision.UNDECIDED
LOOM = expect(loom_of("W1 A:1 B:1 1.0m 0.5mm2\nW2 A:2 B:2 1.0m 0.5mm2\nW3 A:3 B:3 1.0m 0.5mm2"))
NETS = tuple(frozenset(net.cavities) for net in LOOM.nets)
FIRST, SECOND, THIRD = NETS


def seen(*nets: frozenset[object], **more: object) -> Measured:
    return Measured(nets, nets, True, **more)  # type: ignore[arg-type]  # fields of a measured loom


def read(measured: float, decision: Decision, turned: bool = False) -> object:
    a, b = ("B:1", "A:1") if turned else ("A:1", "B:1")
    return judged(a, b, measured, 1.0, 2.0, decision)


def test_of_several_readings_the_worst_counts_and_of_alike_ones_the_first() -> None:
    for decisions, kept in (
        ((PASS, FAIL, UNDECIDED), 1),
        ((PASS, UNDECIDED, PASS), 1),
        ((FAIL, FAIL, PASS), 0),
        ((UNDECIDED, PASS, FAIL), 2),
    ):
        parts = [seen(FIRST, judged=(read(float(k), one, turned=k == 1),)) for k, one in enumerate(decisions)]
        (found,) = merged_measured(LOOM, parts).judged
        assert (found.measured_ohm, found.decision) == (float(kept), decisions[kept])
        diodes = [
            seen(
                FIRST, diodes=(JudgedDiode("D", min(FIRST), max(FIRST), float(k), math.inf, "V", one, False),)
            )
            for k, one in enumerate(decisions)
        ]
        (diode,) = merged_measured(LOOM, diodes).diodes
        assert (diode.forward, diode.decision) == (float(kept), decisions[kept])
    both = [seen(FIRST, judged=(read(1.0, PASS), judged("A:1", "B:1", 1.0, 1.0, 2.0, PASS, part="R1")))] * 2
    assert len(merged_measured(LOOM, both).judged) == 2


def test_isolation_is_the_lowest_where_every_hook_up_read_it() -> None:
    def merged(*ohm: float | None, limits: tuple[float | None, ...] = ()) -> Measured:
        limits = limits or (None,) * len(ohm)
        return merged_measured(
            LOOM,
            [
                seen(FIRST, isolation_ohm=one, isolation_pass_ohm=limit)
                for one, limit in zip(ohm, limits, strict=True)
            ],
        )

    assert merged(5e6, 2e6, math.inf).isolation_ohm == 2e6
    assert merged(5e6, None).isolation_ohm is None
    assert merged(None, None).isolation_ohm is None
    assert merged(5e6, 2e6, limits=(1e6, 1.2e6)).isolation_pass_ohm == 1.2e6
    assert merged(5e6, 2e6, limits=(None, 1.2e6)).isolation_pass_ohm == 1.2e6
    assert merged(5e6, 2e6).isolation_pass_ohm is None


def test_a_cavity_that_was_on_two_points_says_nothing_of_either() -> None:
    a1, b1 = sorted(FIRST)
    parts = [seen(FIRST, points=((a1, 3), (b1, 4))), seen(FIRST, points=((a1, 3), (b1, 5)))]
    assert merged_measured(LOOM, parts).points == ((a1, 3),)


def test_what_counts_adds_up_and_what_was_left_out_everywhere_stays_so() -> None:
    parts = [
        seen(FIRST, sense_vectors=3, resistance_readings=5, notes=("one",), untold_parts=("R1", "R2")),
        seen(SECOND, sense_vectors=4, resistance_readings=7, notes=("two",), untold_parts=("R2",)),
    ]
    merged = merged_measured(LOOM, parts)
    assert (merged.sense_vectors, merged.resistance_readings) == (7, 12)
    assert merged.notes == ("one", "two")
    assert merged.untold_parts == ("R2",)
    assert merged.untested == tuple(LOOM.nets[2].cavities)
    assert merged.complete
    assert not merged_measured(LOOM, [*parts, replace(parts[0], complete=False)]).complete
    assert set(merged.unmet) == {(min(FIRST), min(SECOND))}
    assert merged_measured(LOOM, parts[:1]) is parts[0]


def test_a_part_that_one_hook_up_senses_not_to_conduct_does_not() -> None:
    a, b = sorted(FIRST)
    parts = [
        seen(FIRST, sensed_parts=(SensedPart("R1", a, b, conducts), SensedPart("R2", a, b, True)))
        for conducts in (False, True)
    ]
    found = {each.component: each.conducts for each in merged_measured(LOOM, parts).sensed_parts}
    assert found == {"R1": False, "R2": True}


def test_what_vouches_for_the_meter_does_so_in_every_hook_up_that_read() -> None:
    ohms = (read(1.0, PASS),)
    for checks, said in (
        (("R1 read right", "R2 read right"), "R1 read right; R2 read right"),
        (("R1 read right", "R1 read right"), "R1 read right"),
        (("R1 read right", ""), ""),
    ):
        parts = [seen(FIRST, judged=ohms, meter_check=check) for check in checks]
        assert merged_measured(LOOM, parts).meter_check == said
    silent = [seen(FIRST, judged=ohms, meter_check="R1"), seen(SECOND)]
    assert merged_measured(LOOM, silent).meter_check == "R1"


def test_odd_conductors_that_no_hook_up_saw_together() -> None:
    parts = [part(0b00111, [0b11, 0b100], [0b01, 0b10, 0b100]), part(0b11000, [0b11000], [0b01000, 0b10000])]
    expected = [ends(0b11), ends(0b100), ends(0b11000)]
    groups = [ends(0b01), ends(0b10), ends(0b100), ends(0b01000), ends(0b10000)]
    assert never_met(expected, groups, parts) == [
        (ends(one), ends(other)) for one in (0b01, 0b10) for other in (0b01000, 0b10000)
    ]
    assert never_met(expected, groups, [*parts, part(0b01001, [], [0b1, 0b1000])]) == [
        (ends(one), ends(other)) for one, other in ((0b01, 0b10000), (0b10, 0b01000), (0b10, 0b10000))
    ]


def test_plans_of_hook_ups_as_one() -> None:
    """Numbered through what any of them reaches; what one shows or measures is shown and measured."""
    a = {end: k for k, end in enumerate(sorted(FIRST | SECOND), start=1)}
    b = {end: k for k, end in enumerate(sorted(SECOND), start=5)}
    made = meter()

    def plan(point_of: dict[End, int], **more: object) -> Plan:
        from loomproof.planning.net_access import scope_of

        scope = scope_of(LOOM, point_of)
        return Plan(scope, (Vector(0, 0, 0),), meter=made, **more)  # type: ignore[arg-type]

    one, other = conductor(0, 0.1, 1.0), conductor(1, 0.1, 1.0)
    bound = BoundReading("C1", min(FIRST), max(FIRST), 1, 2, 5.0)
    plans = [
        plan(a, conductors=(one,), hidden=("W1", "W2"), unmeasured_parts=("R1", "R2"), isolation_ohm=1e6),
        plan(b, conductors=(one, other), parts=(component("R1", 0, 1, 1.0, 2.0),), bounds=(bound, bound)),
    ]
    whole = merged_plan(LOOM, plans, None)
    assert set(whole.scope.point_of) == FIRST | SECOND
    assert sorted(whole.scope.point_of.values()) == [1, 2, 3, 4]
    assert whole.hidden == ("W1",)
    assert whole.unmeasured_parts == ("R2",)
    assert whole.conductors == (one, other)
    assert [p.part.component for p in whole.parts] == ["R1"]
    assert (len(whole.vectors), len(whole.bounds)) == (2, 1)
    assert whole.isolation_ohm is None
    both = [plans[0], replace(plans[1], isolation_ohm=2e6)]
    assert merged_plan(LOOM, both, None).isolation_ohm == 1e6
    assert merged_plan(LOOM, plans[:1], None) is plans[0]
    blind = replace(plans[1], meter=None, vectors=())
    assert merged_plan(LOOM, [plans[0], blind], None).hidden == ("W1", "W2")


SCOPE = scope_of_sizes([2, 2, 2, 2], {0: {1}, 1: {0}, 2: {3}})
PLAN = Plan(SCOPE, ())
G = [SCOPE.ends(group.points) for group in SCOPE.groups]


def test_without_ohms_what_parts_join_both_ways_is_taken_as_apart() -> None:
    assert set(by_description(PLAN, (G[0] | G[1], G[2], G[3]))) == set(G)
    # A diode joins one way only: low both ways is a short. And so is what no part joins.
    assert set(by_description(PLAN, (G[0], G[1], G[2] | G[3]))) == {G[0], G[1], G[2] | G[3]}
    assert set(by_description(PLAN, (G[0] | G[2], G[1], G[3]))) == {G[0] | G[2], G[1], G[3]}


def test_a_bad_joint_is_no_open_where_nothing_else_can_conduct() -> None:
    plain = Plan(scope_of_sizes([2, 2, 2]), ())
    a, b = sorted(plain.scope.ends(0b11))
    rest = [plain.scope.ends(0b1100), plain.scope.ends(0b110000)]
    apart = (frozenset({a}), frozenset({b}), *rest)

    def joined(ohm: float, groups: tuple[frozenset[object], ...] = apart, plan: Plan = plain) -> bool:
        reading = [judged(str(a), str(b), ohm, 0.5, 1.0, FAIL)]
        return frozenset({a, b}) in resistive_joined(plan, groups, reading)  # type: ignore[arg-type]

    assert joined(500.0)
    assert joined(RESISTIVE_OHM - 1.0)
    assert not joined(RESISTIVE_OHM), "from there on it is a leak"
    assert not joined(math.inf)
    assert not joined(500.0, (frozenset({a}) | rest[0], frozenset({b}), rest[1]))
    assert not joined(500.0, (frozenset({a}), frozenset({b}) | rest[0], rest[1]))
    coupled = Plan(scope_of_sizes([2, 2, 2], {1: {0}}), ())
    assert not joined(500.0, plan=coupled)
    as_part = [judged(str(a), str(b), 500.0, 0.5, 1.0, FAIL, part="R1")]
    assert resistive_joined(plain, apart, as_part) == apart


def test_pieces_of_coupled_nets_are_read_against_each_other_where_one_is_odd_or_a_part_low() -> None:
    three = scope_of_sizes([1, 1, 1, 2], {0: {1, 2}, 1: {0, 2}, 2: {0, 1}})
    plan = Plan(three, ())
    whole = tuple(three.ends(group.points) for group in three.groups)
    shorted = Scripted(between({(1, 4): 0.3, (4, 1): 0.3}, 100.0))
    assert rejoined(plan, ohmmeter_of(shorted, three), whole, [], []) == whole
    assert shorted.asked == []
    low = judged("0:1", "2:1", 0.3, 100.0, 105.0, FAIL, lower=95.0, part="R1")
    found = rejoined(plan, ohmmeter_of(shorted, three), whole, [low], [])
    assert set(found) == {whole[0] | whole[2], whole[1], whole[3]}
    # Of two nets the part itself is read.
    two = scope_of_sizes([1, 1, 2], {0: {1}, 1: {0}})
    pair = tuple(two.ends(group.points) for group in two.groups)
    assert rejoined(Plan(two, ()), ohmmeter_of(shorted, two), pair, [replace(low, b=low.a)], []) == pair
    # Another bundle is as it should be: it is left out.
    odd = (whole[0] | whole[1], whole[2], whole[3])
    assert set(rejoined(plan, ohmmeter_of(Scripted(between({}, 100.0)), three), odd, [], [])) == set(odd)
    assert Path(min(whole[3]), max(whole[3]), 5.0, 0.1).volts == 0
