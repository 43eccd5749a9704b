"""What findings say to the person at the bench: each sentence true of its own fault, and of no other."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from loomproof.diagnosis import explain
from loomproof.loom.model import end_of
from loomproof.results.findings import Finding
from loomproof.results.measured import Decision, Judged, Measured
from tests.diagnosis.test_equals import R1, read
from tests.diagnosis.test_wiring_faults import EXPECTED, LOOM, found

SHIFTED = "A:3 B:1 C:1, A:4 B:2, A:5 B:3, C:2, A:1, A:2, A:6"
"""Each contact of A two cavities on, W6 out of the housing."""


@pytest.mark.parametrize(
    ("groups", "how", "written"),
    [
        (
            "A:4 B:1 C:1, A:5 B:2, A:6 B:3, A:2 C:2, A:1, A:3",
            "mirrored",
            "was written from the wrong face of A",
        ),
        ("A:6 B:1 C:1, A:5 B:2, A:4 B:3, A:2 C:2, A:1, A:3", "rotated", "was begun at the wrong corner of A"),
        (SHIFTED, "shifted", "is a cavity or more off at A"),
    ],
)
def test_a_slip_of_a_whole_plug_says_how_it_was_written_down_wrong(
    groups: str, how: str, written: str
) -> None:
    """Only who looks at the other face mirrors; a wrong corner turns, and a wrong start shifts."""
    (finding,) = found(*groups.split(", "))
    assert finding.title.startswith(f"A {how} (")
    (step,) = [text for text in finding.repair if "description or the adapter's table" in text]
    assert written in step
    assert any("drawing of its other face" in text for text in finding.repair) == (how == "mirrored")


def test_a_shift_says_by_how_many_cavities() -> None:
    (finding,) = found(*SHIFTED.split(", "))
    assert "A shifted (by 2 cavities on)" in finding.title


def test_two_leads_of_the_adapter_are_touched_one_after_the_other() -> None:
    (finding,) = found("A:2", "B:2")
    (lead,) = [other for other in finding.alternatives if other.cause == "adapter_lead"]
    assert "the adapter's lead for A:2 and then that for B:2 with the probe" in lead.tell_apart


def reading(a: str, b: str, ohm: float) -> Judged:
    decision = Decision.FAIL if ohm > 0.2 else Decision.PASS
    return Judged(end_of(a), end_of(b), ohm, 0.01, 0.1, 0.2, decision)


def high(*judged: Judged) -> Finding:
    (finding,) = explain(LOOM, Measured(EXPECTED, EXPECTED, complete=True, judged=judged))
    return finding


def leads(finding: Finding) -> list[str]:
    return [
        str(end)
        for other in finding.alternatives
        if other.cause == "resistive_lead"
        for end in other.cavities
    ]


def test_a_high_reading_may_be_the_lead_of_the_adapter_until_another_reading_clears_it() -> None:
    """A lead stands in series with each reading from its point: one sound reading there vouches for it."""
    alone = high(reading("A:2", "B:2", 4.7))
    assert leads(alone) == ["A:2", "B:2"]
    assert "the adapter's lead or pin for A:2 or B:2 reads high" in alone.alternatives[-1].text
    at_b = high(reading("A:1", "B:1", 4.7), reading("B:1", "C:1", 4.7), reading("A:1", "C:1", 0.1))
    assert leads(at_b) == ["B:1"]
    splice = high(reading("A:1", "B:1", 4.7), reading("B:1", "C:1", 4.7), reading("A:1", "C:1", 4.7))
    assert leads(splice) == []


def test_a_part_that_reads_open_from_a_cavity_of_its_own_may_have_a_bad_contact_or_lead_there() -> None:
    """A:4 holds R1's leg alone: nothing else that was read takes its contact, or the lead for it."""
    judged = (read(math.inf, Decision.FAIL),)
    (finding,) = explain(replace(LOOM, components=(R1,)), Measured(EXPECTED, EXPECTED, True, judged=judged))
    assert finding.cause == "missing_part"
    told = {str(other.cause): other.cavities for other in finding.alternatives}
    assert told == {"bad_contact": (end_of("A:4"),), "adapter_lead": (end_of("A:4"),)}


def test_a_reading_that_decides_nothing_is_no_evidence() -> None:
    """0.1 Ω too much by less than its uncertainty beside a short says nothing of the short."""
    shorted = (*(net for net in EXPECTED if not net & {end_of("A:2"), end_of("A:3")}),)
    both = frozenset().union(*(net for net in EXPECTED if net & {end_of("A:2"), end_of("A:3")}))
    unsure = replace(reading("A:2", "B:2", 0.21), decision=Decision.UNDECIDED)
    for judged, count in ((unsure, 0), (reading("A:2", "B:2", 4.7), 1)):
        told = explain(LOOM, Measured(EXPECTED, (both, *shorted), complete=True, judged=(judged,)))
        short = next(finding for finding in told if finding.cause == "touching")
        assert sum(one.text == "A:2 to B:2" for one in short.evidence) == count
