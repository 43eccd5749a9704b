"""Figures in words, one way for every room."""

from __future__ import annotations

import math

from loomproof.loom.model import Component

_PREFIXES = ((1e9, "G"), (1e6, "M"), (1e3, "k"))


def ohms(value: float | None) -> str:
    """Return a resistance with its unit: ``0.120 Ω``, ``4.70 kΩ``; ``open`` for ``None`` and inf.

    Three figures, under 1 Ω to the milliohm; under 10 mΩ two figures. Always in Ω there: figures beside
    each other must be comparable at a glance.
    """
    if value is None or math.isinf(value):
        return "open"
    if value == 0.0:
        return "0 Ω"
    size = float(f"{abs(value):.3g}")
    if float(f"{size:.2g}") < 0.01:
        return f"{value:.{1 - math.floor(math.log10(size))}f} Ω"
    factor, prefix = next((each for each in _PREFIXES if size >= each[0]), (1.0, ""))
    size /= factor
    decimals = 0 if size >= 100 else 1 if size >= 10 else 2 if size >= 1 else 3
    return f"{value / factor:.{decimals}f} {prefix}Ω"


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
