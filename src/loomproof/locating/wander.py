"""The capacitance of a piece of wire, and how far it strays from length times picofarads per metre.

Picofarads per metre wander along a wire, since its neighbours in the bundle change. They are taken as a
stationary process with relative standard deviation s and exponential correlation of length λ. Over a piece of
length l its integral has the variance c² s² · 2 λ² (l/λ - 1 + exp(-l/λ)); two pieces that meet, of lengths l
and m, have the covariance c² s² λ² (1 - exp(-l/λ)) (1 - exp(-m/λ)). Both follow from the double integral of
exp(-|u - v|/λ) over the pieces.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

ASSUMED_F_PER_M = 100e-12
ASSUMED_RATIO = 0.4
"""Of a wire among others, where nothing was learned: 100 pF/m, and its relative standard uncertainty (common
practice, no source)."""

WANDER_RATIO = 0.15
WANDER_M = 0.25
"""Relative standard deviation along a wire and length of its correlation, where nothing was learned: an
assumption of this project, no figure of real looms is known here."""


@dataclass(frozen=True, slots=True)
class PerMetre:
    """What one metre of wire has: ``f_per_m``, its relative standard uncertainty, and how it wanders.

    ``learned_from`` counts the sound wires that it was learned from; 0: it is assumed. ``since`` says when
    that was, "" for now.
    """

    f_per_m: float = ASSUMED_F_PER_M
    ratio: float = ASSUMED_RATIO
    wander_ratio: float = WANDER_RATIO
    wander_m: float = WANDER_M
    learned_from: int = 0
    since: str = ""

    @property
    def learned(self) -> bool:
        """Whether it comes from wires of the loom at hand."""
        return self.learned_from > 0


def variance_m2(length_m: np.ndarray | float, correlation_m: float) -> np.ndarray:
    """Return the variance of a unit process's integral over each piece of these lengths, m²."""
    ratio = np.asarray(length_m) / correlation_m
    # In short pieces the difference loses all its digits; its series is r²/2 - r³/6.
    short, long = ratio**2 / 2.0 - ratio**3 / 6.0, ratio + np.expm1(-ratio)
    return 2.0 * correlation_m**2 * np.where(ratio < 1e-3, short, long)


def covariance_m2(one_m: np.ndarray | float, other_m: np.ndarray | float, correlation_m: float) -> np.ndarray:
    """Return the covariance of a unit process's integrals over two pieces that meet, m²."""
    own, other = np.asarray(one_m), np.asarray(other_m)
    return correlation_m**2 * np.expm1(-own / correlation_m) * np.expm1(-other / correlation_m)


@dataclass(frozen=True, slots=True)
class Sound:
    """A sound wire or net that was read: its length, m, its capacitance, F, standard uncertainty of that."""

    length_m: float
    farad: float
    u_f: float


def learned(sound: Iterable[Sound], start: PerMetre | None = None) -> PerMetre:
    """Return what one metre has after these sound wires, each weighed by what it can say.

    ``start`` is what was assumed before; it counts as one more opinion. How picofarads wander is kept.
    """
    start = start or PerMetre()
    wires = [each for each in sound if each.length_m > 0.0]
    weights, sums = 1.0 / (start.f_per_m * start.ratio) ** 2, 1.0 / (start.f_per_m * start.ratio**2)
    for each in wires:
        strays = (start.f_per_m * start.wander_ratio) ** 2 * float(variance_m2(each.length_m, start.wander_m))
        weight = each.length_m**2 / (each.u_f**2 + strays)
        weights += weight
        sums += weight * each.farad / each.length_m
    if not wires:
        return start
    mean = sums / weights
    return replace(
        start,
        f_per_m=mean,
        ratio=math.sqrt(1.0 / weights) / mean,
        learned_from=start.learned_from + len(wires),
    )


ASSUMED_WIRES = 8
"""What is assumed of the wander counts as much as so many wires do (our convention)."""


def of_loom(sound: Sequence[Sound], since: str) -> PerMetre:
    """Return what one metre has in a loom of which these wires were read when it was sound, and its wander.

    How far the wires' own picofarads per metre lie apart says how they wander along a wire: by the variance
    of a piece, `variance_m2`. A few wires say little, so what is assumed counts as `ASSUMED_WIRES`.
    """
    found = replace(learned(sound), since=since)
    squares = [
        ((each.farad / each.length_m - found.f_per_m) ** 2 - (each.u_f / each.length_m) ** 2)
        * each.length_m**2
        / (found.f_per_m**2 * float(variance_m2(each.length_m, found.wander_m)))
        for each in sound
        if each.length_m > 0.0
    ]
    kept = ASSUMED_WIRES * found.wander_ratio**2
    mean = max(
        (kept + math.fsum(squares)) / (ASSUMED_WIRES + len(squares)), kept / (ASSUMED_WIRES + len(squares))
    )
    return replace(found, wander_ratio=math.sqrt(mean))
