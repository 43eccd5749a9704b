"""Figures in words, one way for every room."""

from __future__ import annotations

import math

from loomproof.loom.model import Component


def ohms(value: float) -> str:
    """Return a resistance with its unit, three figures: ``0.120 Ω``, ``4.70 kΩ``, ``open``."""
    if math.isinf(value):
        return "open"
    size = abs(value)
    for bound, unit in ((1e6, "MΩ"), (1e3, "kΩ")):
        if size >= bound:
            return f"{_three(value / bound)} {unit}"
    return f"{_three(value)} Ω"


def value_of(part: Component) -> str:
    """Return a part's stated value as people write it: ``100 nF``, ``4.7 kΩ``, ``10 A``; "" without one."""
    if part.value is None:
        return ""
    unit = part.form.unit
    for least, size, prefix in _STEPS.get(unit, ()):
        if part.value >= least:
            return f"{part.value / size:g} {prefix}{unit}"
    return f"{part.value:g} {unit}"


_STEPS = {
    "Ω": ((1e6, 1e6, "M"), (1e3, 1e3, "k")),
    "F": ((0.1, 1.0, ""), (1e-6, 1e-6, "µ"), (1e-9, 1e-9, "n"), (1e-15, 1e-12, "p")),
}
"""From which value on which unit is usual; between microfarads and farads nobody writes millifarads."""


def _three(value: float) -> str:
    size = abs(value)
    if size >= 100:
        return f"{value:.0f}"
    if size >= 10:
        return f"{value:.1f}"
    return f"{value:.2f}" if size >= 1 else f"{value:.3f}"
