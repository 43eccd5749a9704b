"""A bench that measures and cannot sense, over the simulated loom: what a switch matrix and a meter are.

Without the instruments' line between, so that many looms can be proved in a test; the SCPI side of such a
bench is tested in tests/bench.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from types import TracebackType
from typing import Self

from loomproof.bench.seam import (
    Accuracy,
    Capabilities,
    Identity,
    Opening,
    Statistics,
    WatchEvent,
    WatchSummary,
    Wires,
)
from loomproof.loom.model import Loom
from loomproof.virtual.scanner import Make, Scanner

METER_ONLY = Capabilities(
    points=128,
    sense_ohm=None,
    clear_ohm=None,
    ohms=(0.001, 1e8),
    accuracy=Accuracy(0.2, 0.0005),
    four_wire=True,
    four_wire_accuracy=Accuracy(0.002, 0.0005),
    reading_ms=40,
    test_current_a=0.001,
    test_voltage_v=12,
)
"""A bench meter of six digits behind reed relays."""


@dataclass
class MeterBench:
    """The seam over a simulated loom; only `resistance` is there to be asked."""

    scanner: Scanner
    able: Capabilities = METER_ONLY
    readings: int = 0
    address: str = "test:meter"
    elapsed_s: float = 0.0
    opening: Opening = field(default_factory=lambda: Opening(simulated=True))
    watched: WatchSummary | None = None

    def touched(self, end: str | None) -> bool:
        return end is None

    def identify(self) -> Identity:
        return Identity("the tests", "matrix and meter", "1", "1")

    def capabilities(self) -> Capabilities:
        return self.able

    def confirm(self) -> None:
        pass

    @property
    def released(self) -> bool:
        return True

    def set_settle(self, settle_us: int) -> None:
        raise AssertionError("a bench that cannot sense has no settle time")

    def sense(self, drives: Sequence[int]) -> list[int]:
        raise AssertionError("a bench that cannot sense was asked to")

    def resistance(self, a: int, b: int, wires: Wires = 2) -> float:
        assert a
        assert b
        assert not a & b
        self.readings += 1
        ohm = self.scanner.true_resistance(a, b, 0.0, four_wire=wires == 4)
        assert self.able.ohms is not None
        return ohm if ohm <= self.able.ohms[1] else math.inf

    def voltage(self, a: int, b: int) -> float:
        raise AssertionError("this bench measures no voltage")

    def diode(self, a: int, b: int) -> float:
        raise AssertionError("this bench has no diode test")

    def insulation(self, a: int, b: int, volts: float, dwell_ms: int) -> float:
        raise AssertionError("not asked for here")

    def arm(self, volts: float) -> None:
        raise AssertionError("not asked for here")

    def temperature(self) -> float | None:
        return None

    def watch(self, sets: Sequence[int], seconds: float | None = None) -> Iterator[WatchEvent]:
        raise AssertionError("this bench cannot watch")

    def statistics(self) -> Statistics:
        return Statistics()

    def release(self) -> None:
        pass

    def close(self) -> None:
        pass

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        pass


def meter_bench(loom: Loom, *faults: str, able: Capabilities = METER_ONLY) -> MeterBench:
    """Return such a bench with a faulty loom on it."""
    return MeterBench(Scanner(loom, Make(len(loom.cavities)), faults=faults), able)
