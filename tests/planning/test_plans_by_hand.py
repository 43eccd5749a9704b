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
)
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
