"""Uncertainty against the worked examples of the GUM, its t table, and the library GTC as oracle."""

from __future__ import annotations

import math
import random

import GTC  # type: ignore[import-untyped]  # the library ships no types
import numpy as np
import pytest

from loomproof.electrics.uncertainty import (
    Budget,
    Part,
    coverage_factor,
    effective_degrees_of_freedom,
    mean_and_covariance,
    propagate,
    reading_budget,
    reading_uncertainty,
    rectangular,
)

H2 = np.array(
    [
        [5.007, 19.663e-3, 1.0456],
        [4.994, 19.639e-3, 1.0438],
        [5.005, 19.640e-3, 1.0468],
        [4.990, 19.685e-3, 1.0428],
        [4.999, 19.678e-3, 1.0433],
    ]
)
"""JCGM 100:2008 table H.2: volts, amperes, radians, five simultaneous occasions."""


def h2_jacobian(v: float, i: float, phi: float) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    c, s = math.cos(phi), math.sin(phi)
    return np.array(
        [
            [c / i, -v * c / i**2, -v * s / i],
            [s / i, -v * s / i**2, v * c / i],
            [1 / i, -v / i**2, 0.0],
        ]
    )


def test_gum_h2_resistance_reactance_impedance() -> None:
    mean, covariance = mean_and_covariance(H2)
    # Means and their standard deviations as printed in the GUM.
    assert mean == pytest.approx([4.9990, 19.6610e-3, 1.04446], rel=1e-6)
    assert np.sqrt(np.diag(covariance)) == pytest.approx([0.0032, 0.0095e-3, 0.00075], rel=0.01)
    v, i, phi = mean
    result = propagate(h2_jacobian(v, i, phi), covariance)
    u = np.sqrt(np.diag(result))
    assert v / i * math.cos(phi) == pytest.approx(127.732, abs=0.001)
    assert v / i * math.sin(phi) == pytest.approx(219.847, abs=0.001)
    assert v / i == pytest.approx(254.260, abs=0.001)
    # The GUM prints 0.071, 0.295, 0.236; the second is 0.2956 from its own data, so 0.001 is allowed.
    assert u == pytest.approx([0.071, 0.295, 0.236], abs=0.001)
    correlation = result / np.outer(u, u)
    assert correlation[0, 1] == pytest.approx(-0.588, abs=0.001)
    assert correlation[0, 2] == pytest.approx(-0.485, abs=0.001)
    assert 1 - correlation[1, 2] == pytest.approx(0.00749, abs=1e-5)


def test_gum_h2_needs_the_correlations() -> None:
    """Without them the result is another one, so the test above shows that they are used."""
    mean, covariance = mean_and_covariance(H2)
    independent = np.diag(np.diag(covariance))
    u = np.sqrt(np.diag(propagate(h2_jacobian(*mean.tolist()), independent)))
    assert u == pytest.approx([0.19454, 0.20091, 0.20408], abs=1e-4)


def test_gum_h2_equals_the_reference_library() -> None:
    v, i, phi = GTC.type_a.multi_estimate_real(H2.T.tolist())
    theirs = [v / i * GTC.cos(phi), v / i * GTC.sin(phi), v / i]
    mean, covariance = mean_and_covariance(H2)
    ours = propagate(h2_jacobian(*mean.tolist()), covariance)
    for k in range(3):
        assert math.sqrt(ours[k, k]) == pytest.approx(GTC.uncertainty(theirs[k]), rel=1e-9)
        for j in range(k):
            r = ours[k, j] / math.sqrt(ours[k, k] * ours[j, j])
            assert r == pytest.approx(GTC.get_correlation(theirs[k], theirs[j]), rel=1e-9)


def test_gum_h1_end_gauge() -> None:
    """l = ls + d - ls(δα θ + αs δθ): u_c 32 nm, ν_eff 16, U99 93 nm."""
    ls, theta, alpha = 50.000623e6, -0.1, 11.5e-6  # nm, °C, 1/°C
    jacobian = [1.0, 1.0, -ls * theta, -ls * alpha]
    standard = [25.0, 9.7, 0.58e-6, 0.029]
    u_c = math.sqrt(propagate([jacobian], np.diag(np.square(standard)))[0, 0])
    assert u_c == pytest.approx(32.0, abs=0.5)
    assert u_c**2 == pytest.approx(1005.2, abs=0.5)
    contributions = [abs(c * u) for c, u in zip(jacobian, standard, strict=True)]
    assert contributions == pytest.approx([25.0, 9.7, 2.9, 16.6], abs=0.1)
    freedom = effective_degrees_of_freedom(list(zip(contributions, [18, 25.6, 50, 2], strict=True)))
    assert freedom == pytest.approx(16.7, abs=0.1)
    assert coverage_factor(freedom, 0.99) == pytest.approx(2.92, abs=0.005)
    assert coverage_factor(freedom, 0.99) * u_c == pytest.approx(93, abs=1)


def test_welch_satterthwaite_examples() -> None:
    # GUM G.4.1 (numbers from memory, recomputed) and a public lecture example.
    parts = [(0.25, 9.0), (0.57, 4.0), (0.82, 14.0)]
    assert math.hypot(0.25, 0.57, 0.82) == pytest.approx(1.02947, abs=1e-5)
    assert effective_degrees_of_freedom(parts) == pytest.approx(19.0, abs=0.05)
    assert effective_degrees_of_freedom([(0.57, 9.0), (0.25, math.inf)]) == pytest.approx(12.8, abs=0.05)
    assert math.isinf(effective_degrees_of_freedom([(0.5, math.inf)]))


@pytest.mark.parametrize(
    ("freedom", "t95", "t9545", "t99"),
    [
        (1, 12.706, 13.968, 63.657), (2, 4.303, 4.527, 9.925), (4, 2.776, 2.869, 4.604),
        (10, 2.228, 2.284, 3.169), (16, 2.120, 2.169, 2.921), (50, 2.009, 2.051, 2.678),
        (100, 1.984, 2.025, 2.626),
    ],
)  # fmt: skip
def test_coverage_factors(freedom: int, t95: float, t9545: float, t99: float) -> None:
    """GUM table G.2."""
    assert coverage_factor(freedom, 0.95) == pytest.approx(t95, abs=1e-3)
    assert coverage_factor(freedom, 0.9545) == pytest.approx(t9545, abs=1e-3)
    assert coverage_factor(freedom, 0.99) == pytest.approx(t99, abs=1e-3)


def test_infinite_degrees_give_the_normal_factor() -> None:
    assert coverage_factor(math.inf, 0.9545) == pytest.approx(2.0, abs=1e-3)


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
    assert reading_uncertainty(0.1, 0.01, 10.0) == pytest.approx(2 * 0.2 / math.sqrt(3))


def test_open_reading_and_wrong_figures() -> None:
    assert math.isinf(reading_uncertainty(0.1, 0.01, math.inf))
    assert reading_uncertainty(0.1, 0.0, math.inf) == pytest.approx(0.2 / math.sqrt(3))
    assert Budget((Part("only", 0.5),)).expanded_ohm == 1.0
    with pytest.raises(ValueError, match="0 or more"):
        reading_uncertainty(-0.1, 0.0, 1.0)
    with pytest.raises(ValueError, match="1 or more"):
        reading_uncertainty(0.1, 0.0, 1.0, repeats=0)
    with pytest.raises(ValueError, match="two occasions"):
        mean_and_covariance([[1.0, 2.0]])
