"""Conductor sections: mm² from an AWG number or from a strand count.

AWG: d = 0.127 mm · 92^((36 − n) / 39) (ASTM B258); n = −1, −2, −3 for 2/0, 3/0, 4/0.
Strands: n/d is n strands of d mm (``14/0.30``), or of d inches (``44/0.012 in``): n · π/4 · d².
Both are areas of metal; what a seller calls a size is rounded (14/0.30 is sold as 1 mm²).
"""

from __future__ import annotations

import math
import re
from functools import lru_cache

_AWG = re.compile(r"(?:AWG ?(?P<a>[1-4]/0|\d{1,2})|(?P<b>[1-4]/0|\d{1,2}) ?AWG)", re.IGNORECASE | re.ASCII)
_STRANDS = re.compile(r"(?P<n>\d{1,4}) ?/ ?(?P<d>\d*\.\d+|\d+) ?(?P<unit>mm|in|inch|\")?", re.ASCII)

MM_PER_INCH = 25.4


def awg_mm2(gauge: int) -> float:
    """Return the section of an AWG wire in mm² (0 is 1/0, −1 is 2/0, −2 is 3/0, −3 is 4/0; ASTM B258)."""
    if not -3 <= gauge <= 40:
        raise ValueError(f"AWG {gauge} is not a gauge from 4/0 to 40")
    diameter_mm = 0.127 * math.pow(92, (36 - gauge) / 39)
    return math.pi / 4 * diameter_mm**2


@lru_cache(maxsize=4096)
def csa_mm2_of(section: str) -> float:
    """Return the section in mm² of a size as people write it: ``18 AWG``, ``14/0.30``, ``44/0.012 in``.

    Raises `ValueError` saying what is expected. A bare number is refused: it could be mm² or a gauge.
    """
    text = section.strip()
    if match := _AWG.fullmatch(text):
        return awg_mm2(_gauge(match["a"] or match["b"]))
    if match := _STRANDS.fullmatch(text):
        strands, diameter = int(match["n"]), float(match["d"])
        if match["unit"] not in (None, "mm"):
            diameter *= MM_PER_INCH
        if not strands or not 0.01 <= diameter <= 5:
            raise ValueError(f"{section!r}: strands of {diameter:g} mm are expected between 0.01 and 5 mm")
        return strands * math.pi / 4 * diameter**2
    raise ValueError(f"{section!r} is no size: 18 AWG, 2/0 AWG, 14/0.30 or 44/0.012 in is expected")


def _gauge(text: str) -> int:
    if text.endswith("/0"):
        return 1 - int(text[:-2])
    return int(text)
