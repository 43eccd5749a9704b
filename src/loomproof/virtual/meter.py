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


@dataclass(frozen=True, slots=True)
class FaradLimits:
    """Limits of error, ±(``farad`` + ``ratio`` × reading), and a single reading's standard deviation, F."""

    farad: float
    ratio: float
    spread: float

    def __str__(self) -> str:
        return f"{self.farad:g}:{self.ratio:g}"


class FaradError:
    """A fixed offset and gain inside the limits, and a spread of its own from reading to reading."""

    FIXED = 0.65
    MOST_SPREADS = 3.0

    def __init__(self, limits: FaradLimits, rng: random.Random) -> None:
        self.limits = limits
        self._offset = rng.uniform(-self.FIXED, self.FIXED)
        self._gain = rng.uniform(-self.FIXED, self.FIXED)
        self._rng = rng

    def read(self, true_f: float) -> float:
        """Return what the meter shows for a true capacitance, F."""
        noise = min(max(self._rng.gauss(0.0, 1.0), -self.MOST_SPREADS), self.MOST_SPREADS)
        fixed = self.limits.farad * self._offset + self.limits.ratio * true_f * self._gain
        return true_f + fixed + noise * self.limits.spread
