"""How sure a share is that was counted: Wilson's interval."""

from __future__ import annotations

import math

Z_95 = 1.959963984540054
"""The normal distribution's 97.5 % point (tabulated everywhere; a test holds it to scipy)."""


def share_interval(part: int, whole: int) -> tuple[float, float]:
    """Return the 95 % interval of a share of whole things, from 0 to 1; ``whole`` is at least 1.

    E. B. Wilson, Probable inference, J. Am. Stat. Assoc. 22 (1927) 209: it stays sensible where none or all
    of a few are counted. Of none it begins at 0, of all it ends at 1, exactly: worked out in floating point
    it would miss them by a hair, and leave the share itself outside.
    """
    share, square = part / whole, Z_95**2
    middle = (share + square / (2 * whole)) / (1 + square / whole)
    spread = share * (1 - share) / whole + square / (4 * whole**2)
    half = Z_95 * math.sqrt(spread) / (1 + square / whole)
    return (middle - half if part else 0.0), (middle + half if part < whole else 1.0)
