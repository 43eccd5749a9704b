"""Uncertainty against the worked examples of the GUM, and the library GTC as oracle."""

from __future__ import annotations

import math
import random

import GTC  # type: ignore[import-untyped]  # the library ships no types
import numpy as np
import pytest

from loomproof.electrics.uncertainty import (
    Budget,
    Contribution,
    effective_degrees_of_freedom,
    reading_budget,
    rectangular,
)


def test_gum_h1_end_gauge() -> None:
    """l = ls + d - ls(δα θ + αs δθ): u_c 32 nm, ν_eff 16."""
    ls, theta, alpha = 50.000623e6, -0.1, 11.5e-6  # nm, °C, 1/°C
    contributions = [25.0, 9.7, ls * abs(theta) * 0.58e-6, ls * alpha * 0.029]
    assert contributions == pytest.approx([25.0, 9.7, 2.9, 16.6], abs=0.1)
    named = zip(contributions, [18, 25.6, 50, 2], strict=True)
    budget = Budget(tuple(Contribution("", standard, freedom) for standard, freedom in named))
    assert budget.standard_ohm == pytest.approx(32.0, abs=0.5)
    assert budget.standard_ohm**2 == pytest.approx(1005.2, abs=0.5)
    assert budget.degrees_of_freedom == pytest.approx(16.7, abs=0.1)


def test_welch_satterthwaite_examples() -> None:
    # GUM G.4.1 (numbers from memory, recomputed) and a public lecture example.
    parts = [(0.25, 9.0), (0.57, 4.0), (0.82, 14.0)]
    assert math.hypot(0.25, 0.57, 0.82) == pytest.approx(1.02947, abs=1e-5)
    assert effective_degrees_of_freedom(parts) == pytest.approx(19.0, abs=0.05)
    assert effective_degrees_of_freedom([(0.57, 9.0), (0.25, math.inf)]) == pytest.approx(12.8, abs=0.05)
    assert math.isinf(effective_degrees_of_freedom([(0.5, math.inf)]))


@pytest.mark.parametrize("seed", range(20))
def test_reading_budget_equals_the_reference_library(seed: int) -> None:
    rng = random.Random(seed)
    ohm, ratio, reading = rng.uniform(0, 0.2), rng.uniform(0, 0.02), rng.uniform(0, 100)
    lead, spread, repeats, kelvin = (
        rng.uniform(0, 0.02),
        rng.uniform(0, 0.05),
        rng.randrange(1, 6),
        rng.uniform(0, 3),
    )
    budget = reading_budget(
        ohm,
        ratio,
        reading,
        lead_uncertainty_ohm=lead,
        repeatability_ohm=spread,
        repeats=repeats,
        repeatability_readings=25,
        temperature_uncertainty_k=kelvin,
    )
    accuracy = GTC.ureal(0, GTC.type_b.uniform(ohm + ratio * reading))
    leads = GTC.ureal(0, lead)
    repeatability = GTC.ureal(0, spread / math.sqrt(repeats), 24)
    warmth = GTC.ureal(20.0, kelvin)
    theirs = (reading + accuracy + leads + repeatability) + reading * 0.00393 * (warmth - 20.0)
    assert budget.standard_ohm == pytest.approx(GTC.uncertainty(theirs), rel=1e-9)
    assert budget.expanded_ohm == pytest.approx(2 * GTC.uncertainty(theirs), rel=1e-9)
    assert budget.degrees_of_freedom == pytest.approx(GTC.dof(theirs), rel=1e-6)


def test_only_the_repeatability_shrinks_with_repeats() -> None:
    once = reading_budget(0.1, 0.01, 1.0, repeatability_ohm=0.05, repeats=1)
    often = reading_budget(0.1, 0.01, 1.0, repeatability_ohm=0.05, repeats=100)
    for before, after in zip(once.parts, often.parts, strict=True):
        shrunk = 0.1 if before.name == "repeatability" else 1.0
        assert after.standard_ohm == pytest.approx(before.standard_ohm * shrunk)
    assert often.standard_ohm > rectangular(0.11)


def test_limits_of_error_become_a_rectangle() -> None:
    """GUM 4.3.7: u = a/√3; by the second moment of a flat density."""
    grid = np.linspace(-1, 1, 200_001)
    assert rectangular(1.0) == pytest.approx(math.sqrt((grid**2).mean()), rel=1e-4)
    assert reading_budget(0.1, 0.01, 10.0).expanded_ohm == pytest.approx(2 * 0.2 / math.sqrt(3))


def test_open_reading_and_wrong_figures() -> None:
    assert math.isinf(reading_budget(0.1, 0.01, math.inf).expanded_ohm)
    assert reading_budget(0.1, 0.0, math.inf).expanded_ohm == pytest.approx(0.2 / math.sqrt(3))
    assert Budget((Contribution("only", 0.5),)).expanded_ohm == 1.0
    with pytest.raises(ValueError, match="0 or more"):
        reading_budget(-0.1, 0.0, 1.0)
    with pytest.raises(ValueError, match="1 or more"):
        reading_budget(0.1, 0.0, 1.0, repeats=0)
