"""A bench without ohms finds what parts couple as one: a contact in the wrong place is no short besides."""

from __future__ import annotations

from dataclasses import replace

import pytest

from loomproof.results.document import Verdict
from tests.measuring.scanner_bench import OHMS, loom_of, outcome_of

SENSE_ONLY = replace(OHMS, ohms=None, accuracy=None, diode=False)
COIL = "L1,coil,1=A:1 2=A:2,60,10,\n"
CHAIN = COIL + "R2,resistor,1=A:2 2=A:3,100,5,\n"
LOOSE_ENDS = COIL + "D1,diode,A=A:3 K=A:4,,,0.65\n"


@pytest.mark.parametrize("parts", [COIL, CHAIN, LOOSE_ENDS])
@pytest.mark.parametrize(
    ("fault", "cause", "cavities"),
    [
        ("swap B:1 B:5", "crossed", {"B:1", "B:5"}),
        ("swap A:1 A:5", "crossed", {"A:1", "A:5"}),
        ("swap A:2 A:5", "crossed", {"A:2", "A:5"}),
        ("mirror B", "mirrored", {f"B:{n}" for n in range(1, 7)}),
        ("move B:2 B:6", "moved_to_spare", {"B:2", "B:6"}),
    ],
)
def test_what_is_in_the_wrong_place_beside_a_part_is_told_once(
    parts: str, fault: str, cause: str, cavities: set[str]
) -> None:
    outcome = outcome_of(loom_of("1 2 3 4 5", parts, spare="6"), fault, able=SENSE_ONLY)
    (finding,) = outcome.findings
    assert finding.cause == cause
    assert {str(end) for end in finding.cavities} == cavities
    assert outcome.document.verdict is Verdict.FAIL
    assert list(outcome.document.reasons) == [finding.title]


def test_a_short_to_one_of_two_coupled_nets_names_both_for_sense_does_not_tell_which() -> None:
    (finding,) = outcome_of(loom_of("1 2 3 4 5", COIL), "short A:2 A:5", able=SENSE_ONLY).findings
    assert finding.cause == "touching"
    assert {"A:1", "A:2", "A:5"} <= {str(end) for end in finding.cavities}


def test_a_crossing_between_the_nets_that_a_part_couples_is_not_seen_without_ohms() -> None:
    outcome = outcome_of(loom_of("1 2 3 4 5", COIL), "swap B:1 B:2", able=SENSE_ONLY)
    assert outcome.findings == ()
    assert any("L1" in text for text in (outcome.document.grade_text, *outcome.document.not_tested))


@pytest.mark.parametrize("ohm", [60, 470_000])
def test_a_short_through_a_third_conductor_past_a_part_is_no_part(ohm: int) -> None:
    loom = loom_of("1 2 3 4 5", f"R1,resistor,1=A:1 2=A:2,{ohm},5,\n")
    outcome = outcome_of(loom, "short A:1 A:5", "short A:2 A:5", able=SENSE_ONLY)
    assert outcome.document.verdict is Verdict.FAIL
    assert {"A:1", "A:2", "A:5"} <= {str(end) for finding in outcome.findings for end in finding.cavities}
