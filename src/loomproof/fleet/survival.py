"""How long things last where most of them are still good when they were last seen: Kaplan and Meier's
estimate.

Kaplan and Meier, Nonparametric estimation from incomplete observations, J. Am. Stat. Assoc. 53 (1958) 457;
its variance by Greenwood's formula, its interval on the scale log(−log S), which stays between 0 and 1
(Kalbfleisch and Prentice, The Statistical Analysis of Failure Time Data). What is lost on a day is lost
before what was last seen on it is taken out, as they say.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

Z_95 = 1.959963984540054
"""The normal distribution's 97.5 % point (tabulated everywhere; a test holds it to scipy)."""


@dataclass(frozen=True, slots=True)
class Step:
    """A day on which something was lost: of how many, and what share lasts longer, with its 95 % interval.

    ``error`` is Greenwood's standard error of ``share``.
    """

    days: int
    at_risk: int
    lost: int
    share: float
    error: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Survival:
    """The estimate: ``joints`` followed, ``lost`` of them, the longest for ``longest_days``, and its steps.

    ``watched`` says for each day on which something ended how many were followed until then.
    ``bad_at_first`` were no good when they were first seen, and are in none of the other figures.
    """

    joints: int
    lost: int
    longest_days: int
    bad_at_first: int
    steps: tuple[Step, ...]
    watched: tuple[tuple[int, int], ...]

    def until(self, days: int) -> Step | None:
        """Return the last step up to a day, which says what share lasts longer; ``None`` before the first."""
        return next((step for step in reversed(self.steps) if step.days <= days), None)

    def watched_for(self, days: int) -> int:
        """Return how many were followed for so many days or longer."""
        return next((count for day, count in self.watched if day >= days), 0)


def surviving(lives: Iterable[tuple[int, bool, int]], *, bad_at_first: int = 0) -> Survival:
    """Estimate from (days, whether lost then, how many of them)."""
    lost: dict[int, int] = defaultdict(int)
    left: dict[int, int] = defaultdict(int)
    for days, is_lost, count in lives:
        (lost if is_lost else left)[days] += count
    total = at_risk = sum(lost.values()) + sum(left.values())
    share, greenwood = 1.0, 0.0
    steps, watched = [], []
    for days in sorted({*lost, *left}):
        watched.append((days, at_risk))
        if gone := lost[days]:
            share *= 1 - gone / at_risk
            greenwood += gone / (at_risk * (at_risk - gone)) if at_risk > gone else math.inf
            steps.append(_step(days, at_risk, gone, share, greenwood))
        at_risk -= lost[days] + left[days]
    longest = watched[-1][0] if watched else 0
    return Survival(total, sum(lost.values()), longest, bad_at_first, tuple(steps), tuple(watched))


def _step(days: int, at_risk: int, lost: int, share: float, greenwood: float) -> Step:
    if share <= 0.0 or math.isinf(greenwood):
        # All that were left are lost: neither formula says anything of it.
        return Step(days, at_risk, lost, 0.0, math.nan, 0.0, math.nan)
    error = share * math.sqrt(greenwood)
    width = Z_95 * math.sqrt(greenwood) / abs(math.log(share))
    return Step(days, at_risk, lost, share, error, share ** math.exp(width), share ** math.exp(-width))
