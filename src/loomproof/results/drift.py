"""A joint that drifts, as it is told: by very many proofs, in tables, pictures and frames."""

from __future__ import annotations

import datetime
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Drift:
    """A joint that drifts towards its limit. Ohms and days; intervals are of 95 %.

    ``meets`` is the day (UTC) on which its line meets the limit, ``meets_from`` and ``meets_to`` the
    interval. ``None`` where that is farther away than its readings can tell, or the interval has no end
    there.
    """

    loom: str
    serial: str
    joint: str
    readings: int
    days: int
    last_ohm: float
    limit_ohm: float
    slope_ohm_a_year: float
    slope_from: float
    slope_to: float
    meets: datetime.date | None
    meets_from: datetime.date | None
    meets_to: datetime.date | None

    @property
    def name(self) -> str:
        """The joint with its loom, as it is shown: ``Engine, 7: ECU:1 to FAN:1``."""
        return f"{self.loom}, {self.serial}: {self.joint}" if self.serial else f"{self.loom}: {self.joint}"
