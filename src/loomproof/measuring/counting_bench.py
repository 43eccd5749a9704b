"""The bench as a run uses it: only points in scope, and everything that is asked counted."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from loomproof.bench.seam import Bench, Capabilities, WatchEvent, Wires
from loomproof.measuring.clearance import Clearance, require_loom


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
        return [low & self.points for low in self.bench.sense(drives)]

    def resistance(self, a: int, b: int, wires: Wires = 2) -> float:
        """Measure between two sets, Ω; inf is over range."""
        self.readings += 1
        return self.bench.resistance(a, b, wires)

    def diode(self, a: int, b: int) -> float:
        """Measure the forward voltage from a to b, V; inf where no current flows."""
        self.readings += 1
        return self.bench.diode(a, b)

    def watch(self, sets: Sequence[int], seconds: float) -> Iterator[WatchEvent]:
        """Watch drive sets for that long; points without a cavity are left out."""
        for event in self.bench.watch(sets, seconds):
            yield WatchEvent(event.number, event.time_us, event.index, event.low & self.points)
