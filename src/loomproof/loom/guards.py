"""What every value of the model is asked: texts that a table can hold, numbers from zero up."""

from __future__ import annotations

import math

from loomproof.loom.text import flaw, shortened


def refuse_flaws(what: str, *texts: str) -> None:
    """Raise `ValueError` for the first text that no table can hold; ``what`` names its owner."""
    for text in texts:
        wrong = flaw(text)
        if wrong:
            raise ValueError(f"{what}: {shortened(text)!r} {wrong}")


def number(what: str, value: float | None) -> float | None:
    """Return a number as a float; `ValueError` where it is not finite or is below zero."""
    if value is None:
        return None
    if not math.isfinite(value) or value < 0:
        raise ValueError(f"{what}: {value!r} is not a number from zero up")
    return float(value) + 0.0
