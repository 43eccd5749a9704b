"""Measurement uncertainty of a reading, after the GUM (JCGM 100:2008); coverage factor 2 throughout.

A bench states limits of error: the error lies within ±a, and nothing says where. By GUM 4.3.7 that is a
rectangular distribution of half-width a, whose standard uncertainty is a/√3.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from loomproof.electrics import tables

COVERAGE = 2.0
"""Coverage factor of every expanded uncertainty of the project: about 95 % for a normal density."""


class Contribution(NamedTuple):
    """One contribution: its name, its standard uncertainty, Ω, and its degrees of freedom."""

    name: str
    standard_ohm: float
    degrees_of_freedom: float = math.inf


@dataclass(frozen=True, slots=True)
class Budget:
    """The contributions to one reading, independent of each other."""

    parts: tuple[Contribution, ...]

    @property
    def standard_ohm(self) -> float:
        """Combined standard uncertainty: the root of the sum of squares."""
        return math.hypot(*(part.standard_ohm for part in self.parts))

    @property
    def expanded_ohm(self) -> float:
        """Expanded uncertainty, k = 2."""
        return COVERAGE * self.standard_ohm

    @property
    def degrees_of_freedom(self) -> float:
        """Effective degrees of freedom (Welch and Satterthwaite); large where k = 2 is about 95 %."""
        return effective_degrees_of_freedom(
            [(part.standard_ohm, part.degrees_of_freedom) for part in self.parts]
        )


def rectangular(half_width: float) -> float:
    """Return the standard uncertainty of a value known to lie within ±``half_width``, any place alike."""
    return half_width / math.sqrt(3.0)


def reading_budget(
    accuracy_ohm: float,
    accuracy_ratio: float,
    reading_ohm: float,
    *,
    lead_uncertainty_ohm: float = 0.0,
    repeatability_ohm: float = 0.0,
    repeats: int = 1,
    repeatability_readings: int = 0,
    temperature_uncertainty_k: float = 0.0,
    reproducibility_ohm: float = 0.0,
    reproducibility_freedom: float = math.inf,
) -> Budget:
    """Return the uncertainty budget of one resistance reading (mean of ``repeats`` fixed beforehand).

    ``accuracy_ohm`` and ``accuracy_ratio`` are limits of error ±(ohm + ratio × reading);
    ``lead_uncertainty_ohm`` is the standard uncertainty of the lead correction, both leads together;
    ``repeatability_ohm`` the standard deviation of a single reading, found from ``repeatability_readings``
    of them (0: known well); ``temperature_uncertainty_k`` the standard uncertainty of the copper's
    temperature, which is charged to the reading because the limit was computed for one temperature;
    ``reproducibility_ohm`` the standard deviation that a change of operator adds, with its degrees of
    freedom: it is the same in all repeats of one operator, so repeats take nothing off it.
    An infinite reading has an infinite uncertainty. Raises `ValueError` for negative figures or repeats < 1.
    """
    figures = (
        accuracy_ohm,
        accuracy_ratio,
        lead_uncertainty_ohm,
        repeatability_ohm,
        temperature_uncertainty_k,
        reproducibility_ohm,
    )
    if any(not figure >= 0.0 for figure in figures):
        raise ValueError("uncertainty figures must be 0 or more")
    if repeats < 1:
        raise ValueError(f"repeats {repeats}: 1 or more is expected")
    size = abs(reading_ohm)
    freedom = repeatability_readings - 1 if repeatability_readings > 1 else math.inf
    coefficient = tables.copper().temperature_coefficient_per_k
    by_operator = Contribution("reproducibility", reproducibility_ohm, reproducibility_freedom)
    return Budget(
        (
            Contribution(
                "bench accuracy",
                rectangular(accuracy_ohm + accuracy_ratio * size if accuracy_ratio else accuracy_ohm),
            ),
            Contribution("lead compensation", lead_uncertainty_ohm),
            Contribution("repeatability", repeatability_ohm / math.sqrt(repeats), freedom),
            Contribution(
                "temperature",
                coefficient * temperature_uncertainty_k * size if temperature_uncertainty_k else 0.0,
            ),
            *((by_operator,) if reproducibility_ohm else ()),
        )
    )


def effective_degrees_of_freedom(parts: Sequence[tuple[float, float]]) -> float:
    """Return ν_eff of (standard uncertainty, degrees of freedom) pairs (Welch-Satterthwaite, GUM G.4.1)."""
    combined = math.hypot(*(u for u, _ in parts))
    weight = sum(u**4 / freedom for u, freedom in parts if not math.isinf(freedom))
    return combined**4 / weight if weight else math.inf
