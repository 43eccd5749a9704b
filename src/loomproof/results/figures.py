"""Figures in words, one way for every room."""

from __future__ import annotations

import math


def ohms(value: float) -> str:
    """Return a resistance with its unit, three figures: ``0.120 Ω``, ``4.70 kΩ``, ``open``."""
    if math.isinf(value):
        return "open"
    size = abs(value)
    for bound, unit in ((1e6, "MΩ"), (1e3, "kΩ")):
        if size >= bound:
            return f"{_three(value / bound)} {unit}"
    return f"{_three(value)} Ω"


def _three(value: float) -> str:
    size = abs(value)
    if size >= 100:
        return f"{value:.0f}"
    if size >= 10:
        return f"{value:.1f}"
    return f"{value:.2f}" if size >= 1 else f"{value:.3f}"
