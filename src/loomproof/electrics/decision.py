"""Deciding with a guard band: pass, fail or undecided, against the limit that a bench can claim.

JCGM 106:2012 and ILAC-G8:09/2019: with a guard band w = U (coverage factor 2) on both sides of the limit, a
pass is wrong, and a fail is wrong, in less than 2.5 % of cases even at the worst.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Outcome = Literal["pass", "fail", "undecided"]


def judge(measured_ohm: float, uncertainty_ohm: float, upper_ohm: float, lower_ohm: float = 0.0) -> Outcome:
    """Judge one reading against an upper limit and, where ``lower_ohm`` > 0, a lower one.

    ``uncertainty_ohm`` is expanded, k = 2. No resistance is below zero: a reading that is, by more than its
    uncertainty, contradicts itself and passes nothing. An infinite reading (open, over range) fails a
    finite upper limit.
    Raises `ValueError` for a reading that is not a number, a negative uncertainty or crossed limits.
    """
    if math.isnan(measured_ohm) or math.isnan(upper_ohm) or math.isnan(lower_ohm):
        raise ValueError("a reading and its limits must be numbers")
    if not uncertainty_ohm >= 0.0:
        raise ValueError(f"uncertainty {uncertainty_ohm}: 0 or more is expected")
    if lower_ohm > upper_ohm:
        raise ValueError(f"the lower limit {lower_ohm:g} Ω is above the upper limit {upper_ohm:g} Ω")
    if math.isinf(measured_ohm):
        return "fail" if measured_ohm < 0 or not math.isinf(upper_ohm) else "pass"
    if measured_ohm > upper_ohm + uncertainty_ohm:
        return "fail"
    if lower_ohm > 0.0 and measured_ohm < lower_ohm - uncertainty_ohm:
        return "fail"
    least_ohm = lower_ohm + uncertainty_ohm if lower_ohm > 0.0 else -uncertainty_ohm
    if least_ohm <= measured_ohm <= upper_ohm - uncertainty_ohm:
        return "pass"
    return "undecided"


def claimed_limit(physical_limit_ohm: float, expected_ohm: float, uncertainty_ohm: float) -> float:
    """Return the limit that is claimed: the physical one, or the smallest that this bench can decide.

    ``expected_ohm`` is the most that a sound conductor reads (`Between.sound_ohm`). Such a reading lies
    within U of it, and passes below limit - U: so expected + 2 U always lets a sound conductor pass.
    """
    return max(physical_limit_ohm, expected_ohm + 2.0 * uncertainty_ohm)


@dataclass(frozen=True, slots=True)
class Zones:
    """What a reading of this uncertainty says: pass to ``pass_to_ohm``, fail from ``fail_from_ohm``.

    Between them it is undecided. ``pass_from_ohm`` is 0 unless there is a lower limit.
    """

    pass_from_ohm: float
    pass_to_ohm: float
    fail_from_ohm: float


def zones(uncertainty_ohm: float, upper_ohm: float, lower_ohm: float = 0.0) -> Zones:
    """Return the decision zones of `judge` for one uncertainty."""
    return Zones(
        pass_from_ohm=lower_ohm + uncertainty_ohm if lower_ohm > 0.0 else 0.0,
        pass_to_ohm=upper_ohm - uncertainty_ohm,
        fail_from_ohm=upper_ohm + uncertainty_ohm,
    )


def conformance_probability(
    measured: float, standard_uncertainty: float, upper: float = math.inf, lower: float = -math.inf
) -> float:
    """Return the probability that the true value lies within the limits, for a normal density.

    Source: JCGM 106:2012, clause 7. Raises `ValueError` unless the standard uncertainty is above 0.
    """
    if not standard_uncertainty > 0.0:
        raise ValueError(f"standard uncertainty {standard_uncertainty}: above 0 is expected")
    return _phi((upper - measured) / standard_uncertainty) - _phi((lower - measured) / standard_uncertainty)


def _phi(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))
