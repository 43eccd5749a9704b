"""A sample of the campaign over the real link; all of it runs in make campaign."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.campaign import first_proof, verdicts


def test_random_faults_are_judged_as_the_graph_says() -> None:
    counts, misses = first_proof.run(30, seed=7)
    assert misses == []
    assert counts["nets changed", "fail"] > 10
    assert counts["nets unchanged", "pass"] > 3


@pytest.mark.parametrize("number", [912, 3047])
def test_looms_that_were_once_judged_wrong(number: int, tmp_path: Path) -> None:
    """A diode beside a missing coil is no relay of the bench; a part of two that reads too high is told."""
    (case,) = verdicts.case_of("mixed", 43, number)
    result = verdicts.result_of(case, tmp_path)
    assert result.wrong == ()
    assert (result.kind, result.verdict) == ("must fail", "fail")
