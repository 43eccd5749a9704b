"""How a meter errs: always inside its stated limits, in a way of its own."""

from __future__ import annotations

import random
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of error: ±(``ohm`` + ``ratio`` × reading)."""

    ohm: float
    ratio: float

    def __str__(self) -> str:
        return f"{self.ohm:g}:{self.ratio:g}"

    def at(self, reading_ohm: float) -> float:
        """Return the largest error at a reading, Ω."""
        return self.ohm + self.ratio * abs(reading_ohm)


class MeterError:
    """A fixed offset and gain, and noise. What it shows is off by less than the limits at what it shows."""

    FIXED = 0.65
    NOISE = 0.08
    MOST_NOISE = 0.25

    def __init__(self, limits: Limits, rng: random.Random) -> None:
        self.limits = limits
        self._offset = rng.uniform(-self.FIXED, self.FIXED)
        self._gain = rng.uniform(-self.FIXED, self.FIXED)
        self._rng = rng

    def read(self, true_ohm: float) -> float:
        """Return what the meter shows for a true resistance, Ω."""
        noise = min(max(self._rng.gauss(0.0, self.NOISE), -self.MOST_NOISE), self.MOST_NOISE)
        error = self.limits.ohm * (self._offset + noise)
        error += self.limits.ratio * abs(true_ohm) * (self._gain + noise)
        return true_ohm + error
