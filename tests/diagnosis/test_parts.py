"""Built-in parts, leaks, bad joints and loose contacts, on the small loom worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace

from loomproof.diagnosis import explain
from loomproof.loom.model import Component, ComponentKind, End, Loom, end_of, ends_of
from loomproof.results.findings import Finding, Kind
from loomproof.results.measured import Decision, Judged, Measured, Path
from tests.diagnosis.test_wiring_faults import EXPECTED, LOOM, nets

R1 = Component("R1", ComponentKind.RESISTOR, (("1", end_of("A:2")), ("2", end_of("A:3"))), 470.0, 5.0)
WITH_PART: Loom = replace(LOOM, components=(R1,))


def reading(a: str, b: str, ohm: float, *, part: str = "", passes: bool = False) -> Judged:
    expected, lower, upper = (470.0, 446.0, 494.0) if part else (0.05, 0.0, 0.3)
    decision = Decision.PASS if passes else Decision.FAIL
    return Judged(end_of(a), end_of(b), ohm, 0.1, expected, upper, decision, lower, part)


def explained(
    loom: Loom, *judged: Judged, leaks: tuple[Path, ...] = (), groups: tuple[str, ...] = ()
) -> tuple[Finding, ...]:
    named = nets(*groups)
    rest = tuple(net for net in EXPECTED if not any(net & group for group in named))
    return explain(loom, Measured(EXPECTED, (*named, *rest), complete=True, judged=judged, leaks=leaks))


def test_a_missing_part_and_one_of_the_wrong_value() -> None:
    (missing,) = explained(WITH_PART, reading("A:2", "A:3", math.inf, part="R1"))
    assert (missing.kind, missing.components) == (Kind.MISSING_COMPONENT, ("R1",))
    (wrong,) = explained(WITH_PART, reading("A:2", "A:3", 1410.0, part="R1"))
    assert (wrong.kind, wrong.components) == (Kind.WRONG_VALUE, ("R1",))


def test_a_part_behind_a_short_is_named_with_the_short() -> None:
    (short,) = explained(WITH_PART, reading("A:2", "A:3", 0.1, part="R1"), groups=("A:2 B:2 A:3 B:3",))
    assert (short.kind, short.components) == (Kind.SHORT, ("R1",))


def test_a_bad_joint_is_the_wire_that_failing_readings_share() -> None:
    (joint,) = explained(
        LOOM,
        reading("A:1", "C:1", 4.8),
        reading("B:1", "C:1", 4.8),
        reading("A:1", "B:1", 0.05, passes=True),
    )
    assert (joint.kind, joint.wires) == (Kind.HIGH_RESISTANCE, ("W3",))
    assert joint.evidence[0].measured_ohm == 4.8


def test_a_leak_is_told_unless_a_part_explains_it() -> None:
    leak = Path(end_of("A:2"), end_of("A:3"), 22_000.0, 200.0)
    (told,) = explained(LOOM, leaks=(leak,))
    assert told.kind is Kind.LEAKAGE
    assert {End("A", "2"), End("A", "3")} <= set(told.cavities)
    assert explained(WITH_PART, leaks=(replace(leak, ohm=470.0),)) == ()


def test_a_low_path_is_an_added_part() -> None:
    (told,) = explained(LOOM, leaks=(Path(end_of("A:2"), end_of("A:3"), 330.0, 3.0),))
    assert told.kind is Kind.UNEXPECTED_COMPONENT


def test_a_contact_that_comes_and_goes_names_its_wire() -> None:
    (loose,) = explain(LOOM, Measured(EXPECTED, EXPECTED, complete=True, unstable=(end_of("C:1"),)))
    assert (loose.kind, loose.wires) == (Kind.INTERMITTENT, ("W3",))


def test_what_changed_together_names_the_loose_wire_of_a_net_that_all_came_and_went() -> None:
    whole = ("A:1", "B:1", "C:1")
    unstable = tuple(end_of(text) for text in whole)
    for together, wire in (("B:1 C:1", "W1"), ("A:1 C:1", "W2")):
        sides = (frozenset(ends_of(together)), frozenset(unstable) - frozenset(ends_of(together)))
        seen = Measured(EXPECTED, EXPECTED, complete=True, unstable=unstable, unsteady=sides)
        (loose,) = explain(LOOM, seen)
        assert (loose.wires, loose.alternatives) == ((wire,), ())


def test_two_loose_wires_of_one_net_are_two_findings() -> None:
    sides = tuple(frozenset(ends_of(text)) for text in ("B:1", "A:1 C:1", "C:1", "A:1 B:1"))
    unstable = tuple(end_of(text) for text in ("A:1", "B:1", "C:1"))
    seen = Measured(EXPECTED, EXPECTED, complete=True, unstable=unstable, unsteady=sides)
    assert sorted(finding.wires for finding in explain(LOOM, seen)) == [("W2",), ("W3",)]
