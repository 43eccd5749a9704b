"""Control charts against a published example, against Student's t, and against drift."""

from __future__ import annotations

import math
import random
import statistics

import pytest
from scipy import stats

from loomproof.upkeep.charts import (
    ALARMS_A_YEAR,
    BASELINE,
    TESTS_A_YEAR,
    Point,
    chance_of,
    chart,
    evened,
    spread_of,
    variance_factor,
    weighted_means,
)


def points(values: list[float]) -> list[Point]:
    return [Point(f"2031-05-01T00:{i // 60:02d}:{i % 60:02d}Z", value) for i, value in enumerate(values)]


def test_the_handbook_s_example_of_weighted_means() -> None:
    """NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4, figures from memory (they agree among each
    other): EWMA0 = 50, s = 2.0539, λ = 0.3, limits 52.5884 and 47.4115."""
    read = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5]
    read += [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    printed = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33]
    printed += [50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99]
    assert weighted_means(read, 50.0, 0.3) == pytest.approx(printed, abs=0.0051)
    half = 3.0 * 2.0539 * math.sqrt(variance_factor(0.3, 1000))
    assert (50.0 + half, 50.0 - half) == pytest.approx((52.5884, 47.4115), abs=0.0006)


def test_limits_are_those_of_student_s_t() -> None:
    rng = random.Random(3)
    values = [rng.gauss(10.0, 2.0) for _ in range(BASELINE + 5)]
    found = chart(points(values), 0.001)
    assert found is not None
    first = values[:BASELINE]
    t = stats.t.ppf(0.9995, BASELINE - 1)
    assert found.middle == pytest.approx(statistics.fmean(first))
    assert found.half == pytest.approx(t * statistics.stdev(first) * math.sqrt(1 + 1 / BASELINE))
    wide = t * statistics.stdev(first) * math.sqrt(0.1**2 + 1 / BASELINE)
    assert found.weighted_half[0] == pytest.approx(wide)


def test_the_bound_is_shared_by_all_rules_of_all_charts() -> None:
    assert chance_of(5) * TESTS_A_YEAR * 2 * 5 == pytest.approx(ALARMS_A_YEAR)
    with pytest.raises(ValueError, match="1 or more"):
        chance_of(0)


def test_the_first_readings_alone_are_no_chart() -> None:
    assert chart(points([1.0] * BASELINE), 0.001) is None
    assert chart(points([1.0] * (BASELINE + 1)), 0.001) is not None


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_what_is_no_figure_is_not_charted(value: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        chart(points([0.0] * BASELINE + [value]), 0.001)
    with pytest.raises(ValueError, match="chance"):
        chart(points([0.0] * 30), 0.0)


def test_a_jump_is_told_at_once_and_by_the_single_reading() -> None:
    rng = random.Random(5)
    values = [rng.gauss(0.0, 1.0) for _ in range(60)] + [12.0, 0.0, 0.1]
    found = chart(points(values), 1e-4)
    assert found is not None
    assert ("single reading", 60, True) in {(each.rule, each.at, each.above) for each in found.alarms}


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_slow_drift_is_told_by_the_weighted_mean_and_dated_from_before_it_is_told(sign: float) -> None:
    rng = random.Random(7)
    begun = 60
    values = [rng.gauss(5.0, 1.0) + sign * 0.08 * max(i - begun, 0) for i in range(160)]
    found = chart(points(values), 1e-4)
    assert found is not None
    first = min(found.alarms, key=lambda alarm: alarm.at)
    assert first.rule == "weighted mean"
    assert first.above == (sign > 0)
    assert found.onset is not None
    assert begun - 15 <= found.onset < first.at
    assert found.out_now
    assert found.shift * sign > 2.0


def test_one_last_digit_is_no_alarm_and_staying_there_is() -> None:
    steady = [0.30] * 40
    once = chart(points([*steady, 0.31, 0.30]), 1e-4)
    assert once is not None
    assert once.alarms == ()
    stays = chart(points([*steady, *[0.31] * 30]), 1e-4)
    assert stays is not None
    assert [alarm.rule for alarm in stays.alarms] == ["weighted mean"]
    assert stays.onset == 39


def test_a_spread_goes_to_the_chart_and_back() -> None:
    assert spread_of(evened(0.0034)) == pytest.approx(0.0034)
    assert (evened(0.0), spread_of(-1e-9)) == (0.0, 0.0)
    # Nearly normal: the skewness of the cube root of a variance with 24 degrees of freedom (own draw).
    rng = random.Random(11)
    drawn = [evened(math.sqrt(rng.gammavariate(12.0, 1.0 / 12.0))) for _ in range(20_000)]
    assert abs(stats.skew(drawn)) < 0.06
