"""Fewest sets of bounded size that bring together what must meet: the search behind hook-ups.

Units (connectors) carry sizes (cavities). A row is a pair of unit masks: some chosen set must hold a unit
of each. A covering design C(v, k, 2) is the case of v units of size 1 in which all pairs must meet.
Statements and references stand in ``THEORY.md``. Equal input gives equal output: chance is seeded, and
the exact search is bounded by nodes; its time limit only guards against a machine that is far too slow.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from loomproof.bench.seam import singles

Row = tuple[int, int]

MOST_COLUMNS = 6_000
"""Up to this many maximal sets all of them are listed, and the search is exact if it ends."""

MOST_LISTED_UNITS = 15
"""Above this many units the maximal sets are not listed: there are too many even to count."""

RATIO = {1: 1.0, 3: 3 / 2, 4: 5 / 3, 5: 9 / 5, 6: 2.0, 7: 7 / 3, 8: 12 / 5, 9: 5 / 2, 10: 8 / 3, 11: 14 / 5}
"""Most of total size / capacity that m sets can bring together pair by pair; m = 2 helps no more than 1.

From memory (the fractional matchings of small intersecting families; m of 7 and up after Mills 1979). The
tests hold it against the covering designs known; a bound that rests on it says so in ``Cover.by``.
"""


@dataclass(frozen=True, slots=True)
class Problem:
    """What must meet. ``limits`` are (mask, most of them in one set); ``stay`` is in every set."""

    sizes: tuple[int, ...]
    capacity: int
    rows: tuple[Row, ...]
    limits: tuple[tuple[int, int], ...] = ()
    stay: int = 0

    def size(self, mask: int) -> int:
        """The points that a set takes."""
        return sum(self.sizes[u] for u in units_of(mask))

    def fits(self, mask: int) -> bool:
        """Whether a set with all that stays is within capacity and limits."""
        whole = mask | self.stay
        return self.size(whole) <= self.capacity and all(
            (whole & group).bit_count() <= most for group, most in self.limits
        )

    def impossible(self) -> tuple[Row, ...]:
        """The rows that no fitting set covers: no pair of units, one of each side, fits."""
        return tuple(
            (a, b)
            for a, b in self.rows
            if not any(self.fits(1 << u | 1 << v) for u in units_of(a) for v in units_of(b))
        )


@dataclass(frozen=True, slots=True)
class Cover:
    """Sets that cover all rows. ``bound``: no fewer can; ``by`` says which bound that is.

    ``others`` are further covers with as many sets.
    """

    sets: tuple[int, ...]
    bound: int
    by: str
    others: tuple[tuple[int, ...], ...] = ()

    @property
    def optimal(self) -> bool:
        """Whether fewer sets are proved impossible."""
        return len(self.sets) == self.bound


def units_of(mask: int) -> Iterator[int]:
    """Yield the units of a mask, lowest first."""
    return (one.bit_length() - 1 for one in singles(mask))


def undominated(rows: Iterable[Row]) -> tuple[Row, ...]:
    """Return the rows that are not covered whenever another is."""
    whole = sorted({(min(row), max(row)) for row in rows}, key=lambda r: (sum(m.bit_count() for m in r), r))
    kept: list[Row] = []
    for a, b in whole:
        if not any((not x & ~a and not y & ~b) or (not x & ~b and not y & ~a) for x, y in kept):
            kept.append((a, b))
    return tuple(kept)


def covers(sets: Iterable[int], row: Row) -> bool:
    """Whether one of the sets holds a unit of each side."""
    return any(chosen & row[0] and chosen & row[1] for chosen in sets)


def cover(
    problem: Problem, *, seed: int = 1, tries: int = 60, nodes: int = 2000, most_s: float = 8.0
) -> Cover:
    """Return as few sets as were found, and the best lower bound.

    Every row must be coverable (`Problem.impossible` is empty). Raises `ValueError` where it is not.
    """
    if problem.impossible():
        raise ValueError("a row cannot be covered by any set within capacity")
    if not problem.rows:
        # Nothing need meet anything: plug whatever there is, one after the other.
        return Cover((problem.stay,) if problem.stay else (), int(bool(problem.stay)), "nothing must meet")
    bound, by = lower_bound(problem)
    rng = random.Random(seed)
    columns = maximal_sets(problem)
    found: set[tuple[int, ...]] = set()
    listed = columns is not None
    if columns is None:
        pool: set[int] = set()
        for _ in range(tries):
            sets = _grown(problem, rng)
            pool |= set(sets)
            found.add(tuple(sorted(sets)))
        columns = tuple(sorted(pool))
    matrix = _matrix(columns, problem.rows)
    for _ in range(tries):
        picked = _picked(matrix, rng)
        found.add(tuple(sorted(columns[k] for k in picked)))
        if listed and min(map(len, found)) == bound:
            break
    if min(map(len, found)) > bound:
        exact, proved = _exact(matrix, bound, min(map(len, found)), nodes, most_s)
        if exact:
            found.add(tuple(sorted(columns[k] for k in exact)))
        if listed and proved > bound:
            bound, by = proved, "branch and bound over all maximal sets"
    fewest = min(map(len, found))
    best = sorted(sets for sets in found if len(sets) == fewest)
    return Cover(best[0], min(bound, fewest), by, tuple(best[1:]))


def lower_bound(problem: Problem) -> tuple[int, str]:
    """Return the best of the counting bounds, and its name."""
    capacity = problem.capacity - problem.size(problem.stay)
    partners: dict[int, set[int]] = {}
    for a, b in problem.rows:
        if a.bit_count() == b.bit_count() == 1 and not (a | b) & problem.stay:
            u, v = a.bit_length() - 1, b.bit_length() - 1
            partners.setdefault(u, set()).add(v)
            partners.setdefault(v, set()).add(u)
    times = {}
    for u, others in partners.items():
        others = others - {u}
        room = capacity - problem.sizes[u]
        times[u] = max(1, math.ceil(sum(problem.sizes[v] for v in others) / room)) if room > 0 else 1
    single = {m.bit_length() - 1 for row in problem.rows for m in row if m.bit_count() == 1}
    bounds = [(1, "one at least")]
    for u, count in times.items():
        bounds.append((count, f"room beside unit {u}"))
    weight = sum(problem.sizes[u] * times.get(u, 1) for u in single | set(times) if not problem.stay >> u & 1)
    if capacity > 0:
        bounds.append((math.ceil(weight / capacity), "counting plug-ins against points, Schönheim's bound"))
        clique = _clique(problem, partners)
        ratio = sum(problem.sizes[u] for u in clique) / capacity
        if clique:
            need = next((m for m in sorted(RATIO) if RATIO[m] >= ratio - 1e-9), max(RATIO) + 1)
            bounds.append((need, "the ratio of cavities to points"))
    return max(bounds, key=lambda found: found[0])


def _clique(problem: Problem, partners: dict[int, set[int]]) -> list[int]:
    chosen: list[int] = []
    for u in sorted(partners, key=lambda u: (-problem.sizes[u], u)):
        if all(u in partners[v] for v in chosen):
            chosen.append(u)
    return chosen


def maximal_sets(problem: Problem) -> tuple[int, ...] | None:
    """Return all sets that fit and to which nothing can be added; ``None`` where there are too many."""
    free = [u for u in range(len(problem.sizes)) if not problem.stay >> u & 1]
    free.sort(key=lambda u: (-problem.sizes[u], u))
    if len(free) > MOST_LISTED_UNITS:
        return None
    found: list[int] = []

    def extend(k: int, chosen: int, skipped: tuple[int, ...]) -> None:
        if len(found) > MOST_COLUMNS:
            return
        if k == len(free):
            if not any(problem.fits(chosen | 1 << u) for u in skipped):
                found.append(chosen)
            return
        u = free[k]
        if problem.fits(chosen | 1 << u):
            extend(k + 1, chosen | 1 << u, skipped)
            extend(k + 1, chosen, (*skipped, u))
        else:
            extend(k + 1, chosen, skipped)

    extend(0, problem.stay, ())
    return tuple(found) if len(found) <= MOST_COLUMNS else None


def _matrix(columns: Sequence[int], rows: Sequence[Row]) -> npt.NDArray[np.float32]:
    return np.array([[bool(c & a) and bool(c & b) for a, b in rows] for c in columns], dtype=np.float32)


def _picked(matrix: npt.NDArray[np.float32], rng: random.Random) -> list[int]:
    """Pick columns greedily, ties by chance, then drop those that the others make redundant."""
    open_rows = np.ones(matrix.shape[1], dtype=np.float32)
    picked: list[int] = []
    while open_rows.any():
        gains = matrix @ open_rows
        best = np.flatnonzero(gains >= gains.max() - (rng.random() < 0.15))
        k = int(best[rng.randrange(len(best))])
        if gains[k] <= 0:
            continue
        picked.append(k)
        open_rows[matrix[k] > 0] = 0
    for k in rng.sample(picked, len(picked)):
        rest = [other for other in picked if other != k]
        if rest and matrix[rest].max(axis=0).all():
            picked = rest
    return picked


def _exact(
    matrix: npt.NDArray[np.float32], bound: int, known: int, nodes: int, most_s: float
) -> tuple[list[int], int]:
    """Solve the covering by branch and bound (HiGHS); return a better cover if found, and the bound."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_matrix

    columns, _rows = matrix.shape
    result = milp(
        np.ones(columns),
        integrality=np.ones(columns, dtype=np.intp),
        bounds=Bounds(0, 1),
        constraints=[
            LinearConstraint(csr_matrix(matrix.T), 1, np.inf),
            LinearConstraint(np.ones((1, columns)), bound, known),
        ],
        options={"time_limit": most_s, "node_limit": nodes},
    )
    dual = result.mip_dual_bound if result.mip_dual_bound is not None else bound
    proved = max(bound, math.ceil(dual - 1e-6)) if math.isfinite(dual) else bound
    if result.x is None:
        return [], min(proved, known)
    return [k for k, value in enumerate(result.x) if value > 0.5], min(proved, known)


def _grown(problem: Problem, rng: random.Random) -> list[int]:
    """Grow sets unit by unit for problems with too many maximal sets to list."""
    rows = problem.rows
    left = [sum(1 << r for r, row in enumerate(rows) if row[0] >> u & 1) for u in range(len(problem.sizes))]
    right = [sum(1 << r for r, row in enumerate(rows) if row[1] >> u & 1) for u in range(len(problem.sizes))]
    open_rows = (1 << len(rows)) - 1
    sets: list[int] = []
    while open_rows:
        chosen = problem.stay
        a = b = 0
        for u in units_of(chosen):
            a, b = a | left[u], b | right[u]
        free = [u for u in range(len(problem.sizes)) if not chosen >> u & 1]
        if not a & b & open_rows:
            # Begin with a row that is not covered yet, by a pair that fits.
            r = rng.choice(list(units_of(open_rows)))
            pairs = [
                1 << u | 1 << v
                for u in units_of(rows[r][0])
                for v in units_of(rows[r][1])
                if problem.fits(1 << u | 1 << v)
            ]
            chosen |= rng.choice(pairs)
            for u in units_of(chosen):
                a, b = a | left[u], b | right[u]
        while True:
            done = (a & b & open_rows).bit_count()
            # What stands in the set fits, so one more unit is asked for its own size and limits only.
            room = problem.capacity - problem.size(chosen)
            barred = chosen
            for group, most in problem.limits:
                if (chosen & group).bit_count() >= most:
                    barred |= group
            options = []
            for u in free:
                if barred >> u & 1 or problem.sizes[u] > room:
                    continue
                na, nb = a | left[u], b | right[u]
                gain = (na & nb & open_rows).bit_count() - done
                half = ((left[u] | right[u]) & open_rows).bit_count() / 64
                options.append((((gain + half) * (0.7 + 0.6 * rng.random())) / problem.sizes[u] ** 0.5, u))
            if not options:
                break
            score, u = max(options)
            if score <= 0:
                break
            chosen |= 1 << u
            a, b = a | left[u], b | right[u]
        open_rows &= ~(a & b)
        sets.append(chosen)
    for chosen in rng.sample(sets, len(sets)):
        rest = list(sets)
        rest.remove(chosen)
        if rest and all(covers(rest, row) for row in rows):
            sets = rest
    return sets


def trimmed(problem: Problem, sets: Sequence[int], order: Sequence[int]) -> list[int]:
    """Take out of each set the units that no row needs there, looking at units in this order."""
    kept = list(sets)
    counts = [sum(covers([chosen], row) for chosen in kept) for row in problem.rows]
    for k in range(len(kept)):
        for u in order:
            if not kept[k] >> u & 1 or problem.stay >> u & 1:
                continue
            without = kept[k] & ~(1 << u)
            lost = [
                r
                for r, row in enumerate(problem.rows)
                if (row[0] | row[1]) >> u & 1 and covers([kept[k]], row) and not covers([without], row)
            ]
            if all(counts[r] > 1 for r in lost):
                kept[k] = without
                for r in lost:
                    counts[r] -= 1
    return kept
