"""Pairs explained, parts that no reading tells, and wires whose open hides: small looms by hand."""

from __future__ import annotations

import math

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.seam import Accuracy, Capabilities
from loomproof.electrics.expectation import expect
from loomproof.errors import UsageError
from loomproof.loom.model import (
    ComponentKind,
    End,
    Settings,
)
from loomproof.planning.bounding import bound_readings
from loomproof.planning.explain_pair import Explanation, explain
from loomproof.planning.meter import Meter
from loomproof.planning.net_access import scope_of
from loomproof.planning.plan import plan_proof
from tests.electrics.looms import BARE, loom_of, part

LOOM = loom_of(
    "W1 A:1 S 1.0m 0.5mm2\nW2 S B:1 1.0m 0.5mm2\nW3 A:2 B:2 2.0m 0.5mm2\nW4 A:3 B:3 1.0m 0.5mm2",
    (
        part(ComponentKind.RESISTOR, "R1", "A:2", "B:3", 100.0),
        part(ComponentKind.DIODE, "D1", "A:3", "B:5"),
        part(ComponentKind.RESISTOR, "R2", "A:5", "B:4", 2e5),
    ),
    extra="A:4 A:5 B:4 B:5",
)


METER = Meter(Accuracy(0.01, 0.001), None, (0.0, 1e5), {})


def test_a_pair_is_explained_by_the_currents_that_flow() -> None:
    """Two wires side by side share as their conductances; one that leads nowhere carries nothing."""
    loom = loom_of(
        "W1 A:1 B:1 1.0m 0.5mm2\nW2 A:1 B:1 3.0m 0.5mm2\nW3 B:1 C:1 1.0m 0.5mm2\nW4 B:1 D:1 1.0m 0.5mm2",
        settings=BARE,
        extra="E:1",
    )
    expectation = expect(loom)
    able = Capabilities(8)
    point_of = in_order(loom.cavities).point_of
    scope = scope_of(expectation, point_of, able.clear_ohm)
    told = explain(expectation, End("A", "1"), End("C", "1"), scope, able, METER)
    shares = {step.name: step.share for step in told.steps}
    assert shares == pytest.approx({"W1": 0.75, "W2": 0.25, "W3": 1.0})
    assert told.steps[-1].name == "W3", "in the order in which the current passes them"
    for step in told.steps[:2]:
        assert (str(step.start), str(step.stop)) == ("A:1", "B:1")
        assert step.section.startswith("0.5")
        assert step.source
        assert step.status
        assert step.length_m in (1.0, 3.0)
    # Of both 26 mΩ are left; without the short one 105, without the long one 35, which the limit allows.
    assert {step.name: step.shows for step in told.steps} == {"W1": True, "W2": False, "W3": True}
    assert told.same_net
    assert told.joined
    back = explain(expectation, End("C", "1"), End("A", "1"), scope, able, METER)
    assert back.steps[0].name == "W3"
    assert (str(back.steps[0].start), str(back.steps[0].stop)) == ("C:1", "B:1")
    apart = explain(expectation, End("A", "1"), End("E", "1"), scope, able, METER)
    assert not apart.same_net
    assert not apart.joined
    assert math.isinf(apart.between.expected_ohm)
    few = scope_of(
        expectation, {end: p for end, p in point_of.items() if end.connector != "E"}, able.clear_ohm
    )
    with pytest.raises(UsageError, match="E:1: no cavity of its net has a point"):
        explain(expectation, End("A", "1"), End("E", "1"), few, able, METER)


def test_what_is_said_of_a_pair_that_parts_couple_and_of_one_that_nothing_does() -> None:
    expectation = expect(LOOM)
    able = Capabilities(16)
    scope = scope_of(expectation, in_order(LOOM.cavities).point_of, able.clear_ohm)

    def told(a: str, b: str) -> Explanation:
        return explain(expectation, End(*a.split(":")), End(*b.split(":")), scope, able, METER)

    coupled = told("A:2", "A:3")
    assert (coupled.coupled, coupled.sense_ohm, coupled.isolation_ohm) == (True, None, None)
    assert [component.name for component, _ in coupled.across] == ["R1"]
    assert coupled.reading is None
    apart = told("A:1", "A:2")
    assert (apart.coupled, apart.same_net, apart.across) == (False, False, ())
    # Two points hang on the one net, seven on the bundle of the other: the threshold is shared by two.
    assert apart.sense_ohm == able.sense_ohm / 2 if able.sense_ohm else False
    assert apart.isolation_ohm is not None
    one = told("A:1", "B:1")
    assert (one.coupled, one.same_net, one.sense_ohm, one.isolation_ohm) == (
        False,
        True,
        able.clear_ohm,
        None,
    )
    assert one.reading is not None
    assert one.reading.wires == 2


@pytest.mark.parametrize("beside", [False, True])
def test_a_part_that_no_reading_tells_is_read_against_the_least_it_may_be(beside: bool) -> None:
    """A resistor of 1 MΩ ± 10 % on a meter that ends at 100 kΩ, alone or with 2 kΩ from net to net."""
    parts = [part(ComponentKind.RESISTOR, "R1", "A:1", "B:1", 1e6, tolerance_pct=10.0)]
    if beside:
        parts.append(part(ComponentKind.RESISTOR, "R2", "A:1", "C:1", 1e3, tolerance_pct=0.0))
        parts.append(part(ComponentKind.RESISTOR, "R3", "C:1", "B:1", 1e3, tolerance_pct=0.0))
    expectation = expect(loom_of("", tuple(parts), extra="D:1"))
    plan = plan_proof(expectation, in_order(expectation.loom.cavities).point_of, Capabilities(16), METER)
    found = [one for one in plan.bounds if one.component == "R1"]
    assert all(one.alone is not beside for one in found)
    assert found or beside
    for one in found:
        # What conducts nothing that the meter could read is read both ways round.
        assert one.lower_ohm <= 2e3 if beside else one.lower_ohm == pytest.approx(0.9e6)
        assert one.upper_ohm == math.inf
        assert (one.one, one.other) == (plan.scope.bit(one.a), plan.scope.bit(one.b))
    if not beside:
        assert [(one.a.connector, one.b.connector) for one in found] == [("A", "B"), ("B", "A")]


def test_nets_that_parts_couple_are_read_to_each_other_where_no_part_is_read_between() -> None:
    """R1 is read from A to B, C1 tells B to C itself; A to C is what only both lead between."""
    parts = (
        part(ComponentKind.RESISTOR, "R1", "A:1", "B:1", 1e3, tolerance_pct=0.0),
        part(ComponentKind.CAPACITOR, "C1", "B:1", "C:1"),
    )
    expectation = expect(loom_of("", parts, extra="D:1"))
    plan = plan_proof(expectation, in_order(expectation.loom.cavities).point_of, Capabilities(16), METER)
    named = {one.component: {one.a.connector, one.b.connector} for one in plan.bounds if one.component}
    assert named == {"C1": {"A", "C"}} or named == {"C1": {"B", "C"}}
    pairs = {frozenset((one.a.connector, one.b.connector)) for one in plan.bounds if not one.component}
    assert frozenset("AC") in pairs
    assert frozenset("BC") not in pairs
    assert not any("D" in pair for pair in pairs)
    assert {one.charges for one in plan.bounds} == {True}


def test_wires_whose_open_no_reading_shows_are_named() -> None:
    """Two wires side by side of 35 and 105 mΩ: open, one leaves what a meter of ±1 Ω can't tell from both."""
    loom = loom_of("W1 A:1 B:1 1.0m 0.5mm2\nW2 A:1 B:1 3.0m 0.5mm2\nW3 A:2 B:2 1.0m 0.5mm2", settings=BARE)
    expectation = expect(loom)
    point_of = in_order(loom.cavities).point_of

    def hidden(accuracy: Accuracy) -> tuple[str, ...]:
        made = Meter(accuracy, None, (0.0, 1e6), {})
        return plan_proof(expectation, point_of, Capabilities(16), made).hidden

    assert hidden(Accuracy(1.0, 0.0)) == ("W1", "W2")
    assert "W3" not in hidden(Accuracy(0.0, 0.0))
    assert "W1" not in hidden(Accuracy(0.0, 0.0))


def test_a_part_beside_others_reads_at_most_what_all_of_them_make_with_the_margin_of_their_joints() -> None:
    """R1 of 10 Ω behind 20 m of 39 mΩ/m (IEC 60228 class 5, 0.5 mm²), R2 of 1 kΩ over both.

    Two contacts of 20 mΩ and what the wire adds to R1 get half as much again, and 50 mΩ; R2 gets no wire.
    """
    settings = Settings(contact_ohm=0.02, crimp_ohm=0.0, splice_ohm=0.0, margin_ratio=1.5, margin_ohm=0.05)
    parts = (
        part(ComponentKind.RESISTOR, "R1", "B:1", "C:1", 10.0, tolerance_pct=0.0),
        part(ComponentKind.RESISTOR, "R2", "A:1", "C:1", 1000.0, tolerance_pct=0.0),
    )
    expectation = expect(loom_of("W1 A:1 B:1 20.0m 0.5mm2", parts, settings), 20.0)
    scope = scope_of(expectation, in_order(expectation.loom.cavities).point_of)
    found = {one.component: one.upper_ohm for one in bound_readings(expectation, scope, (), 1e6, 0.02)}
    both_ohm = 10.78 * 1000.0 / 1010.78
    assert found["R1"] == pytest.approx(both_ohm + 1.5 * (both_ohm - 10.0 + 0.04) + 0.05)
    assert found["R2"] == pytest.approx(both_ohm + 1.5 * 0.04 + 0.05)


def test_parts_to_nets_without_a_point_are_not_read() -> None:
    """C1 leads from a net with points to one without, C2 between two that have them."""
    parts = tuple(part(ComponentKind.CAPACITOR, f"C{k}", "A:1", f"B:{k}") for k in (1, 2))
    expectation = expect(loom_of("", parts))
    point_of = {End("A", "1"): 1, End("B", "2"): 2}
    scope = scope_of(expectation, point_of)
    found = list(bound_readings(expectation, scope, (), 1e6, 0.02))
    assert {one.component for one in found} == {"C2"}


def test_wires_that_no_sense_tells_are_named_of_a_bench_that_senses() -> None:
    loom = loom_of("W1 A:1 B:1 1.0m 0.5mm2\nW2 A:1 B:1 1.0m 0.5mm2\nW3 A:2 B:2 1.0m 0.5mm2")
    point_of = in_order(loom.cavities).point_of
    senses = plan_proof(expect(loom), point_of, Capabilities(16), None)
    assert senses.vectors
    assert senses.hidden == ("W1", "W2")
    blind = plan_proof(expect(loom), point_of, Capabilities(16, sense_ohm=None, clear_ohm=None), None)
    assert (blind.vectors, blind.hidden) == ((), ())


def test_a_net_is_read_from_the_nearest_cavity_and_as_a_chain_where_one_has_no_point() -> None:
    """A:1 is 10 cm from the splice, the three others a metre: all pairs with A:1. Without a point there, in
    the order of the points."""
    loom = loom_of("W1 A:1 S 0.1m 0.5mm2\n" + "\n".join(f"W{k} {k}:1 S 1.0m 0.5mm2" for k in (2, 3, 4)))
    a, b, c, d = loom.cavities
    made = plan_proof(expect(loom), {a: 1, b: 2, c: 3, d: 4}, Capabilities(16), METER)
    assert [(r.a, r.b) for r in made.conductors] == [(a, b), (a, c), (a, d)]
    made = plan_proof(expect(loom), {b: 3, c: 1, d: 2}, Capabilities(16), METER)
    assert [{r.a, r.b} for r in made.conductors] == [{c, d}, {d, b}]
