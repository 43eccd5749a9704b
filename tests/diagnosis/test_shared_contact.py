"""One bad contact behind a conductor and parts: by series ohms, worked out by hand on the small loom.

A:2 holds W4 to B:2 and one leg of R1, 470 Ω ± 5 % (446 to 494 Ω with the readings' margins), whose other leg
has A:4 to itself. A contact with 30 Ω more adds 30 Ω to whatever is read at A:2.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import pytest

from loomproof.diagnosis import explain
from loomproof.loom.model import Component, ComponentKind, Connector, ConnectorKind, Loom, end_of
from loomproof.results.findings import Finding
from loomproof.results.measured import Decision, Judged, JudgedDiode, Measured, SensedPart
from tests.diagnosis.test_wiring_faults import EXPECTED, LOOM, nets

A2, A4, A6 = (end_of(f"A:{k}") for k in (2, 4, 6))
R1 = Component("R1", ComponentKind.RESISTOR, (("1", A2), ("2", A4)), 470.0, 5.0)
R2 = Component("R2", ComponentKind.RESISTOR, (("1", A2), ("2", A6)), 100.0, 5.0)
D1 = Component("D1", ComponentKind.DIODE, (("A", A2), ("K", A6)))


def wire_reads(ohm: float, a: str = "A:2", b: str = "B:2", *, wires: tuple[str, ...] = ("W4",)) -> Judged:
    decision = Decision.FAIL if ohm > 0.4 else Decision.PASS
    return Judged(end_of(a), end_of(b), ohm, 0.1, 0.05, 0.3, decision, wires=wires)


def part_reads(name: str, ohm: float, decision: Decision = Decision.FAIL, *, bounded: bool = True) -> Judged:
    lower, upper = {"R1": (446.0, 494.0), "R2": (95.0, 105.0)}[name]
    far = {"R1": A4, "R2": A6}[name]
    limit = upper if bounded else math.inf
    return Judged(A2, far, ohm, 0.1, (lower + upper) / 2, limit, decision, lower, name)


def told(
    *judged: Judged,
    parts: Sequence[Component] = (R1,),
    groups: Sequence[str] = (),
    diodes: Sequence[JudgedDiode] = (),
    sensed: Sequence[SensedPart] = (),
    loom: Loom = LOOM,
) -> tuple[Finding, ...]:
    named = nets(*groups)
    rest = tuple(net for net in EXPECTED if not any(net & group for group in named))
    return explain(
        replace(loom, components=tuple(parts)),
        Measured(
            EXPECTED,
            (*named, *rest),
            complete=True,
            judged=judged,
            diodes=tuple(diodes),
            sensed_parts=tuple(sensed),
        ),
    )


def is_one(findings: Sequence[Finding], cause: str) -> bool:
    return len(findings) == 1 and findings[0].cause == cause and findings[0].cavities == (A2,)


@pytest.mark.parametrize(
    ("wire_ohm", "part_ohm", "one"),
    [
        (30.0, 500.0, True),
        (30.0, 525.0, True),
        (30.0, 526.0, False),
        (20.0, 515.0, True),
        (20.0, 516.0, False),
        (60.0, 503.0, True),
        (60.0, 502.0, False),
        (60.0, 440.0, False),
        (60.0, 300.0, False),
    ],
)
def test_a_contact_adds_the_same_ohms_to_all_that_is_read_at_it(
    wire_ohm: float, part_ohm: float, one: bool
) -> None:
    """30 Ω at 0.3 Ω: 0.95 × 29.6 to 1.05 × 30.1 Ω more, so R1 reads 474.0 to 525.7 Ω; 20 Ω: to 515.2 Ω.

    60 Ω: 0.95 × 59.6 = 56.6 Ω more at least: 446 + 56.6 - 0.1 = 502.5 Ω.
    """
    findings = told(wire_reads(wire_ohm), part_reads("R1", part_ohm))
    assert is_one(findings, "resistive_contact") is one
    if not one:
        assert {finding.cause for finding in findings} == {"resistive_wire", "wrong_value"}


def test_it_is_told_with_what_it_stands_for() -> None:
    (finding,) = told(wire_reads(30.0), part_reads("R1", 500.0))
    assert finding.title == ("Bad contact at A:2: W4 (blue/white) and R1 behind it read high alike")
    assert finding.wires == ("W4",)
    assert finding.components == ("R1",)
    assert finding.cost == 1.0
    assert finding.repair[0] == "Look at A:2: pushed back, green, spread, or its crimp off?"
    assert finding.repair[1] == "Crimp on a new contact of its type."
    (other,) = finding.alternatives
    assert other.cause == "resistive_wire"
    assert set(other.cavities) == {A2, A4, end_of("B:2")}
    assert (other.wires, other.components) == (("W4",), ("R1",))
    assert other.tell_apart == "Meter R1 from behind A:2: right there means the contact."
    assert "and resistor R1 reads too high" in other.text
    assert [shown.measured_ohm for shown in finding.evidence] == [30.0, 500.0]
    assert any(step.startswith("Meter the wire from behind each of its ends") for step in other.repair)
    assert any(step.startswith("Fit a resistor of 470 Ω") for step in other.repair)
    assert not any("Prove the whole loom" in step for step in other.repair)


def test_what_is_high_elsewhere_is_no_evidence_of_it() -> None:
    elsewhere = wire_reads(7.0, "A:3", "B:3", wires=("W5",))
    found = told(wire_reads(30.0), elsewhere, part_reads("R1", 500.0))
    (contact,) = [finding for finding in found if finding.cause == "resistive_contact"]
    assert [shown.measured_ohm for shown in contact.evidence] == [30.0, 500.0]


def test_a_ring_is_told_as_a_ring() -> None:
    rung = tuple(
        Connector("A", ConnectorKind.RING, one.rows) if one.name == "A" else one for one in LOOM.connectors
    )
    (finding,) = told(wire_reads(30.0), part_reads("R1", 500.0), loom=replace(LOOM, connectors=rung))
    assert finding.title.startswith("Bad joint at ring A:2: ")
    assert "paint or rust under the lug" in finding.repair[0]
    (finding,) = told(part_reads("R1", math.inf), groups=("A:2", "B:2"), loom=replace(LOOM, connectors=rung))
    assert finding.title.startswith("Ring A:2 open: ")


def test_an_open_contact_takes_all_along() -> None:
    findings = told(part_reads("R1", math.inf), groups=("A:2", "B:2"))
    assert is_one(findings, "bad_contact")
    (finding,) = findings
    assert finding.title == "Contact of A:2 open: W4 (blue/white) and R1 behind it are out of reach"
    assert [other.cause for other in finding.alternatives] == ["broken_wire", "adapter_lead"]
    assert finding.alternatives[1].cavities == (A2,)


def test_an_open_contact_leaves_nothing_that_reads() -> None:
    """A second part at A:2 that still reads says that the contact is there."""
    whole = told(
        part_reads("R1", math.inf),
        part_reads("R2", 100.0, Decision.PASS),
        parts=(R1, R2),
        groups=("A:2", "B:2"),
    )
    assert {finding.cause for finding in whole} == {"broken_wire", "missing_part"}
    both = told(part_reads("R1", math.inf), part_reads("R2", math.inf), parts=(R1, R2), groups=("A:2", "B:2"))
    assert is_one(both, "bad_contact")
    assert both[0].components == ("R1", "R2")


def test_a_sound_part_at_the_contact_speaks_against_it() -> None:
    """R2 reads 100 Ω at A:2, and through 30 Ω more it could not: two faults. Unbounded it says nothing."""
    found = told(
        wire_reads(30.0), part_reads("R1", 500.0), part_reads("R2", 100.0, Decision.PASS), parts=(R1, R2)
    )
    assert len(found) == 2
    free = part_reads("R2", 100.0, Decision.PASS, bounded=False)
    assert is_one(told(wire_reads(30.0), part_reads("R1", 500.0), free, parts=(R1, R2)), "resistive_contact")
    high = part_reads("R2", 130.0)
    found = told(wire_reads(30.0), part_reads("R1", 500.0), high, parts=(R1, R2))
    assert is_one(found, "resistive_contact")
    assert set(found[0].components) == {"R1", "R2"}


def test_a_sound_reading_of_the_conductor_speaks_against_it() -> None:
    sound = wire_reads(0.05, "A:2", "B:2")
    assert not is_one(told(wire_reads(30.0), sound, part_reads("R1", 500.0)), "resistive_contact")


@pytest.mark.parametrize(
    ("forward", "backward", "reverse", "decision", "one"),
    [
        (0.6, math.inf, False, Decision.PASS, True),
        (1.9, math.inf, False, Decision.FAIL, True),
        (1.9, 0.6, False, Decision.FAIL, False),
        (math.inf, math.inf, True, Decision.FAIL, False),
    ],
)
def test_a_diode_behind_it_passes_less_but_no_current_back(
    forward: float, backward: float, reverse: bool, decision: Decision, one: bool
) -> None:
    read = JudgedDiode("D1", A2, A6, forward, backward, "V", decision, reverse)
    found = told(wire_reads(30.0), part_reads("R1", 500.0), parts=(R1, D1), diodes=(read,))
    assert (found[0].cause == "resistive_contact" and "R1" in found[0].components) is one


@pytest.mark.parametrize(
    ("forward", "backward", "one"),
    [(math.inf, math.inf, True), (0.6, math.inf, False), (math.inf, 0.6, False)],
)
def test_behind_an_open_contact_a_diode_passes_nothing(forward: float, backward: float, one: bool) -> None:
    decision = Decision.PASS if forward < math.inf else Decision.FAIL
    read = JudgedDiode("D1", A2, A6, forward, backward, "V", decision, backward < math.inf)
    found = told(part_reads("R1", math.inf), parts=(R1, D1), diodes=(read,), groups=("A:2", "B:2"))
    assert (found[0].cause == "bad_contact") is one


@pytest.mark.parametrize(("conducts", "one"), [(True, False), (False, True)])
def test_what_was_sensed_at_it_speaks_too(conducts: bool, one: bool) -> None:
    seen = SensedPart("R2", A2, A6, conducts)
    found = told(part_reads("R1", math.inf), parts=(R1, R2), sensed=(seen,), groups=("A:2", "B:2"))
    assert is_one(found, "bad_contact") is one


def test_a_wire_that_ends_elsewhere_is_no_part_of_it() -> None:
    """W5 is high at A:3 and R1 at A:2: they have no contact in common."""
    found = told(wire_reads(30.0, "A:3", "B:3", wires=("W5",)), part_reads("R1", 500.0))
    assert {finding.cause for finding in found} == {"resistive_wire", "wrong_value"}


def test_a_part_that_is_not_fitted_is_not_behind_it() -> None:
    out = replace(R2, fitted=False)
    (finding,) = told(wire_reads(30.0), part_reads("R1", 500.0), parts=(R1, out))
    assert finding.components == ("R1",)
