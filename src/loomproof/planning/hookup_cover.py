"""Fewest sets of bounded size that bring together what must meet: the search behind hook-ups.

Units (connectors) carry sizes (cavities). A row is a pair of unit masks: some chosen set must hold a unit
of each. A covering design C(v, k, 2) is the case of v units of size 1 in which all pairs must meet.
Statements and references stand in ``THEORY.md``. Equal input gives equal output: chance is seeded, and
the exact search is bounded by nodes; its time limit only guards against a machine that is far too slow.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from loomproof.planning.hookup_grow import ENOUGH, WORK, Grower
from loomproof.planning.hookup_problem import Problem, Row

MOST_COLUMNS = 6_000
"""Up to this many maximal sets all of them are listed, and the search is exact if it ends."""

MOST_LISTED_UNITS = 15
"""Above this many units the maximal sets are not listed: there are too many even to count."""

NODES = 2_000
"""So many nodes of branch and bound the exact search among listed sets may look at."""

RATIO = {1: 1.0, 3: 3 / 2, 4: 5 / 3, 5: 9 / 5, 6: 2.0, 7: 7 / 3, 8: 12 / 5, 9: 5 / 2, 10: 8 / 3, 11: 14 / 5}
"""Most of total size / capacity that m sets can bring together pair by pair; m = 2 helps no more than 1.

From memory (the fractional matchings of small intersecting families; m of 7 and up after Mills 1979). The
tests hold it against the covering designs known; a bound that rests on it says so in ``Cover.by``.
"""


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


def cover(
    problem: Problem,
    known: Sequence[tuple[int, ...]] = (),
    *,
    seed: int = 1,
    tries: int = 60,
    work: float = WORK,
    nodes: int = NODES,
    most_s: float = 60.0,
) -> Cover:
    """Return as few sets as were found, and the best lower bound.

    ``known`` are covers to begin with. ``work`` is what a search by growing sets may look at
    (`hookup_grow.WORK`), ``tries`` how often it, or the choice among listed sets, begins anew; ``nodes`` and
    ``most_s`` bound the exact search among listed sets.

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
    if columns is None:
        best = Grower(problem, rng).search(tries, bound, work, known)
        return Cover(best[0], min(bound, len(best[0])), by, tuple(best[1:]))
    found: set[tuple[int, ...]] = set(known)
    matrix = _matrix(columns, problem.rows)
    for _ in range(tries):
        picked = _picked(matrix, rng)
        found.add(tuple(sorted(columns[k] for k in picked)))
        if sum(len(sets) == bound for sets in found) >= ENOUGH:
            break
    if nodes and min(map(len, found)) > bound:
        exact, proved = _exact(matrix, bound, min(map(len, found)), nodes, most_s)
        if exact:
            found.add(tuple(sorted(columns[k] for k in exact)))
        if proved > bound:
            bound, by = proved, "branch and bound over all maximal sets"
    fewest = min(map(len, found))
    best = sorted(sets for sets in found if len(sets) == fewest)
    if len(best) < ENOUGH and work:
        best = Grower(problem, rng).search(0, bound, work / 8, best)
    return Cover(best[0], min(bound, len(best[0])), by, tuple(best[1:]))


def lower_bound(problem: Problem) -> tuple[int, str]:
    """Return the best of the counting bounds, and its name."""
    free = [size for u, size in enumerate(problem.sizes) if not problem.stay >> u & 1]
    capacity = _filled(free, problem.capacity - problem.size(problem.stay))
    partners: dict[int, set[int]] = {}
    for a, b in problem.rows:
        if a.bit_count() == b.bit_count() == 1 and not (a | b) & problem.stay:
            u, v = a.bit_length() - 1, b.bit_length() - 1
            partners.setdefault(u, set()).add(v)
            partners.setdefault(v, set()).add(u)
    times = {}
    for u, others in partners.items():
        others = others - {u}
        room = _filled([problem.sizes[v] for v in others], capacity - problem.sizes[u])
        times[u] = max(1, math.ceil(sum(problem.sizes[v] for v in others) / room)) if room > 0 else 1
    single = {m.bit_length() - 1 for row in problem.rows for m in row if m.bit_count() == 1}
    bounds = [(1, "one at least")]
    for u, count in times.items():
        bounds.append((count, f"room beside unit {u}"))
    weight = sum(problem.sizes[u] * times.get(u, 1) for u in single if not problem.stay >> u & 1)
    if capacity > 0:
        bounds.append((math.ceil(weight / capacity), "counting plug-ins against points, Schönheim's bound"))
        clique = _clique(problem, partners)
        ratio = sum(problem.sizes[u] for u in clique) / capacity
        if clique:
            need = next((m for m in sorted(RATIO) if RATIO[m] >= ratio - 1e-9), max(RATIO) + 1)
            bounds.append((need, "the ratio of cavities to points"))
    return max(bounds, key=lambda found: found[0])


def _filled(sizes: Iterable[int], room: int) -> int:
    """Return how much of a room whole units of these sizes can fill at most."""
    reached = 1  # bit n: some of the units take n points
    for size in sizes:
        reached |= reached << size
        reached &= (1 << max(room, 0) + 1) - 1
    return reached.bit_length() - 1


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
        with np.errstate(invalid="ignore"):  # zeros and ones; a kernel's spare lanes may raise the flag
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
