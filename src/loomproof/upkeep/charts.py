"""Control charts of one quantity over time: each single reading (Shewhart), and their weighted mean (EWMA).

The middle line is the mean of the first `BASELINE` readings, and the spread their standard deviation s.
Single readings: ISO 7870-2 (Shewhart charts). Weighted mean z_i = λ x_i + (1 - λ) z_(i-1), z_0 the middle
line, variance σ² λ/(2 - λ) (1 - (1 - λ)^(2i)): ISO 7870-6, and the NIST/SEMATECH e-Handbook of Statistical
Methods, 6.3.2.4 (numbers from memory).

Those give ±3 σ with σ known. Here the middle line and s come from few readings and there are many charts,
so the limits are wider, by a rule of our own with a bound that holds: a later reading less the middle line,
over s √(1 + 1/n), is Student's t with n - 1 degrees of freedom for independent normal readings, and so is the
weighted mean over s √(its variance factor + 1/n), since both are independent of s. With the quantile that is
exceeded with the chance α, the expected number of readings outside is α for each reading and chart, however
the charts hang together (Boole). `chance_of` shares a number of false alarms in a year of daily tests out.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

BASELINE = 20
"""So many first readings make middle line and spread. ISO 7870-2 asks for about 20 to 25 (from memory)."""

WEIGHT = 0.1
"""λ of the weighted mean: small, for slow drift; 0.05 to 0.25 is usual (from memory)."""

ALARMS_A_YEAR = 0.5
"""Bound on the false alarms of all charts together in a year of daily tests. Ours; under 1 is promised."""

TESTS_A_YEAR = 365

Rule = Literal["single reading", "weighted mean"]


@dataclass(frozen=True, slots=True)
class Point:
    """One reading: when it was made (RFC 3339), and what it was."""

    date: str
    value: float


@dataclass(frozen=True, slots=True)
class Alarm:
    """The first reading that lay outside by a rule: its place among the points; ``above`` the upper limit."""

    rule: Rule
    at: int
    above: bool


@dataclass(frozen=True, slots=True)
class Chart:
    """Points with middle line, spread ``sd``, and for each later one the weighted mean and its half width.

    ``half`` is the half width for single readings. ``weighted`` and ``weighted_half`` begin after the first
    `BASELINE` points. ``alarms`` holds the first alarm of each rule.
    """

    points: tuple[Point, ...]
    middle: float
    sd: float
    half: float
    weighted: tuple[float, ...]
    weighted_half: tuple[float, ...]
    alarms: tuple[Alarm, ...]

    @property
    def shift(self) -> float:
        """How far the weighted mean stands from the middle line now."""
        return self.weighted[-1] - self.middle if self.weighted else 0.0

    @property
    def out_now(self) -> bool:
        """Whether the last reading, or the weighted mean at it, lies outside."""
        if not self.weighted:
            return False
        last = abs(self.points[-1].value - self.middle) > self.half
        return last or abs(self.shift) > self.weighted_half[-1]

    @property
    def onset(self) -> int | None:
        """The place of the last point at which nothing had begun yet; ``None`` without an alarm.

        Of the alarm that came first: the last one before it where the weighted mean stood on the middle line
        or beyond it (the estimate of the change point that Nishina gave for this chart, 1992; from memory).
        """
        if not self.alarms:
            return None
        first = min(self.alarms, key=lambda alarm: alarm.at)
        sign = 1.0 if first.above else -1.0
        at = first.at - 1
        rounding = 1e-9 * self.sd
        while at >= BASELINE and (self.weighted[at - BASELINE] - self.middle) * sign > rounding:
            at -= 1
        return at


def chance_of(charts: int, alarms_a_year: float = ALARMS_A_YEAR) -> float:
    """Return the chance α of each rule at each reading that keeps ``charts`` quantities to so many alarms.

    Each quantity has two rules. Raises `ValueError` for fewer than one chart.
    """
    if charts < 1:
        raise ValueError(f"{charts} charts: 1 or more is expected")
    return alarms_a_year / (TESTS_A_YEAR * 2 * charts)


def weighted_means(values: Sequence[float], middle: float, weight: float) -> tuple[float, ...]:
    """Return z_1, z_2, … of the values, with z_0 the middle line."""
    found, z = [], middle
    for value in values:
        z = weight * value + (1.0 - weight) * z
        found.append(z)
    return tuple(found)


def variance_factor(weight: float, i: int) -> float:
    """Return the variance of z_i over that of one reading: λ/(2 - λ) (1 - (1 - λ)^(2i))."""
    return weight / (2.0 - weight) * (1.0 - (1.0 - weight) ** (2 * i))


def chart(points: Sequence[Point], chance: float) -> Chart | None:
    """Return the chart of these points, oldest first; ``None`` for no more than `BASELINE` of them.

    ``chance`` is α of each rule at each reading, both sides together. Where readings come in steps (a
    meter's last digit), the spread is at least that of one step, step/√12 (JCGM 100:2008, F.2.2.1).
    Raises `ValueError` for a value that is not finite, or a chance that is none.
    """
    from scipy.special import stdtrit

    if not 0.0 < chance < 1.0:
        raise ValueError(f"chance {chance}: between 0 and 1 is expected")
    values = [point.value for point in points]
    if not all(map(math.isfinite, values)):
        raise ValueError("only finite readings can be charted")
    if len(values) <= BASELINE:
        return None
    first, later = values[:BASELINE], values[BASELINE:]
    middle = statistics.fmean(first)
    sd = max(statistics.stdev(first), _step(values) / math.sqrt(12.0))
    factor = float(stdtrit(BASELINE - 1, 1.0 - chance / 2.0))
    half = factor * sd * math.sqrt(1.0 + 1.0 / BASELINE)
    weighted = weighted_means(later, middle, WEIGHT)
    halves = tuple(
        factor * sd * math.sqrt(variance_factor(WEIGHT, i) + 1.0 / BASELINE) for i in range(1, len(later) + 1)
    )
    alarms: list[Alarm] = []
    both: tuple[tuple[Rule, Sequence[float], Sequence[float]], ...] = (
        ("single reading", later, [half] * len(later)),
        ("weighted mean", weighted, halves),
    )
    for rule, found, limits in both:
        outside = (i for i, value in enumerate(found) if abs(value - middle) > limits[i])
        i = next(outside, None)
        if i is not None:
            alarms.append(Alarm(rule, BASELINE + i, found[i] > middle))
    return Chart(tuple(points), middle, sd, half, weighted, halves, tuple(alarms))


def _step(values: Sequence[float]) -> float:
    """Return the least step between two different readings, 0 where all are alike."""
    ordered = sorted(set(values))
    return min((b - a for a, b in pairwise(ordered)), default=0.0)


def evened(spread: float) -> float:
    """Return a standard deviation as what is near enough normal to be charted: s^(2/3).

    The cube root of a variance of normal readings is nearly normal (Wilson and Hilferty, 1931), at s = 0 too.
    """
    return math.pow(spread, 2.0 / 3.0)


def spread_of(even: float) -> float:
    """Return the standard deviation that `evened` made this of; 0 for less than nothing."""
    return math.pow(max(even, 0.0), 1.5)
