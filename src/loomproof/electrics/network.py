"""Exact solution of a connected resistor network: effective resistance, currents, an edge removed.

With Laplacian L and one node grounded, G = L⁻¹ on the others (zero for the ground) gives
``R(a, b) = G[a,a] + G[b,b] - 2 G[a,b]``. The network is its own adjoint: the potentials of a unit current
from a to b are also the sensitivities, dR/dr(e) = i(e)². Removing an edge is a rank-one change (Sherman and
Morrison). Sources: D. J. Klein and M. Randić, J. Math. Chem. 12 (1993) 81; textbook network theory.
"""

from __future__ import annotations

from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from loomproof.electrics import elimination

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

FEW_NODES = 8
"""Up to this many nodes a few additions are faster than a call of LAPACK."""

MANY_NODES = 600
"""Above this many nodes elimination in sparse order beats the dense inverse, if the net has few loops."""

SPREAD = 1e4
"""Largest over smallest resistance up to which the dense inverse keeps nine digits."""

BRIDGE = 1e-6
"""An edge is the only way across where the rest has more than a million times its resistance."""

SENSITIVITY_FLOOR = 1e-6
"""Below this share of the current squared a conductor is left out of a reading's sensitivities."""


@lru_cache(maxsize=8)
def _below(nodes: int) -> NDArray[np.bool_]:
    """Return the lower half of a square, its diagonal included."""
    return np.tri(nodes, dtype=np.bool_)


def alone_ohm(ohm: float) -> float:
    """Return what a network of one edge has between its two nodes, Ω: to the last bit as `Network` has it."""
    return 1.0 / (1.0 / ohm)


class Network:
    """A connected network of ``nodes`` nodes; edge k joins tails[k] to heads[k] with ohms[k] > 0."""

    def __init__(self, nodes: int, tails: ArrayLike, heads: ArrayLike, ohms: ArrayLike) -> None:
        self.nodes = nodes
        self.tails: Ints = np.asarray(tails, dtype=np.intp)
        self.heads: Ints = np.asarray(heads, dtype=np.intp)
        self.ohms: Floats = np.asarray(ohms, dtype=np.float64)
        if self.ohms.size and not (self.ohms > 0.0).all():
            raise ValueError("every edge of a network needs a resistance above 0")

    @cached_property
    def inverse(self) -> Floats:
        """The inverse of the Laplacian grounded at the last node, Ω; that node's row and column are 0."""
        kept = self.nodes - 1
        if kept < 1:
            return np.zeros((self.nodes, self.nodes))
        if self._is_for_elimination():
            edges = zip(self.tails.tolist(), self.heads.tolist(), (1.0 / self.ohms).tolist(), strict=True)
            return elimination.inverse(self.nodes, edges)
        return self._dense(kept)

    def _is_for_elimination(self) -> bool:
        if self.nodes <= FEW_NODES or self.ohms.max() > SPREAD * self.ohms.min():
            return True
        loops = self.ohms.size - self.nodes + 1
        return self.nodes > MANY_NODES and 10 * loops < self.nodes

    def _dense(self, kept: int) -> Floats:
        from scipy.linalg.lapack import dpotrf, dpotri

        n = self.nodes
        siemens = 1.0 / self.ohms
        # What an edge from a node to itself adds to the diagonal carries nothing.
        laplacian = np.bincount(self.tails * n + self.heads, weights=siemens, minlength=n * n).reshape(n, n)
        laplacian = -(laplacian + laplacian.T)
        laplacian.flat[:: n + 1] = 0.0
        laplacian.flat[:: n + 1] = -laplacian.sum(axis=1)
        factor, failed = dpotrf(laplacian[:kept, :kept].T, lower=1, clean=0)
        if failed:
            raise ValueError("the network is not connected")
        half, _ = dpotri(factor, lower=1, overwrite_c=1)
        full = np.zeros((n, n))
        inner = full[:kept, :kept]
        np.copyto(inner, half, where=_below(kept))
        inner += inner.T
        full.flat[:: n + 1] *= 0.5
        return full

    def resistance(self, a: int, b: int) -> float:
        """Return the effective resistance between nodes ``a`` and ``b``, Ω."""
        return float(self.resistances([a], [b])[0])

    def resistances(self, a: ArrayLike, b: ArrayLike) -> Floats:
        """Return the effective resistance of each pair (a[k], b[k]), Ω."""
        a, b = np.asarray(a, dtype=np.intp), np.asarray(b, dtype=np.intp)
        g = self.inverse
        own = g.diagonal()
        found: Floats = own.take(a)
        found += own.take(b)
        found -= 2.0 * g.take(a * self.nodes + b)
        return found

    def currents(self, a: ArrayLike, b: ArrayLike) -> Floats:
        """Return edge currents, tail to head, for a unit current from a[k] to b[k]: shape (edges, pairs)."""
        a, b = np.asarray(a, dtype=np.intp), np.asarray(b, dtype=np.intp)
        potential = self.inverse[:, a] - self.inverse[:, b]
        found: Floats = (potential[self.tails] - potential[self.heads]) / self.ohms[:, None]
        return found

    @cached_property
    def edge_ratio(self) -> Floats:
        """Effective resistance across each edge over its own: 1 for the only way across (Foster's terms)."""
        ratio: Floats = self.resistances(self.tails, self.heads) / self.ohms
        return ratio

    def without(self, a: ArrayLike, b: ArrayLike, current: Floats | None = None) -> Floats:
        """Return the resistance of each pair with each edge removed, Ω: shape (edges, pairs).

        Infinite where the edge is the only way. R' = R + i² r / (1 - ratio). ``current`` may hand in what
        `currents` gave for the same pairs.
        """
        if current is None:
            current = self.currents(a, b)
        left = 1.0 - self.edge_ratio
        only = left < BRIDGE
        gain = np.divide(self.ohms, left, out=np.zeros_like(left), where=~only)
        found: Floats = self.resistances(a, b)[None, :] + current**2 * gain[:, None]
        found[only] = np.where(np.abs(current[only]) > BRIDGE, np.inf, found[only])
        return found
