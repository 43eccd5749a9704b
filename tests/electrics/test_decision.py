"""Decisions against JCGM 106, ILAC-G8 and figures recomputed with another normal distribution."""

from __future__ import annotations

import math
import random
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomproof.electrics.decision import bound_ohm, conformance_probability, judge, surely_decided, zones
from loomproof.electrics.uncertainty import reading_budget

ohms = st.floats(0, 1e6, allow_nan=False)


@pytest.mark.parametrize(
    ("y", "u", "lower", "upper", "expected"),
    [
        (-5.47, 0.05, -math.inf, -5.40, 0.919243),
        (509.7, 8.6, 490.0, math.inf, 0.989010),
        (13.6, 1.8, 12.5, 16.3, 0.662630),
    ],
)
def test_conformance_probability(y: float, u: float, lower: float, upper: float, expected: float) -> None:
    """The worked examples of JCGM 106:2012 (inputs from memory), recomputed; printed with two digits."""
    normal = NormalDist(y, u)
    recomputed = (normal.cdf(upper) if math.isfinite(upper) else 1.0) - (
        normal.cdf(lower) if math.isfinite(lower) else 0.0
    )
    assert recomputed == pytest.approx(expected, abs=1e-6)
    assert conformance_probability(y, u, upper, lower) == pytest.approx(recomputed, abs=1e-12)


@pytest.mark.parametrize(
    ("w", "risk"), [(0.0, 0.5), (0.5, 0.1587), (0.83, 0.0485), (1.0, 0.02275), (1.5, 0.00135)]
)
def test_worst_false_accept_of_a_guard_band(w: float, risk: float) -> None:
    """A result on the acceptance limit AL = TL - w U (ILAC-G8:09/2019): less than 2.5 % wrong for w = U."""
    u = 0.01
    on_the_limit = 1.0 - w * 2 * u
    assert 1 - conformance_probability(on_the_limit, u, 1.0) == pytest.approx(risk, rel=2e-3)


def test_micrometer_example() -> None:
    """Limit 0.003 mm, U = 0.001 mm: 0.0017 is accepted, 0.0025 is not (a calibration example)."""
    assert judge(0.0017, 0.001, 0.003) == "pass"
    assert judge(0.0025, 0.001, 0.003) == "undecided"
    assert judge(0.0041, 0.001, 0.003) == "fail"


# Multiples of a power of two, whose sums are exact: zones and judgement round at different places.
exact = st.integers(0, 100 * 1024).map(lambda n: n / 1024)


@given(exact, exact, exact, exact)
def test_zones_and_judgement_agree(measured: float, u: float, upper: float, lower: float) -> None:
    low, high = sorted((lower, upper))
    found, zone = judge(measured, u, high, low), zones(u, high, low)
    if found == "pass":
        assert zone.pass_from_ohm <= measured <= zone.pass_to_ohm or (
            low == 0 and measured <= zone.pass_to_ohm
        )
    if measured > zone.fail_from_ohm:
        assert found == "fail"
    # More uncertainty never turns a fail into a pass or a pass into a fail.
    assert {found, judge(measured, 2 * u, high, low)} != {"pass", "fail"}


@given(st.floats(0.001, 100), st.floats(0.001, 100), st.floats(0, 10), st.floats(-1, 1))
def test_where_a_bench_decides_a_limit_every_sound_conductor_passes(
    limit: float, sound: float, u: float, share: float
) -> None:
    if surely_decided(limit, sound, u):
        assert judge(sound + share * u, u, limit * (1 + 1e-12)) == "pass"
    elif sound + 2 * u > limit * (1 + 1e-12):
        assert judge(sound + u, u, limit) != "pass", "one that reads as high as it may is not decided"


@given(ohms, ohms, ohms)
def test_the_limit_is_never_moved_to_suit_the_bench(y: float, u: float, limit: float) -> None:
    """The three sentences of the rule (ILAC-G8:09/2019, 4.2.3, guard band w = U), whatever the bench is."""
    found = judge(y, u, limit)
    if y > limit:
        assert found != "pass"
    assert (found == "fail") == (y > limit + u)
    if y >= 0:
        assert (found == "pass") == (bound_ohm(y, u) <= limit)


def test_a_reading_below_a_meters_range_is_below_that_range() -> None:
    """0.05 Ω read where the range begins at 0.1 Ω ± 4 mΩ: under 0.104 Ω, and no more is known."""
    assert judge(0.05, 0.1, 0.194, most_ohm=0.104) == "pass"
    assert judge(0.05, 0.1, 0.09, most_ohm=0.104) == "undecided"
    assert judge(0.05, 0.1, 30.0, lower_ohm=20.0, most_ohm=0.104) == "fail"


def test_a_cheap_bench_fails_no_sound_wire_and_passes_no_bad_one() -> None:
    """±(0.1 Ω + 1 %), a bench whose error is anywhere in its limits: seeded, ten thousand readings."""
    rng = random.Random(7)
    limit = 0.18
    for _ in range(10_000):
        true = rng.uniform(0.05, 0.12)
        read = true + rng.uniform(-1, 1) * (0.1 + 0.01 * true)
        u = reading_budget(0.1, 0.01, read).expanded_ohm
        assert judge(read, u, limit) != "fail"
        assert bound_ohm(read, u) >= true
        true = rng.uniform(2.0, 10.0)
        read = true + rng.uniform(-1, 1) * (0.1 + 0.01 * true)
        assert judge(read, reading_budget(0.1, 0.01, read).expanded_ohm, limit) == "fail"


def test_open_negative_and_nonsense() -> None:
    assert judge(math.inf, math.inf, 1.0) == "fail"
    assert judge(math.inf, 0.1, math.inf, 1e6) == "pass"
    assert judge(-0.01, 0.01, 0.1) == "pass"
    assert judge(-0.02, 0.01, 0.1) == "undecided", "nothing reads less than nothing"
    assert judge(90.0, 1.0, 110.0, 95.0) == "fail"
    assert judge(95.5, 1.0, 110.0, 95.0) == "undecided"
    assert judge(100.0, 1.0, 110.0, 95.0) == "pass"
    with pytest.raises(ValueError, match="numbers"):
        judge(math.nan, 0.1, 1.0)
    with pytest.raises(ValueError, match="0 or more"):
        judge(1.0, -0.1, 1.0)
    with pytest.raises(ValueError, match="above the upper"):
        judge(1.0, 0.1, 1.0, 2.0)
    with pytest.raises(ValueError, match="above 0"):
        conformance_probability(1.0, 0.0, 2.0)


@pytest.mark.parametrize(
    ("measured", "u", "upper", "lower", "outcome"),
    [
        # An upper limit of 1, U = 0.125 (all exact in binary): pass to 0.875, fail above 1.125.
        (0.875, 0.125, 1.0, 0.0, "pass"),
        (0.8751, 0.125, 1.0, 0.0, "undecided"),
        (1.125, 0.125, 1.0, 0.0, "undecided"),
        (1.1251, 0.125, 1.0, 0.0, "fail"),
        # A lower limit of 0.5: fail below 0.375, pass from 0.625.
        (0.3749, 0.125, 1.0, 0.5, "fail"),
        (0.375, 0.125, 1.0, 0.5, "undecided"),
        (0.6249, 0.125, 1.0, 0.5, "undecided"),
        (0.625, 0.125, 1.0, 0.5, "pass"),
        # Without one a reading below zero by more than U contradicts itself.
        (-0.125, 0.125, 1.0, 0.0, "pass"),
        (-0.1251, 0.125, 1.0, 0.0, "undecided"),
        # Both limits the same, and no uncertainty: only the limit itself passes.
        (1.0, 0.0, 1.0, 1.0, "pass"),
        (1.0, 0.125, 1.0, 1.0, "undecided"),
        (0.5, 0.0, 1.0, 0.5, "pass"),
        (math.inf, 0.0, 1.0, 0.0, "fail"),
        (-math.inf, 0.0, math.inf, 0.0, "fail"),
        (math.inf, 0.0, math.inf, 0.5, "pass"),
    ],
)
def test_the_rule_at_its_edges(measured: float, u: float, upper: float, lower: float, outcome: str) -> None:
    """JCGM 106:2012 with guard bands of U on both sides, each edge by hand."""
    assert judge(measured, u, upper, lower) == outcome
    if math.isfinite(measured):
        zone = zones(u, upper, lower)
        assert (outcome == "fail" and measured > zone.pass_to_ohm) == (measured > zone.fail_from_ohm)
        if outcome == "pass":
            assert (zone.pass_from_ohm if lower else -u) <= measured <= zone.pass_to_ohm


def test_zones_of_a_lower_and_an_upper_limit() -> None:
    found = zones(0.125, 1.0, 0.5)
    assert (found.pass_from_ohm, found.pass_to_ohm, found.fail_from_ohm) == (0.625, 0.875, 1.125)
    assert zones(0.125, 1.0).pass_from_ohm == 0.0


def test_nonsense_is_refused_each_for_itself() -> None:
    for measured, upper, lower in ((math.nan, 1.0, 0.0), (1.0, math.nan, 0.0), (1.0, 1.0, math.nan)):
        with pytest.raises(ValueError, match="numbers"):
            judge(measured, 0.1, upper, lower)
    for wrong in (-0.1, math.nan):
        with pytest.raises(ValueError, match="0 or more"):
            judge(1.0, wrong, 1.0)
    assert judge(1.0, 0.0, 1.0, 1.0) == "pass", "limits that meet are not crossed"
    for wrong in (0.0, -1.0, math.nan):
        with pytest.raises(ValueError, match="above 0"):
            conformance_probability(1.0, wrong, 2.0)


@pytest.mark.parametrize(
    ("limit", "sound", "u", "surely"), [(1.0, 0.75, 0.125, True), (1.0, 0.7501, 0.125, False)]
)
def test_a_bench_decides_surely_from_two_uncertainties_on(
    limit: float, sound: float, u: float, surely: bool
) -> None:
    assert surely_decided(limit, sound, u) is surely


def test_what_a_reading_bounds() -> None:
    assert bound_ohm(1.0, 0.25) == 1.25
    assert bound_ohm(1.0, 0.25, 1.1) == 1.1
    assert bound_ohm(1.0, 0.25, 0.0) == 0.0
