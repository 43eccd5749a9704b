"""Parts that a fault of the wiring puts beside each other: by parallel sums on the small loom."""

from __future__ import annotations

from dataclasses import replace

import pytest

from loomproof.diagnosis import explain
from loomproof.loom.model import Component, ComponentKind, end_of
from loomproof.results.measured import Decision, Judged, Measured
from tests.diagnosis.test_parts import R1
from tests.diagnosis.test_wiring_faults import EXPECTED, LOOM, nets


@pytest.mark.parametrize(
    ("other_ohm", "ohm", "told"),
    [
        (470.0, 235.0, False),
        (470.0, 300.0, True),
        (4700.0, 427.0, False),
        (4700.0, 440.0, False),
        (4700.0, 445.0, True),
    ],
)
def test_a_part_that_a_short_puts_another_beside_reads_what_both_are(
    other_ohm: float, ohm: float, told: bool
) -> None:
    """R1 of 470 Ω from A:2, R2 from A:3, both to A:4; A:2 and A:3 touch. 470 and 4700 Ω are 427 Ω.

    440 Ω are nearer to 427 than half the way from 470, 445 Ω are not.
    """
    parts = tuple(
        Component(name, ComponentKind.RESISTOR, (("1", end_of(at)), ("2", end_of("A:4"))), value, 5.0)
        for name, at, value in (("R1", "A:2", 470.0), ("R2", "A:3", other_ohm))
    )
    read = Judged(end_of("A:2"), end_of("A:4"), ohm, 0.1, 470.0, 494.0, Decision.FAIL, 446.0, "R1")
    joined = nets("A:2 B:2 A:3 B:3")
    rest = tuple(net for net in EXPECTED if not net & joined[0])
    found = explain(
        replace(LOOM, components=parts), Measured(EXPECTED, joined + rest, complete=True, judged=(read,))
    )
    assert ("wrong_value" in {finding.cause for finding in found}) is told
    assert any("R1" in finding.components for finding in found)


@pytest.mark.parametrize(
    ("ohm", "value", "told"),
    [
        (100.0, None, False),
        (600.0, None, True),
        (100.0, 9000.0, True),
        (0.2, None, True),
        (410.0, None, True),
    ],
)
def test_a_part_of_unknown_ohms_beside_it_may_make_it_read_less(
    ohm: float, value: float | None, told: bool
) -> None:
    """A coil of unknown ohms comes beside R1 by a short: R1 may read anything from 0.3 Ω up."""
    parts = (
        replace(R1, terminals=(("1", end_of("A:2")), ("2", end_of("A:4")))),
        Component("L1", ComponentKind.COIL, (("1", end_of("A:3")), ("2", end_of("A:4"))), value),
    )
    decision = Decision.FAIL
    read = Judged(end_of("A:2"), end_of("A:4"), ohm, 0.05, 430.0, 450.0, decision, 410.0, "R1")
    joined = nets("A:2 B:2 A:3 B:3")
    rest = tuple(net for net in EXPECTED if not net & joined[0])
    found = explain(
        replace(LOOM, components=parts), Measured(EXPECTED, joined + rest, complete=True, judged=(read,))
    )
    causes = {finding.cause for finding in found}
    assert bool(causes & {"wrong_value", "shorted_part"}) is told
