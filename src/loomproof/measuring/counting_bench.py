"""The bench as a run uses it: only points in scope, and everything that is asked counted."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from loomproof.bench.interface import Bench
from loomproof.bench.seam import Capabilities, WatchEvent, Wires, points_of
from loomproof.loom.model import End
from loomproof.measuring.clearance import Clearance, require_loom
from loomproof.measuring.events import Reading


@dataclass(slots=True)
class Asker:
    """Asks a bench on behalf of one run; ``points`` are those that have a cavity behind them.

    Raises `SafetyError` when it is made without a clearance for this bench.
    """

    bench: Bench
    clearance: Clearance
    points: int
    vectors: int = 0
    readings: int = 0
    asked: list[tuple[str, int, int, float | None]] = field(default_factory=list)
    """What was asked and answered since it was last told: kind, sets, value; see `Asker.told`."""

    def __post_init__(self) -> None:
        """Refuse a bench that is not cleared."""
        require_loom(self.clearance, self.bench)

    def capabilities(self) -> Capabilities:
        """What the bench can do."""
        return self.bench.capabilities()

    def sense(self, drives: Sequence[int]) -> list[int]:
        """Sense drive sets; points without a cavity are left out of the answers."""
        if not drives:
            return []
        self.vectors += len(drives)
        lows = [low & self.points for low in self.bench.sense(drives)]
        self.asked += (("sense", drive, low, None) for drive, low in zip(drives, lows, strict=True))
        return lows

    def resistance(self, a: int, b: int, wires: Wires = 2) -> float:
        """Measure between two sets, Ω; inf is over range."""
        self.readings += 1
        ohm = self.bench.resistance(a, b, wires)
        self.asked.append(("resistance", a, b, ohm))
        return ohm

    def diode(self, a: int, b: int) -> float:
        """Measure the forward voltage from a to b, V; inf where no current flows."""
        self.readings += 1
        volts = self.bench.diode(a, b)
        self.asked.append(("diode", a, b, volts))
        return volts

    def capacitance(self, a: int, b: int) -> float | None:
        """Measure between two sets, F; inf is over range, ``None`` does not settle."""
        self.readings += 1
        return self.bench.capacitance(a, b)

    def told(self, end_of: Mapping[int, End]) -> Iterator[Reading]:
        """Yield what was read since this was last asked for, by the cavities on the points."""
        fresh, self.asked = self.asked, []
        for kind, a, b, value in fresh:
            first, second = (tuple(end_of[p] for p in points_of(s) if p in end_of) for s in (a, b))
            yield Reading(kind, first, second, value)

    def watch(self, sets: Sequence[int], seconds: float) -> Iterator[WatchEvent]:
        """Watch drive sets for that long; points without a cavity are left out."""
        for event in self.bench.watch(sets, seconds):
            yield WatchEvent(event.number, event.time_us, event.index, event.low & self.points)
