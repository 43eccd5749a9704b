"""A sample of the campaign over the real link; all of it runs in make campaign."""

from __future__ import annotations

from tests.campaign import first_proof


def test_random_faults_are_judged_as_the_graph_says() -> None:
    counts, misses = first_proof.run(30, seed=7)
    assert misses == []
    assert counts["nets changed", "fail"] > 10
    assert counts["nets unchanged", "pass"] > 3
