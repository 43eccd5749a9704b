"""The interval that holds a place: which cells belong to it, and its middle and half."""

from __future__ import annotations

import numpy as np

INTERVAL_SHARE = 0.9545
"""What a k = 2 interval holds of a normal distribution (JCGM 100:2008, G.1.3)."""


class Spanning:
    """What reaches from ``low_m`` to ``high_m``, m."""

    __slots__ = ()
    low_m: float
    high_m: float

    @property
    def middle_m(self) -> float:
        """The middle, m from where it is counted."""
        return (self.low_m + self.high_m) / 2

    @property
    def half_m(self) -> float:
        """Half of its length, m: the U of the middle (k = 2) where it is the only stretch."""
        return (self.high_m - self.low_m) / 2


def most_probable(shares: np.ndarray) -> set[int]:
    """Return the most probable cells that together hold `INTERVAL_SHARE`; of equal ones the first."""
    chosen, held = set[int](), 0.0
    for k in np.argsort(-shares, kind="stable"):
        chosen.add(int(k))
        held += float(shares[k])
        if held >= INTERVAL_SHARE:
            break
    return chosen
