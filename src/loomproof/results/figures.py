"""Figures in words, one way for every room."""

from __future__ import annotations

import math
from functools import lru_cache

from loomproof.loom.model import Component

_PREFIXES = ((1e9, "G"), (1e6, "M"), (1e3, "k"))


@lru_cache(maxsize=2**12)
def ohms(value: float | None) -> str:
    """Return a resistance with its unit: ``0.120 Ω``, ``4.70 kΩ``; ``open`` for ``None`` and inf.

    Three figures, under 1 Ω to the milliohm; under 10 mΩ two figures. Always in Ω there: figures beside
    each other must be comparable at a glance.
    """
    if value is None or math.isinf(value):
        return "open"
    if value == 0.0:
        return "0 Ω"
    factor, prefix, places = _written(value)
    return f"{value / factor:.{places}f} {prefix}Ω"


def ohms_within(value_ohm: float | None, u_ohm: float) -> str:
    """Return a reading with its expanded uncertainty: ``1.025 kΩ ± 0.016 kΩ``; ``open`` for ``None`` and inf.

    Both in one unit and to the same last place (GUM 7.2.6): the uncertainty has two figures, a third where
    the reading beside it is written so finely, so that their sum can be worked out against a limit.
    """
    if value_ohm is None or math.isinf(value_ohm):
        return "open"
    factor, prefix, places = _written(value_ohm) if value_ohm else (1.0, "", 3)
    if u_ohm > 0.0:
        second = 1 - math.floor(math.log10(float(f"{u_ohm / factor:.2g}")))
        places = max(0, second, min(places, second + 1))
    # Adding nothing takes the sign from a zero.
    value = round(value_ohm / factor, places) + 0.0
    return f"{value:.{places}f} {prefix}Ω ± {u_ohm / factor:.{places}f} {prefix}Ω"


def _written(value_ohm: float) -> tuple[float, str, int]:
    """Return the unit that a resistance other than 0 is written in, Ω, its prefix, and the decimal places."""
    size = float(f"{abs(value_ohm):.3g}")
    if float(f"{size:.2g}") < 0.01:
        return 1.0, "", 1 - math.floor(math.log10(size))
    factor, prefix = next((each for each in _PREFIXES if size >= each[0]), (1.0, ""))
    size /= factor
    return factor, prefix, 0 if size >= 100 else 1 if size >= 10 else 2 if size >= 1 else 3


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
