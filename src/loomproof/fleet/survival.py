"""How long things last where it is known only between which two looks each was lost, and many are still
good.

Turnbull's estimate: of all distributions the one under which what was seen is likeliest. Its mass lies in
the innermost intervals, those that begin where something was seen good, end where something was found lost,
and have neither between; where in one of them it lies nothing seen can tell. Each mass is the share of
things that is expected in it (B. W. Turnbull, The empirical distribution function with arbitrarily grouped,
censored and truncated data, J. R. Stat. Soc. B 38 (1976) 290; R. Peto, Experimental survival curves for
interval-censored data, Appl. Stat. 22 (1973) 86). Where every loss was seen on its day it is Kaplan and
Meier's. Rounds of that equation take turns with steps of the convex minorant (J. A. Wellner and Y. Zhan, A
hybrid algorithm for computation of the nonparametric maximum likelihood estimator from censored data, J. Am.
Stat. Assoc. 92 (1997) 945), until what was seen could be likelier by `TOLERANCE` at most.

Joints of one loom go through the same things. The interval of a share is that between which 95 % of the
estimates lie that are made anew of as many looms, drawn by chance with all their joints, some of them
several times (B. Efron and R. J. Tibshirani, An Introduction to the Bootstrap, 1993; whole clusters: C. A.
Field and A. H. Welsh, Bootstrapping clustered data, J. R. Stat. Soc. B 69 (2007) 369). It is drawn with a
fixed seed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np

    Floats = np.ndarray[Any, np.dtype[np.float64]]
    Whole = np.ndarray[Any, np.dtype[np.int64]]

DRAWS = 400
"""So many times looms are drawn: an end of a 95 % interval lies between the tenth and the eleventh."""

SEED = 20_261_129
FEWEST_LOOMS = 10
"""Looms below which no interval is drawn: of fewer, what is drawn strays less than looms do. Ours. Such
intervals hold the true share less often than 95 %: `tests/campaign/results/lasting.md` counts how often."""

TOLERANCE = 1e-3
"""By so much at most the logarithm of how likely all that was seen is may lie below the greatest there is."""
_MOST_ROUNDS = 500
_SHORTEST = 1e-4
_LEAST = 1e-12
_NO_MASS = 1e-3
"""Of one joint: what a mass that tends to nothing may have left when the steps end."""

Life = tuple[int, "int | None", int]
"""Joints of one loom: the last day on which they were seen good, that on which they were found lost (`None`:
not yet), in days since their first proof, and how many of them."""


@dataclass(frozen=True, slots=True)
class Step:
    """An innermost interval in which something was lost, with what share lasts longer, and its 95 %
    interval.

    It was lost after ``after_days`` and up to ``days``, which are one where it was seen on the day.
    ``at_risk`` were followed until ``days``, or to their loss; ``lost`` may have been lost in it. ``error``
    is how far the share strays between draws of looms, as a standard deviation. Of fewer than `FEWEST_LOOMS`
    looms nothing can be said of that: ``low`` is 0, ``high`` 1 and ``error`` 0.5, the most that a share can
    stray.
    """

    after_days: int
    days: int
    at_risk: int
    lost: int
    share: float
    error: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Kept:
    """The share that lasts longer than a day: between ``least`` and ``most``, which differ where that day is
    in an innermost interval; with the lower and upper end of their 95 % intervals.
    """

    least: float
    most: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Survival:
    """The estimate: ``joints`` of ``looms`` followed, ``lost`` of them, the longest for ``longest_days``.

    ``watched`` says for each day on which something ended how many were followed until then.
    ``bad_at_first`` were no good when they were first seen, and are in none of the other figures.
    """

    joints: int
    looms: int
    lost: int
    longest_days: int
    bad_at_first: int
    steps: tuple[Step, ...]
    watched: tuple[tuple[int, int], ...]

    def kept(self, days: int) -> Kept | None:
        """Return what share lasts longer than a day; ``None`` before anything may have been lost."""
        over = next((step for step in reversed(self.steps) if step.days <= days), None)
        within = next((step for step in self.steps if step.after_days < days < step.days), None)
        if over is None and within is None:
            return None
        least = within or over
        assert least is not None
        most, high = (over.share, over.high) if over else (1.0, 1.0)
        return Kept(least.share, most, least.low, high)

    def watched_for(self, days: int) -> int:
        """Return how many were followed for so many days or longer."""
        return next((count for day, count in self.watched if day >= days), 0)


def surviving(looms: Iterable[Sequence[Life]], *, bad_at_first: int = 0) -> Survival:
    """Estimate from the lives of each loom's joints."""
    import numpy as np

    # In an order of their own, so that whatever order they come in draws the same.
    clusters = sorted((sorted(loom, key=_ordered) for loom in looms if loom), key=_all_ordered)
    counted: Counter[tuple[int, int | None]] = Counter()
    for loom in clusters:
        for good, lost, count in loom:
            counted[good, lost] += count
    seen = sorted(counted, key=_ordered)
    watched = _watched(counted)
    joints, lost = counted.total(), sum(n for (_, day), n in counted.items() if day is not None)
    longest = watched[-1][0] if watched else 0
    if not lost:
        return Survival(joints, len(clusters), 0, longest, bad_at_first, (), watched)
    cells = _innermost(seen)
    starts, ends = [cell[0] for cell in cells], [cell[1] for cell in cells]
    halves = [_half(*each) for each in seen]
    first = np.searchsorted(starts, [begin for begin, _ in halves])
    last = np.searchsorted(ends, [end for _, end in halves], side="right") - 1
    # Kinds that lie in the same cells are one.
    ranges, place_of = np.unique(np.stack([first, last], axis=1), axis=0, return_inverse=True)
    place = dict(zip(seen, place_of.ravel().tolist(), strict=True))
    rows = [(n, place[good, day], count) for n, loom in enumerate(clusters) for good, day, count in loom]
    like = _Likelihood(ranges[:, 0], ranges[:, 1], len(cells))
    even = np.full(len(cells), 1.0 / len(cells))
    found: list[Floats] = []
    for weights in _drawn(rows, len(clusters), len(ranges)):
        found.append(_self_consistent(like, weights, 0.9 * found[0] + 0.1 * even if found else even))
    masses = np.array(found)
    shares = np.clip(1.0 - np.cumsum(masses, axis=1), 0.0, 1.0)
    return Survival(
        joints,
        len(clusters),
        lost,
        longest,
        bad_at_first,
        tuple(_steps(cells, masses[0], shares, counted, halves, seen)),
        watched,
    )


def _ordered(life: Sequence[Any]) -> tuple[Any, ...]:
    good, lost, *rest = life
    return (good, lost is None, lost or 0, *rest)


def _all_ordered(loom: Sequence[Life]) -> list[tuple[Any, ...]]:
    return [_ordered(each) for each in loom]


_NEVER = 2**62


def _half(good: int, lost: int | None) -> tuple[int, int]:
    """Return between which half days something was lost: behind the first, up to the second.

    What is found lost on the day on which it was good was lost on it, before what was seen last then is
    left.
    """
    if lost is None:
        return 2 * good, _NEVER
    return (2 * good if good < lost else 2 * lost - 1), 2 * lost


def _innermost(seen: Iterable[tuple[int, int | None]]) -> list[tuple[int, int]]:
    """Return the intervals, in half days, from a beginning to the next end where no beginning is between."""
    halves = [_half(*each) for each in seen]
    # An end comes before a beginning at the same place: the one is within, the other is not.
    marks = sorted([(begin, 1) for begin, _ in halves] + [(end, 0) for _, end in halves])
    return [(at, to) for (at, begins), (to, more) in pairwise(marks) if begins and not more]


def _watched(counted: Counter[tuple[int, int | None]]) -> tuple[tuple[int, int], ...]:
    ended: Counter[int] = Counter()
    for (good, lost), count in counted.items():
        ended[good if lost is None else lost] += count
    watched, left = [], ended.total()
    for day in sorted(ended):
        watched.append((day, left))
        left -= ended[day]
    return tuple(watched)


def _drawn(rows: Sequence[tuple[int, int, int]], looms: int, kinds: int) -> Iterator[Floats]:
    """Yield how many joints there are of each kind: as they are, then of looms drawn by chance, each time."""
    import numpy as np

    of_loom, of_kind, counts = (np.array(column) for column in zip(*rows, strict=True))
    yield np.bincount(of_kind, counts, kinds).astype(float)
    rng = np.random.default_rng(SEED)
    for _ in range(DRAWS if looms >= FEWEST_LOOMS else 0):
        times = np.bincount(rng.integers(looms, size=looms), minlength=looms)
        yield np.bincount(of_kind, counts * times[of_loom], kinds).astype(float)


class _Likelihood:
    """How likely masses of cells make what was seen; a kind of it lies in the cells ``first`` to ``last``."""

    def __init__(self, first: Whole, last: Whole, cells: int) -> None:
        self.first, self.last, self.cells = first, last, cells

    def of(self, below: Floats) -> Floats:
        """Return how likely each kind is; ``below`` is what lies below each cell, and at its end all."""
        import numpy as np

        found: Floats = np.maximum(below[self.last + 1] - below[self.first], 1e-300)
        return found

    def gains(self, below: Floats, weights: Floats) -> Floats:
        """Return by how much each mass grows in one round of the equation: 1 where it stays."""
        import numpy as np

        each = weights / self.of(below)
        ends = np.bincount(self.first, each, self.cells + 1) - np.bincount(
            self.last + 1, each, self.cells + 1
        )
        found: Floats = np.cumsum(ends)[: self.cells] / weights.sum()
        return found

    def said(self, below: Floats, weights: Floats) -> float:
        """Return the logarithm of how likely all of it is."""
        import numpy as np

        return float(weights @ np.log(self.of(below)))

    def minorant(self, below: Floats, weights: Floats) -> Floats:
        """Return a step of the convex minorant, half as long each time until what was seen is likelier."""
        import numpy as np
        from scipy.optimize import isotonic_regression

        each = weights / self.of(below)
        size = self.cells + 1
        slope = (np.bincount(self.last + 1, each, size) - np.bincount(self.first, each, size))[1:-1]
        square = each**2 / np.maximum(weights, 1e-300)
        bend = (np.bincount(self.last + 1, square, size) + np.bincount(self.first, square, size))[1:-1]
        bend = np.maximum(bend, 1e-9 * bend.max())
        there = isotonic_regression(below[1:-1] + slope / bend, weights=bend).x
        target = np.concatenate([[0.0], np.clip(there, 0.0, 1.0), [1.0]])
        before, part = self.said(below, weights), 1.0
        while part > _SHORTEST:
            ahead: Floats = below + part * (target - below)
            if self.said(ahead, weights) > before:
                return ahead
            part /= 2
        return below


def _self_consistent(like: _Likelihood, weights: Floats, begin: Floats) -> Floats:
    """Return the masses of all cells; ``begin`` are masses to begin with, none of them nothing."""
    import numpy as np

    kept = weights > 0.0
    part, weights = _Likelihood(like.first[kept], like.last[kept], like.cells), weights[kept]
    mass = begin
    for _ in range(_MOST_ROUNDS):
        below = np.concatenate([[0.0], np.cumsum(mass)])
        below /= below[-1]
        gain = part.gains(below, weights)
        if (float(gain.max()) - 1.0) * weights.sum() <= TOLERANCE:
            break
        mass = mass * gain
        below = np.concatenate([[0.0], np.cumsum(mass)])
        below /= below[-1]
        mass = np.diff(part.minorant(below, weights))
        # What the step took to nothing may have to come back.
        mass = np.maximum(mass, _LEAST)
    found: Floats = mass / mass.sum()
    return found


def _steps(
    cells: Sequence[tuple[int, int]],
    masses: Floats,
    shares: Floats,
    counted: Counter[tuple[int, int | None]],
    halves: Sequence[tuple[int, int]],
    seen: Sequence[tuple[int, int | None]],
) -> Iterable[Step]:
    import numpy as np

    for number, ((begin, end), mass) in enumerate(zip(cells, masses, strict=True)):
        if end == _NEVER or mass * counted.total() < _NO_MASS:
            continue
        drawn, days = shares[1:, number], end // 2
        low, high, error = 0.0, 1.0, 0.5
        if len(drawn):
            low, high = (float(each) for each in np.quantile(drawn, (0.025, 0.975)))
            error = float(drawn.std(ddof=1))
        within = (each for each, (a, b) in zip(seen, halves, strict=True) if a <= begin and b >= end)
        yield Step(
            (begin + 1) // 2,
            days,
            sum(n for (good, lost), n in counted.items() if (good if lost is None else lost) >= days),
            sum(counted[each] for each in within if each[1] is not None),
            float(shares[0, number]),
            error,
            min(low, float(shares[0, number])),
            max(high, float(shares[0, number])),
        )
