"""Deciding with a guard band: pass, fail or undecided, against the limit of what is judged.

JCGM 106:2012 and ILAC-G8:09/2019: with a guard band w = U (coverage factor 2) on both sides of the limit, a
pass is wrong, and a fail is wrong, in less than 2.5 % of cases even at the worst. The limit is that of wire,
contact or part; a bench that can't decide it leaves it undecided. What its reading shows all the same is
`bound_ohm`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Outcome = Literal["pass", "fail", "undecided"]


def judge(
    measured_ohm: float,
    uncertainty_ohm: float,
    upper_ohm: float,
    lower_ohm: float = 0.0,
    most_ohm: float | None = None,
) -> Outcome:
    """Judge one reading y against an upper limit and, where ``lower_ohm`` > 0, a lower one.

    ``uncertainty_ohm`` is U, expanded, k = 2. y + U at or below the limit passes, y - U above it fails, and
    what lies between is undecided; for a lower limit the other way round. ``most_ohm`` takes the place of
    y + U where more is known of the reading: one below a meter's range is below that range. No resistance
    is below zero: a reading that is, by more than its uncertainty, contradicts itself and passes nothing. An
    infinite reading (open, over range) fails a finite upper limit.
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
    most = bound_ohm(measured_ohm, uncertainty_ohm, most_ohm)
    if measured_ohm > upper_ohm + uncertainty_ohm:
        return "fail"
    if lower_ohm > 0.0 and most < lower_ohm:
        return "fail"
    least_ohm = lower_ohm + uncertainty_ohm if lower_ohm > 0.0 else -uncertainty_ohm
    if least_ohm <= measured_ohm and most <= upper_ohm:
        return "pass"
    return "undecided"


def bound_ohm(measured_ohm: float, uncertainty_ohm: float, most_ohm: float | None = None) -> float:
    """Return what a reading shows its resistance to be below: y + U, or ``most_ohm`` where that is known."""
    return measured_ohm + uncertainty_ohm if most_ohm is None else most_ohm


def surely_decided(limit_ohm: float, sound_ohm: float, uncertainty_ohm: float) -> bool:
    """Whether this bench decides a limit for every sound conductor.

    ``sound_ohm`` is the most that a sound one has (`Between.sound_ohm`). Its reading lies within U of it, and
    passes below limit - U: so the limit must be sound + 2 U or more.
    """
    return sound_ohm + 2.0 * uncertainty_ohm <= limit_ohm


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
