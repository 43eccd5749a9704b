"""Built-in parts, leaks, bad joints and loose contacts, on the small loom worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from loomproof.diagnosis import explain
from loomproof.loom.model import (
    Component,
    ComponentKind,
    Connector,
    ConnectorKind,
    End,
    Loom,
    Wire,
    end_of,
    ends_of,
)
from loomproof.results.findings import Finding, Kind
from loomproof.results.measured import Decision, Judged, JudgedDiode, Measured, Path, SensedPart
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


D1 = Component("D1", ComponentKind.DIODE, (("A", end_of("A:2")), ("K", end_of("A:3"))))


@pytest.mark.parametrize(
    ("ohm", "title", "cause", "other"),
    [
        (1.9, "Resistor R1 reads as a short: 470 Ω is right", "shorted_part", "touching"),
        (2.0, "Resistor R1 reads too low: 470 Ω is right", "wrong_value", "added_part"),
        (440.0, "Resistor R1 reads too low: 470 Ω is right", "wrong_value", "added_part"),
        (500.0, "Resistor R1 reads too high: 470 Ω is right", "wrong_value", "resistive_path"),
    ],
)
def test_what_a_part_reads_says_what_is_wrong_with_it(ohm: float, title: str, cause: str, other: str) -> None:
    (finding,) = explained(WITH_PART, reading("A:2", "A:3", ohm, part="R1"))
    assert (finding.title, finding.cause, finding.cost) == (title, cause, 0.9)
    assert [a.cause for a in finding.alternatives] == [other]
    assert set(finding.cavities) <= set(finding.alternatives[0].cavities)
    assert finding.evidence[0].measured_ohm == ohm
    assert (
        finding.repair[1] == "Fit a resistor of 470 Ω of its type and rating, or put the description right."
    )
    if other == "touching":
        assert set(finding.alternatives[0].wires) == {"W4", "W5"}


def test_a_part_of_few_ohms_is_shorted_below_a_tenth() -> None:
    """5 Ω: 0.4 Ω is less than a tenth, 0.6 Ω is more."""
    small = replace(LOOM, components=(replace(R1, resistance_ohm=5.0),))
    for ohm, cause in ((0.4, "shorted_part"), (0.46, "shorted_part"), (0.6, "wrong_value")):
        read = Judged(end_of("A:2"), end_of("A:3"), ohm, 0.05, 5.0, 5.3, Decision.FAIL, 4.7, "R1")
        (finding,) = explained(small, read)
        assert finding.cause == cause


def test_a_part_of_unknown_value_is_told_by_its_least() -> None:
    """A coil without a stated value has 0.3 Ω or more."""
    coil = Component("L1", ComponentKind.COIL, (("1", end_of("A:2")), ("2", end_of("A:3"))))
    read = Judged(end_of("A:2"), end_of("A:3"), 0.1, 0.01, math.inf, math.inf, Decision.FAIL, 0.3, "L1")
    (finding,) = explained(replace(LOOM, components=(coil,)), read)
    assert "a sound one has 0.3" in finding.title


def test_a_reading_that_passes_or_is_of_no_part_is_no_finding() -> None:
    assert explained(WITH_PART, reading("A:2", "A:3", 470.0, part="R1", passes=True)) == ()
    (finding,) = explained(LOOM, reading("A:2", "A:3", 1000.0, part="R1"))
    assert finding.cause == "unexplained"
    assert finding.components == ("R1",)
    assert finding.cost == 2.0


def test_a_part_beside_another_that_is_out_reads_what_the_rest_reads() -> None:
    """100 and 300 Ω side by side are 75 Ω; where 300 Ω are read, the 100 Ω are out."""
    pair = tuple(
        Component(name, ComponentKind.RESISTOR, (("1", end_of("A:2")), ("2", end_of("A:3"))), ohm, 5.0)
        for name, ohm in (("R1", 100.0), ("R2", 300.0))
    )
    loom = replace(LOOM, components=pair)

    def read(name: str, ohm: float) -> Judged:
        return Judged(end_of("A:2"), end_of("A:3"), ohm, 1.0, 75.0, 79.0, Decision.FAIL, 71.0, name)

    (finding,) = explained(loom, read("R1", 300.0))
    assert (finding.cause, finding.components) == ("missing_part", ("R1",))
    assert finding.title == "Resistor R1 missing or open between A:2 and A:3"
    (finding,) = explained(loom, read("R1", 1000.0))
    assert finding.cause == "wrong_value"
    (finding,) = explained(loom, read("R2", 100.0))
    assert (finding.cause, finding.components) == ("missing_part", ("R2",))


@pytest.mark.parametrize(
    ("forward", "backward", "unit", "reverse", "cause", "title"),
    [
        (math.inf, math.inf, "V", False, "missing_part", "Diode D1 missing or open between A:2 and A:3"),
        (math.inf, 0.6, "V", True, "reversed_diode", "Diode D1 reversed: it conducts from A:3 to A:2"),
        (0.6, 0.6, "V", False, "shorted_part", "Diode D1 conducts both ways"),
        (1.9, math.inf, "V", False, "wrong_value", "Diode D1 does not read as a sound one forward"),
        (math.inf, 0.6, "V", False, "wrong_value", "Diode D1 does not read as a sound one forward"),
        (math.inf, 500.0, "ohm", False, "missing_part", "Diode D1 missing or open between A:2 and A:3"),
        (math.inf, math.inf, "ohm", False, "missing_part", "Diode D1 missing or open between A:2 and A:3"),
        (2.0, 2.0, "ohm", False, "shorted_part", "Diode D1 conducts both ways"),
    ],
)
def test_what_a_diode_reads_both_ways_says_what_is_wrong_with_it(
    forward: float, backward: float, unit: str, reverse: bool, cause: str, title: str
) -> None:
    read = JudgedDiode("D1", end_of("A:2"), end_of("A:3"), forward, backward, unit, Decision.FAIL, reverse)
    loom = replace(LOOM, components=(D1,))
    (finding,) = explain(loom, Measured(EXPECTED, EXPECTED, complete=True, diodes=(read,)))
    assert (finding.cause, finding.title, finding.cost) == (cause, title, 0.9)
    assert finding.components == ("D1",)
    (shown, *_) = finding.evidence

    def figure(value: float) -> str:
        if math.isinf(value):
            return "no current"
        return f"{value:.2f} V" if unit == "V" else {2.0: "2.00 Ω", 500.0: "500 Ω"}[value]

    assert f"{figure(forward)} from A:2 to A:3" in shown.text
    assert figure(backward) in shown.text
    if cause in ("shorted_part", "wrong_value"):
        assert "band (cathode) at A:3" in finding.repair[0]


def test_a_diode_that_reads_backwards_through_what_a_short_brings_beside_it_is_sound() -> None:
    """D1 from A:2 to A:4, R1 from A:3 to A:4; A:2 and A:3 touch: backwards R1 is read."""
    diode = replace(D1, terminals=(("A", end_of("A:2")), ("K", end_of("A:4"))))
    resistor = replace(R1, terminals=(("1", end_of("A:3")), ("2", end_of("A:4"))))
    read = JudgedDiode("D1", end_of("A:2"), end_of("A:4"), 0.6, 0.5, "V", Decision.FAIL, False)
    joined = nets("A:2 B:2 A:3 B:3")
    rest = tuple(net for net in EXPECTED if not net & joined[0])
    for parts, told in (((diode, resistor), {"touching"}), ((diode,), {"touching", "shorted_part"})):
        loom = replace(LOOM, components=parts)
        found = explain(loom, Measured(EXPECTED, joined + rest, complete=True, diodes=(read,)))
        assert {finding.cause for finding in found} == told
        assert any("D1" in finding.components for finding in found)


def test_a_diode_that_reads_right_is_no_finding() -> None:
    read = JudgedDiode("D1", end_of("A:2"), end_of("A:3"), 0.6, math.inf, "V", Decision.PASS, False)
    loom = replace(LOOM, components=(D1,))
    assert explain(loom, Measured(EXPECTED, EXPECTED, complete=True, diodes=(read,))) == ()


def test_a_coil_whose_ends_a_short_joins_is_no_shunt_for_its_relay_s_contact() -> None:
    """K1 with a rest contact and its coil from A:2 to A:3, which touch: the short explains the reading."""
    pins = zip(("30", "87a", "85", "86"), ("A:5", "A:6", "A:2", "A:3"), strict=True)
    relay = Component("K1", ComponentKind.RELAY, tuple((pin, end_of(at)) for pin, at in pins), 90.0)
    read = Judged(end_of("A:2"), end_of("A:3"), 0.1, 0.05, 90.0, 104.0, Decision.FAIL, 76.0, "K1")
    expected = (*nets("A:5 C:2 A:6"), *(net for net in EXPECTED if not net & nets("A:5 A:6")[0]))
    joined = nets("A:2 B:2 A:3 B:3")
    rest = tuple(net for net in expected if not net & joined[0])
    loom = replace(LOOM, components=(relay,))
    (finding,) = explain(loom, Measured(expected, joined + rest, complete=True, judged=(read,)))
    assert (finding.kind, finding.components) == (Kind.SHORT, ("K1",))


def test_a_sensed_part_that_does_not_conduct_is_missing() -> None:
    for conducts in (True, False):
        seen = SensedPart("R1", end_of("A:2"), end_of("A:3"), conducts)
        found = explain(WITH_PART, Measured(EXPECTED, EXPECTED, complete=True, sensed_parts=(seen,)))
        assert [finding.cause for finding in found] == ([] if conducts else ["missing_part"])
        if not conducts:
            assert found[0].evidence[0].text == "A:3 does not read low while A:2 alone is driven"


HIDDEN = Loom(
    "hidden",
    connectors=(*LOOM.connectors, Connector("S9", ConnectorKind.SPLICE)),
    wires=(*LOOM.wires, Wire("W9", end_of("A:4"), End("S9"), colour="RD", csa_mm2=0.5)),
    circuits=LOOM.circuits,
)
"""A:4 leads to a splice alone, on which parts hang: nothing but their readings tests W9."""


def behind(*ohms: float | None) -> tuple[Finding, ...]:
    """Read parts from S9 to A:2, A:3 and A:6, open where ``None``."""
    parts = tuple(
        Component(f"R{k}", ComponentKind.RESISTOR, (("1", End("S9")), ("2", end_of(f"A:{at}"))), 470.0, 5.0)
        for k, at in zip(range(1, 1 + len(ohms)), (2, 3, 6), strict=False)
    )
    judged = tuple(
        Judged(
            end_of("A:4"),
            part.ends[1],
            math.inf if ohm is None else ohm,
            0.1,
            470.0,
            494.0,
            Decision.FAIL if ohm is None else Decision.PASS,
            446.0,
            part.name,
        )
        for part, ohm in zip(parts, ohms, strict=True)
    )
    return explain(replace(HIDDEN, components=parts), Measured(EXPECTED, EXPECTED, True, judged=judged))


def test_parts_behind_one_wire_that_all_read_open_are_the_wire() -> None:
    (finding,) = behind(None, None)
    assert (finding.cause, finding.wires, finding.components) == ("broken_wire", ("W9",), ("R1", "R2"))
    assert finding.title == "W9 (red) open: R1 and R2 behind it out of reach"
    assert finding.cost == 1.0
    assert len([one for one in finding.evidence if "is open" in one.text]) >= 2


def test_a_part_that_reads_behind_the_wire_says_that_it_is_whole() -> None:
    found = behind(None, None, 470.0)
    assert [(finding.cause, finding.components) for finding in found] == [
        ("missing_part", ("R1",)),
        ("missing_part", ("R2",)),
    ]
    assert not any(other.cause == "broken_wire" for finding in found for other in finding.alternatives)


def test_of_wires_one_behind_the_other_the_one_that_explains_most_is_told() -> None:
    """W9 to S9 with R3, and W8 on to S8 with R1 and R2: all open is W9, and R1 and R2 alone are W8."""
    loom = replace(
        HIDDEN,
        connectors=(*HIDDEN.connectors, Connector("S8", ConnectorKind.SPLICE)),
        wires=(*HIDDEN.wires, Wire("W8", End("S9"), End("S8"), colour="BU", csa_mm2=0.5)),
        components=tuple(
            Component(name, ComponentKind.RESISTOR, (("1", End(at)), ("2", end_of(far))), 470.0, 5.0)
            for name, at, far in (("R1", "S8", "A:2"), ("R2", "S8", "A:3"), ("R3", "S9", "A:6"))
        ),
    )

    def told(third: float) -> list[tuple[tuple[str, ...], tuple[str, ...]]]:
        judged = tuple(
            Judged(
                end_of("A:4"),
                part.ends[1],
                ohm,
                0.1,
                470.0,
                494.0,
                Decision.FAIL if math.isinf(ohm) else Decision.PASS,
                446.0,
                part.name,
            )
            for part, ohm in zip(loom.components, (math.inf, math.inf, third), strict=True)
        )
        found = explain(loom, Measured(EXPECTED, EXPECTED, complete=True, judged=judged))
        return [(finding.wires, finding.components) for finding in found]

    assert told(math.inf) == [(("W9",), ("R1", "R2", "R3"))]
    assert told(470.0) == [(("W8",), ("R1", "R2"))]


def test_one_part_that_reads_open_may_be_its_wire() -> None:
    (finding,) = behind(None)
    assert finding.cause == "missing_part"
    (wire,) = [other for other in finding.alternatives if other.cause == "broken_wire"]
    assert wire.wires == ("W9",)
    assert wire.text == "W9 (red) to R1 is open"


def test_a_wire_that_other_readings_test_is_not_suspected() -> None:
    """W4 leads to B:2 as well as to R1: an open there would show elsewhere."""
    (missing,) = explained(WITH_PART, reading("A:2", "A:3", math.inf, part="R1"))
    assert missing.alternatives == ()
    assert missing.cost == 0.9


def test_a_part_read_from_elsewhere_on_its_net_is_not_behind_a_wire_that_others_test() -> None:
    """R1 hangs on B:1 and is read from A:1, over W1 and W2, which B:1 and C:1 show to be whole."""
    behind_b = replace(R1, terminals=(("1", end_of("B:1")), ("2", end_of("A:4"))))
    read = reading("A:1", "A:4", math.inf, part="R1")
    (missing,) = explained(replace(LOOM, components=(behind_b,)), read)
    assert missing.cause == "missing_part"
    assert {other.cause for other in missing.alternatives} == {"bad_contact", "adapter_lead"}


SHUNT = replace(R1, resistance_ohm=0.5)


def test_a_shunt_that_is_out_is_told_once() -> None:
    """It is what makes one net of two: its own reading, open, says nothing more."""
    whole = nets("A:2 B:2 A:3 B:3")
    rest = tuple(net for net in EXPECTED if not net & whole[0])
    read = Judged(end_of("A:2"), end_of("A:3"), math.inf, 0.01, 0.52, 0.625, Decision.FAIL, 0.475, "R1")
    (finding,) = explain(
        replace(LOOM, components=(SHUNT,)),
        Measured(whole + rest, nets("A:2 B:2", "A:3 B:3") + rest, complete=True, judged=(read,)),
    )
    assert (finding.cause, finding.components) == ("open_part", ("R1",))


@pytest.mark.parametrize(
    ("ohm", "cause"), [(0.04, "shorted_part"), (0.1, "wrong_value"), (0.9, "resistive_contact")]
)
def test_a_shunt_reads_too_low_as_a_part_and_too_high_as_a_joint(ohm: float, cause: str) -> None:
    """0.5 Ω make one net of A:2 and A:3: 0.475 to 0.625 Ω with wires and contacts are right."""
    whole = nets("A:2 B:2 A:3 B:3")
    rest = tuple(net for net in EXPECTED if not net & whole[0])
    read = Judged(end_of("A:2"), end_of("A:3"), ohm, 0.01, 0.52, 0.625, Decision.FAIL, 0.475, "R1")
    judged = read if ohm < 0.475 else replace(read, component="", lower_ohm=0.0)
    loom = replace(LOOM, components=(SHUNT,))
    (finding,) = explain(loom, Measured(whole + rest, whole + rest, complete=True, judged=(judged,)))
    assert finding.cause == cause
    if ohm < 0.475:
        assert finding.components == ("R1",)
    else:
        assert "high resistance through R1" in [other.text for other in finding.alternatives]
