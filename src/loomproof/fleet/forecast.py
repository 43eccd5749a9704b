"""Joints whose readings rise: the line through them, whether it is above the noise, and when it meets the
limit.

The line is that of least squares. Where it meets a given value is Fieller's interval: all moments at which
that value lies within the 95 % confidence band of the line (E. C. Fieller, Some problems in interval
estimation, J. R. Stat. Soc. B 16 (1954) 175; as inverse prediction in Draper and Smith, Applied Regression
Analysis). It is about the line; a single reading strays around it. That a straight line goes on is an
assumption, and each forecast says for how long it was seen to hold.

Of very many joints some rise by chance. Whether each rises is tested by one side of Student's distribution,
and all are tested together, so that of those which are told no more than one in twenty is expected to (Y.
Benjamini and Y. Hochberg, Controlling the false discovery rate, J. R. Stat. Soc. B 57 (1995) 289). Joints
that fall are among those that were looked at and say nothing else: one that a worn lead let fall must not
make room for one that rises by chance. That rate holds where joints scatter each by itself, and for one look.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from loomproof.results.drift import Drift

CONFIDENCE = 0.95
FALSE_SHARE = 0.05
"""Of the joints that are told, the share that is expected to rise by chance."""

FARTHEST = 3
"""A day is told if it is no farther beyond the last reading than so many times as long as readings were
seen to lie on a line. Ours."""

_DAY_S = 86_400
_FORECASTS_END = datetime.date(2200, 1, 1)


@dataclass(frozen=True, slots=True)
class Line:
    """Sums over a joint's readings r (µΩ) at times t (s since ``begin_s``, which is in seconds since
    1970)."""

    readings: int
    sum_t: int
    sum_r: int
    sum_tt: int
    sum_tr: int
    sum_rr: int
    begin_s: int
    first_s: int
    last_s: int
    last_micro_ohm: int
    limit_micro_ohm: int

    @property
    def centred(self) -> tuple[Fraction, Fraction, Fraction]:
        """Sums of squares and products about the means, exact: of t, of t and r, of r."""
        n = self.readings
        return (
            Fraction(n * self.sum_tt - self.sum_t**2, n),
            Fraction(n * self.sum_tr - self.sum_t * self.sum_r, n),
            Fraction(n * self.sum_rr - self.sum_r**2, n),
        )


@dataclass(frozen=True, slots=True)
class Fit:
    """A line of least squares: slope in µΩ a second, its standard error, and what readings stray by (µΩ)."""

    slope: float
    error: float
    scatter: float
    mean_t_s: float
    mean_r: float
    spread_tt: float
    free: int

    @property
    def beyond(self) -> float:
        """How many standard errors the slope is above none, which Student's test of a slope asks; below it
        less than nothing."""
        if self.error == 0.0:
            return math.copysign(math.inf, self.slope) if self.slope else 0.0
        return self.slope / self.error


YEAR_S = 365.25 * _DAY_S


def fit(line: Line) -> Fit:
    """Return the line of least squares. Its sums are exact, so that nothing is lost by their differences."""
    tt, tr, rr = line.centred
    slope = tr / tt
    free = line.readings - 2
    left = float(rr - tr * tr / tt)
    scatter = math.sqrt(max(left, 0.0) / free)
    return Fit(
        float(slope),
        scatter / math.sqrt(tt),
        scatter,
        line.sum_t / line.readings,
        line.sum_r / line.readings,
        float(tt),
        free,
    )


def meeting(found: Fit, readings: int, level: float, times: float) -> tuple[float, float, float] | None:
    """Return when a line meets a level, with Fieller's interval, on the scale of its times.

    ``times`` is the point of Student's distribution to take. ``None`` where the slope's own interval holds 0:
    the interval has no end then.
    """
    if found.slope == 0.0:
        return None
    g = (times * found.error / found.slope) ** 2
    if g >= 1.0:
        return None
    away = (level - found.mean_r) / found.slope
    half = abs(times * found.scatter / found.slope) * math.sqrt(
        (1 - g) / readings + away**2 / found.spread_tt
    )
    return (
        found.mean_t_s + away,
        found.mean_t_s + (away - half) / (1 - g),
        found.mean_t_s + (away + half) / (1 - g),
    )


def drifting(lines: Sequence[tuple[tuple[str, str, str], Line]], tested: int) -> tuple[Drift, ...]:
    """Return those of the joints (loom, serial, joint) that rise above the noise, the soonest first.

    ``tested`` is how many joints were looked at, these among them. None is told whose slope's own interval
    holds 0, however few were tested. A joint that is over its limit beyond doubt drifts no more
    towards it: it is a finding.
    """
    if not lines:
        return ()
    from scipy.special import stdtr, stdtrit

    fits = [(name, line, fit(line)) for name, line in lines]
    ranked = sorted(
        (float(stdtr(found.free, -found.beyond)), name, line, found) for name, line, found in fits
    )
    rising = 0
    for place, (chance, *_) in enumerate(ranked, 1):
        if chance <= min(FALSE_SHARE * place / tested, (1 - CONFIDENCE) / 2):
            rising = place
    told = [
        _drift(name, line, found, float(stdtrit(found.free, (1 + CONFIDENCE) / 2)))
        for _, name, line, found in ranked[:rising]
    ]
    return tuple(sorted(told, key=_soonest))


def _soonest(joint: Drift) -> tuple[datetime.date, float, str, str, str]:
    return (joint.meets or _FORECASTS_END, -joint.slope_ohm_a_year, joint.loom, joint.serial, joint.joint)


def _drift(name: tuple[str, str, str], line: Line, found: Fit, times: float) -> Drift:
    a_year = YEAR_S * 1e-6
    met = meeting(found, line.readings, line.limit_micro_ohm, times)
    seen_s = line.last_s - line.first_s
    days: tuple[datetime.date | None, ...] = (None, None, None)
    if met is not None and met[0] <= line.last_s + FARTHEST * seen_s:
        days = tuple(_day(line.begin_s + at_s) for at_s in met)
    return Drift(
        *name,
        readings=line.readings,
        days=seen_s // _DAY_S,
        last_ohm=line.last_micro_ohm * 1e-6,
        limit_ohm=line.limit_micro_ohm * 1e-6,
        slope_ohm_a_year=found.slope * a_year,
        slope_from=(found.slope - times * found.error) * a_year,
        slope_to=(found.slope + times * found.error) * a_year,
        meets=days[0],
        meets_from=days[1],
        meets_to=days[2],
    )


def _day(at_s: float) -> datetime.date | None:
    days = math.floor(at_s / _DAY_S)
    day = datetime.date(1970, 1, 1)
    if not 0 <= days < (_FORECASTS_END - day).days:
        return None
    return day + datetime.timedelta(days)
