"""What an insulation test gave."""

from __future__ import annotations

from dataclasses import dataclass

from loomproof.results.measured import Decision, Path


@dataclass(frozen=True, slots=True)
class Insulation:
    """An insulation test of a whole hook-up.

    ``lowest_ohm`` is the lowest of the readings that together cover every pair of conductors (inf: over
    range), ``error_ratio`` how far off a reading may be, as a share of it. ``leaks`` are the pairs to blame.
    """

    volts: float
    dwell_ms: int
    limit_ohm: float
    error_ratio: float
    lowest_ohm: float
    readings: int
    decision: Decision
    leaks: tuple[Path, ...] = ()
