"""The grade of a list of claims, and its risk, against another normal distribution and by drawing."""

from __future__ import annotations

import random
from statistics import NormalDist

import pytest

from loomproof.judgement.grading import grade_of, risk_of
from loomproof.results.document import ClaimEntry
from loomproof.results.grade import Grade
from loomproof.results.measured import Decision


def joint(measured_ohm: float, u_ohm: float, limit_ohm: float, name: str = "A:1 to B:1") -> ClaimEntry:
    decided = measured_ohm + u_ohm <= limit_ohm
    return ClaimEntry(
        kind="resistance",
        subject=name,
        statement="",
        decision=Decision.PASS if decided else Decision.UNDECIDED,
        rule="",
        measured_ohm=measured_ohm,
        uncertainty_ohm=u_ohm,
        limit_ohm=limit_ohm,
        bound_ohm=measured_ohm + u_ohm,
    )


def test_the_grade_is_that_of_the_weakest_claim() -> None:
    fine, coarse = joint(0.05, 0.01, 0.12), joint(0.06, 0.1, 0.12)
    assert grade_of([fine], (), measures_ohms=True) == (Grade.WIRE, "1 joint within its own limit")
    grade, text = grade_of([fine, coarse], (), measures_ohms=True)
    assert (grade, text) == (Grade.BENCH, "joints to 0.160 Ω: 1 of 2 limits lie beyond this bench")
    grade, text = grade_of([fine], ("L1",), measures_ohms=True)
    assert grade is Grade.CONNECTIONS
    assert text.startswith("nobody could tell L1")
    assert grade_of([], (), measures_ohms=False)[0] is Grade.CONNECTIONS


def test_the_order_of_grades() -> None:
    assert Grade.WIRE.meets(Grade.BENCH)
    assert Grade.BENCH.meets(Grade.BENCH)
    assert not Grade.CONNECTIONS.meets(Grade.BENCH)


def test_the_risk_is_the_sum_over_all_and_never_less_than_what_is_drawn() -> None:
    """Joints that share the meter's error, drawn from the densities that the readings leave."""
    limit, u = 0.12, 0.02
    read = [0.10, 0.095, 0.09, 0.08, 0.05]
    claims = [joint(y, u, limit, f"A:{k} to B:{k}") for k, y in enumerate(read)]
    one = [1 - NormalDist(y, u / 2).cdf(limit) for y in read]
    risk = risk_of(claims)
    assert risk == pytest.approx(sum(one), rel=1e-9)
    rng = random.Random(5)
    for shared in (0.0, 0.7, 1.0):
        hidden = 0
        for _ in range(4000):
            common = rng.gauss(0, 1)
            own = (shared * common + (1 - shared**2) ** 0.5 * rng.gauss(0, 1) for _ in read)
            hidden += any(y + u / 2 * error > limit for y, error in zip(read, own, strict=True))
        assert hidden / 4000 <= (risk or 0) + 0.004, "Boole's bound holds however the errors hang together"


def test_the_risk_of_grade_bench_is_that_of_the_bound_it_names() -> None:
    claims = [joint(0.06, 0.1, 0.12), joint(0.02, 0.1, 0.12)]
    bound = 0.16
    expected = sum(1 - NormalDist(y, 0.05).cdf(bound) for y in (0.06, 0.02))
    assert risk_of(claims) == pytest.approx(expected, rel=1e-9)
    assert risk_of([]) is None
