"""How much capacitance a wire has along itself, and what a meter finds between two groups of points.

A wire's picofarads per metre wander along it, because its neighbours in the bundle change: a stationary
process of first order (exponential correlation), drawn for each wire from the seed. Every conductor has
what its wires have; between each two of them lies a share of it, so that all others together, held at 0 V,
give the whole. What one conductor has more than all others together lies to the bench's own 0 V.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from loomproof.virtual import constants as c
from loomproof.virtual.network import GROUND, Island, Network

_ROUNDS = 40


@dataclass(frozen=True, slots=True)
class Profile:
    """Capacitance along a wire: one figure, F, for each of its cells of equal length, from its first end."""

    length_m: float
    cells_f: tuple[float, ...]

    @property
    def farad(self) -> float:
        """The whole wire's, F."""
        return sum(self.cells_f)

    def up_to(self, place_m: float) -> float:
        """Return what the piece from the first end up to this place has, F."""
        if not self.length_m:
            return 0.0
        at = min(max(place_m / self.length_m, 0.0), 1.0) * len(self.cells_f)
        whole = int(at)
        part = self.cells_f[whole] * (at - whole) if whole < len(self.cells_f) else 0.0
        return sum(self.cells_f[:whole]) + part


def profile_of(name: str, length_m: float, per_m: float, seed: int) -> Profile:
    """Return the capacitance along a wire of this name, drawn from the seed."""
    count = max(1, min(math.ceil(length_m / c.WANDER_STEP_M), 400))
    step_m = length_m / count
    kept = math.exp(-step_m / c.WANDER_M)
    new = math.sqrt(1.0 - kept * kept)
    cells, now = [], 0.0
    # Not by `constants.share`: check sums of texts that differ in one digit are no independent numbers.
    rng = random.Random(f"{seed}/wander/{name}")
    for k in range(count):
        fresh = rng.gauss(0.0, 1.0)
        now = kept * now + new * fresh if k else fresh
        cells.append(per_m * step_m * max(1.0 + c.WANDER_RATIO * now, c.LEAST_SHARE))
    return Profile(length_m, tuple(cells))


def capacitance_f(
    network: Network, islands: Sequence[Island], points_f: Sequence[float], a: int, b: int
) -> float:
    """Return what an ideal meter shows for A, joined, against B, joined and at 0 V, the rest open, F.

    NaN where anything conducts between the two. ``points_f`` is what board and lead of each point add.
    """
    home = {node: number for number, island in enumerate(islands) for node in island.nodes}
    side_a = {number for number, island in enumerate(islands) if island.mask & a}
    side_b = {number for number, island in enumerate(islands) if island.mask & b}
    if side_a & side_b:
        return math.nan
    own = np.zeros(len(islands))
    between = np.zeros((len(islands), len(islands)))
    ground = np.zeros(len(islands))
    for node, other, farad in network.capacitors:
        if other != GROUND:  # a part, not the wire's own
            if home[node] != home[other]:
                between[home[node], home[other]] += farad
                between[home[other], home[node]] += farad
        elif node >= network.points:
            own[home[node]] += farad
    for point, farad in enumerate(points_f):
        ground[home[point]] += farad
    mutual, left = _shared(own)
    between += mutual
    ground += left
    # Maxwell's matrix of the islands; those of B are at 0 V and drop out, those of neither float.
    kept = [number for number in range(len(islands)) if number not in side_b]
    matrix = np.diag((between.sum(axis=1) + ground)[kept]) - between[np.ix_(kept, kept)]
    ones = [i for i, number in enumerate(kept) if number in side_a]
    rest = [i for i, number in enumerate(kept) if number not in side_a]
    raised = matrix[np.ix_(ones, ones)]
    if rest:
        floating = matrix[np.ix_(rest, rest)] + np.eye(len(rest)) * c.LEAST_F
        cross = matrix[np.ix_(ones, rest)]
        raised = raised - cross @ np.linalg.solve(floating, cross.T)
    return float(raised.sum())


def _shared(own: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the capacitance between each two conductors, and what is left of each to 0 V, F.

    A product of one factor for each, so scaled that the rows add up to what each conductor has.
    """
    size = len(own)
    factor = np.sqrt(np.maximum(own, 0.0))
    for _ in range(_ROUNDS):
        others = factor.sum() - factor
        wanted = np.divide(own, others, out=np.zeros(size), where=others > 0.0)
        factor = np.sqrt(factor * wanted)
    mutual = np.outer(factor, factor)
    np.fill_diagonal(mutual, 0.0)
    rows = mutual.sum(axis=1)
    scale = min(1.0, float(np.min(np.divide(own, rows, out=np.ones(size), where=rows > 0.0))))
    mutual = mutual * scale
    return mutual, own - mutual.sum(axis=1)
