"""A sample of the campaign over the real link; all of it runs in make campaign."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.campaign import first_proof, quiet, tracing, verdicts

JOINTS = [("matrix", 41, 202), ("matrix", 41, 293), ("matrix", 45, 108), ("matrix", 45, 144)]
PATHS = [("mixed", 41, 373), ("mixed", 44, 168), ("matrix", 45, 142), ("matrix", 46, 251)]
OTHERS = [("mixed", 43, n) for n in (1156, 1277, 1505, 1664, 1771, 1805)]
OTHERS += [("mixed", 47, n) for n in (496, 714, 1425)]


def test_random_faults_are_judged_as_the_graph_says() -> None:
    counts, misses = first_proof.run(9, seed=7)
    assert misses == []
    assert counts["nets changed", "fail"] > 3
    assert counts["nets unchanged", "pass"] > 0


ONCE_WRONG = [("mixed", 43, 912), ("mixed", 43, 3047), *(("matrix", 47, n) for n in (127, 144, 253))]


@pytest.mark.parametrize(("part", "seed", "number"), ONCE_WRONG)
def test_looms_that_were_once_judged_wrong(part: str, seed: int, number: int, tmp_path: Path) -> None:
    """A diode beside a missing coil is no relay of the bench; a part of two that reads too high is told.

    A short across a resistor of unknown ohms is decided at the resistor's own cavities. Two shorts are no
    leak of the bench, and a net with a leak vouches for the meter that reads another below its copper.
    """
    (case,) = verdicts.case_of(part, seed, number)
    result = verdicts.result_of(case, tmp_path)
    assert result.wrong == ()
    assert (result.kind, result.verdict) == ("must fail", "fail")


@pytest.mark.parametrize(("part", "seed", "number"), [*JOINTS, *PATHS, *OTHERS])
def test_faults_that_were_once_told_elsewhere(part: str, seed: int, number: int, tmp_path: Path) -> None:
    """A splice beside a bypass or read as leaks, a short across coils of relays, a joint beside diodes.

    Paths between nets that parts couple are told there, and not as the part that they make read low.
    """
    (case,) = verdicts.case_of(part, seed, number)
    result = verdicts.result_of(case, tmp_path)
    assert result.wrong == ()
    assert result.first
    assert len(result.findings) == 1


@pytest.mark.parametrize("number", [3, 7, 13])
def test_unknown_looms_are_traced_as_they_are(number: int) -> None:
    """Capacitors side by side; a diode across a coil that takes little of the current, or shows nowhere.

    Learning takes ceil(log2 N) vectors, confirming as many and those that tell the nets apart, and each
    point is asked alone once more where one of these says otherwise.
    """
    row = tracing.result_of(1, number)
    assert row.wrong == ()
    assert row.vectors <= row.most
    assert row.points <= row.before <= row.points + 64


def test_noisy_contacts_are_no_events_and_opening_ones_are() -> None:
    assert quiet.hour_of(1, 0, 30.0).watched.seen == ()
    opening = quiet.hour_of(1, 0, 30.0, ohms=(1e7, 1e7))
    assert opening.bursts == 59
    # Of a net of one cavity a break shows nowhere; each other burst is told once.
    assert 30 < len(opening.watched.seen) <= opening.bursts
