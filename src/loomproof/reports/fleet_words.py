"""How figures of very many proofs are said: shares, joints that drift, and when they meet their limit."""

from __future__ import annotations

import math
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal

from loomproof.results.drift import Drift


def percent_of(share: float) -> str:
    """Return a share in per cent with one decimal; never all of it where some are missing, nor none of
    some."""
    if 99.95 <= share < 100:
        return "over 99.9 %"
    return "under 0.1 %" if 0 < share < 0.05 else f"{share:.1f} %"


def interval_of(low: float, high: float) -> str:
    """Return the interval of a share in per cent, its ends rounded outwards to one decimal; an upper end
    that is no number can't be told."""
    if math.isnan(high):
        return "no upper end can be told"
    # What a float adds in its last places is no part of an end.
    least, most = math.floor(round(10 * low, 9)) / 10, math.ceil(round(10 * high, 9)) / 10
    return f"{least:.1f} % to {most:.1f} %"


def slope_texts(joint: Drift) -> tuple[str, str]:
    """Return by how much a joint rises a year, and the interval, whose ends are rounded outwards."""
    slope = _milli(joint.slope_ohm_a_year, ROUND_HALF_EVEN)
    low, high = _milli(joint.slope_from, ROUND_FLOOR), _milli(joint.slope_to, ROUND_CEILING)
    return f"{slope} mΩ", f"{low} to {high} mΩ"


def _milli(value: float, rounding: str) -> str:
    """Return thousandths of a unit with three figures; what a float adds in its last places is left off."""
    exact = Decimal(f"{1000 * value:.12g}")
    if not exact:
        return "0"
    return f"{exact.quantize(Decimal(1).scaleb(exact.adjusted() - 2), rounding):f}"


def meets_texts(joint: Drift) -> tuple[str, str]:
    """Return when a joint meets its limit, and the interval; that no day is told, where it is so."""
    if joint.meets is None:
        return "too far away to tell", ""
    low = str(joint.meets_from) if joint.meets_from else "no earliest day"
    high = str(joint.meets_to) if joint.meets_to else "no latest day"
    return str(joint.meets), f"{low} to {high}"
