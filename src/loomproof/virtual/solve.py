"""Steady node voltages: linear networks at once, networks with diodes by Newton's method."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from loomproof.virtual.network import Diode

Array = NDArray[np.float64]

_LIMIT = 200
_CLOSE_V = 1e-7
_ROUNDING_V = 1e-5
"""Behind a blocking diode's gigaohm, rounding alone moves voltages by microvolts; no step gets smaller."""
_FINE_STEPS = 40


class NoSolutionError(ArithmeticError):
    """Newton's method did not settle; a simulated loom that it happens to is a bug here."""


def steady(conductance_s: Array, current_a: Array, diodes: Sequence[Diode], start_v: Array) -> Array:
    """Return the node voltages where conductances, currents fed in and diodes balance, V.

    ``conductance_s``: n×n nodal conductances with every node tied to ground somehow. A diode's node may
    be -1 for ground. The linearised diode and the limit on its steps are those of any circuit simulator
    (Nagel, SPICE2, ERL-M520, 1975, describes both).
    """
    if not diodes:
        return _precise(conductance_s, current_a, refine=False)
    size = len(current_a)
    v = np.zeros(size + 1)
    v[:size] = start_v
    last = [float(v[d.anode] - v[d.cathode]) for d in diodes]
    matrix = np.zeros((size + 1, size + 1))
    feed = np.zeros(size + 1)
    for step in range(_LIMIT):
        matrix[:size, :size] = conductance_s
        matrix[size, :] = matrix[:, size] = 0.0
        feed[:size] = current_a
        for i, (a, k, saturation, slope) in enumerate(diodes):
            last[i] = at = _limited(float(v[a] - v[k]), last[i], saturation, slope)
            grown = math.exp(at / slope)
            g = saturation / slope * grown + 1e-15
            matrix[a, a] += g
            matrix[k, k] += g
            matrix[a, k] -= g
            matrix[k, a] -= g
            rest = saturation * (grown - 1.0) - g * at
            feed[a] -= rest
            feed[k] += rest
        new = np.zeros(size + 1)
        new[:size] = _precise(matrix[:size, :size], feed[:size], refine=step >= _FINE_STEPS)
        near_v = (_CLOSE_V if step < _FINE_STEPS else _ROUNDING_V) * (1.0 + float(np.abs(new).max()))
        close = bool(np.all(np.abs(new - v) <= near_v))
        v = new
        if close and all(
            abs(float(v[d.anode] - v[d.cathode]) - was) <= near_v for d, was in zip(diodes, last, strict=True)
        ):
            return v[:size]
    raise NoSolutionError(f"{len(diodes)} diodes on {size} nodes do not settle")


def _precise(matrix: Array, feed: Array, *, refine: bool) -> Array:
    """Solve; with ``refine``, take back what rounding did by one step on the residual in long doubles."""
    found: Array = np.linalg.solve(matrix, feed).astype(np.float64, copy=False)
    if not refine:
        return found
    wide = matrix.astype(np.longdouble)
    rest = feed - wide @ found.astype(np.longdouble)
    return found + np.linalg.solve(matrix, rest.astype(np.float64))


def _limited(new: float, old: float, saturation: float, slope: float) -> float:
    """Hold back a step in a diode's voltage that would make its exponential explode."""
    critical = slope * math.log(slope / (math.sqrt(2.0) * saturation))
    if new <= critical or abs(new - old) <= 2.0 * slope:
        return new
    if old <= 0.0:
        return slope * math.log(max(new / slope, 1.0))
    grown = 1.0 + (new - old) / slope
    return old + slope * math.log(grown) if grown > 0.0 else critical
