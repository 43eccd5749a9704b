"""Benches that answer from the truth: a scanner on the link in memory, and a matrix with a meter.

A reading is off by no more than the bench states: half of it always the same, the rest by chance.
"""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from loomproof.bench.interface import Bench
from loomproof.bench.opening import open_bench
from loomproof.bench.references import Reference
from loomproof.bench.scanner import ScannerBench
from loomproof.loom.model import End
from tests.bench.device import Clock, MemoryLine, Scanner
from tests.bench.instruments import Matrix, served
from tests.campaign.true_looms import TEMPERATURE_C
from tests.campaign.truth import PULL_UP_OHM, Truth

OVER = "9.9E37"


@dataclass(frozen=True)
class Make:
    """What a bench states of itself, and is."""

    name: str
    accuracy_ohm: float = 0.1
    ratio: float = 0.01
    ohms: tuple[float, float] | None = (0.01, 1e6)
    diode: bool = True
    four_wire: bool = False
    sense_ohm: float | None = 25_000.0
    clear_ohm: float = 250_000.0
    supply_v: float = 3.3
    test_v: float = 5.0
    test_a: float = 0.01

    @property
    def series_ohm(self) -> float:
        return self.test_v / self.test_a

    def error_ohm(self, ohm: float) -> float:
        """Return the largest error of a reading."""
        return self.accuracy_ohm + self.ratio * ohm

    def capabilities(self, points: int) -> str:
        keys = [
            f"SENSE={self.sense_ohm or 25_000:g},CLEAR={self.clear_ohm:g},VOLT=30,MSTIME=1",
            f"TESTI={self.test_a:g},TESTV={self.test_v:g},DIOD={int(self.diode and self.ohms is not None)}",
        ]
        if self.ohms:
            # A bench of four wires has its fine figures there, and poor ones with two.
            poor = (
                (max(0.1, self.accuracy_ohm), self.ratio)
                if self.four_wire
                else (self.accuracy_ohm, self.ratio)
            )
            keys.append(f"OHMS={self.ohms[0]:g}:{self.ohms[1]:g},ACC={poor[0]:g}:{poor[1]:g}")
            if self.four_wire:
                keys.append(f"FOUR=1,FACC={self.accuracy_ohm:g}:{self.ratio:g}")
        return ",".join(keys)


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading as the bench made it: what is so, and what it showed (Ω)."""

    a: tuple[End, ...]
    b: tuple[End, ...]
    true_ohm: float
    shown_ohm: float


class Meter:
    """Ohms from the truth, off by no more than is stated."""

    def __init__(self, truth: Truth, make: Make, seed: str) -> None:
        self.truth, self.make = truth, make
        self.random = random.Random(f"{seed}/meter")
        self.always = self.random.uniform(-1.0, 1.0)
        self.readings: list[Reading] = []

    def ohm(self, a: Iterable[End], b: Iterable[End]) -> float:
        one, two = tuple(a), tuple(b)
        return self.shown(one, two, self.truth.read(one, two, self.make.test_v, self.make.series_ohm))

    def shown(self, one: tuple[End, ...], two: tuple[End, ...], true: float) -> float:
        """Return what is shown of a resistance, Ω, and note it."""
        assert self.make.ohms is not None
        shown = math.inf
        if true < self.make.ohms[1]:
            off = 0.5 * self.always + 0.45 * self.random.uniform(-1.0, 1.0)
            shown = max(0.0, true + off * self.make.error_ohm(true))
        self.readings.append(Reading(one, two, true, shown))
        return shown


class TrueScanner(Scanner):
    """The scanner of the tests, written from the link's page, with a loom of the campaign on it."""

    def __init__(
        self,
        truth: Truth,
        make: Make,
        seed: str,
        spare_points: int = 3,
        references: Sequence[Reference] = (),
    ) -> None:
        self.reference_of = {frozenset(each.sets): each.ohm for each in references}
        self.truth, self.make = truth, make
        self.order = truth.circuitry.ends
        self.meter = Meter(truth, make, seed)
        chance = random.Random(f"{seed}/inputs")
        sense_ohm = make.sense_ohm or 25_000.0
        surely_low_v = make.supply_v * sense_ohm / (sense_ohm + PULL_UP_OHM)
        surely_high_v = make.supply_v * make.clear_ohm / (make.clear_ohm + PULL_UP_OHM)
        self.threshold_v = {
            end: chance.uniform(surely_low_v * 1.01, surely_high_v * 0.99) for end in self.order
        }
        points = len(self.order) + spare_points
        super().__init__(Clock(), points, capabilities=make.capabilities(points), line=max(512, points + 60))

    def ends(self, mask: int) -> tuple[End, ...]:
        """Return the cavities of a point set; points beyond the loom hold none."""
        return tuple(end for i, end in enumerate(self.order) if mask >> i & 1)

    def low(self, drive: int) -> int:
        found = self.truth.low(self.ends(drive), self.make.supply_v, self.threshold_v)
        return drive | sum(1 << i for i, end in enumerate(self.order) if end in found)

    def measure(self, what: str, a: int, b: int, more: Sequence[str]) -> str:
        if what == "VOLT":
            return "0.0000E+0"
        if what in ("RES", "FRES"):
            return self.figure(self.ohm(a, b))
        if what == "DIOD":
            volts, current = self.truth.operate(
                self.ends(a), self.ends(b), self.make.test_v, self.make.series_ohm
            )
            return OVER if current < 1e-4 * self.make.test_a else f"{volts:.5E}"
        return super().measure(what, a, b, more)

    def ohm(self, a: int, b: int) -> float:
        """Return what is shown between two point sets, a reference's or the loom's, Ω."""
        reference_ohm = self.reference_of.get(frozenset((a, b)))
        if reference_ohm is None:
            return self.meter.ohm(self.ends(a), self.ends(b))
        return self.meter.shown((), (), reference_ohm)

    def true_ohm(self, a: int, b: int) -> float:
        """Return what is so between two point sets, Ω."""
        reference_ohm = self.reference_of.get(frozenset((a, b)))
        if reference_ohm is not None:
            return reference_ohm
        return self.truth.read(self.ends(a), self.ends(b), self.make.test_v, self.make.series_ohm)

    def figure(self, ohm: float) -> str:
        return OVER if math.isinf(ohm) else f"{ohm:.6E}"

    def execute(self, body: str) -> str:
        if body == "MEAS:TEMP?":
            return f"{TEMPERATURE_C:.4E}"
        return super().execute(body)


@contextmanager
def scanner_bench(scanner: Scanner) -> Iterator[ScannerBench]:
    """Open a scanner over the link, in memory, on its own clock."""
    numbers = itertools.count(1)
    bench = ScannerBench(
        lambda: MemoryLine(scanner, scanner.clock),
        "memory:",
        clock=scanner.clock,
        nonces=lambda: f"{next(numbers):08X}",
    )
    bench.connect()
    with bench:
        yield bench


PROFILE = """
name = "matrix of the campaign"
points = {points}
channel = "{{row}}{{point:03d}}"
rows_a = ["1", "3"]
rows_b = ["2", "4"]
close = "ROUTe:CLOSe (@{{channels}})"
open_all = "ROUTe:OPEN:ALL"
settle_ms = 0
measure = "MEASure:RESistance?"
measure_four = "MEASure:FRESistance?"
ohms = [{low:g}, {high:g}]
accuracy = {{ ohm = 0.2, ratio = {ratio:g} }}
accuracy_four = {{ ohm = {ohm:g}, ratio = {ratio:g} }}
reading_ms = 1
test_current_a = {amps:g}
test_voltage_v = {volts:g}
"""


@contextmanager
def matrix_bench(meter: Meter, folder: Path) -> Iterator[Bench]:
    """Serve a matrix with this meter on a socket and open it."""
    make, order = meter.make, meter.truth.circuitry.ends
    assert make.ohms is not None
    profile = folder / "matrix.toml"
    profile.write_text(
        PROFILE.format(
            points=len(order),
            low=make.ohms[0],
            high=make.ohms[1],
            ohm=make.accuracy_ohm,
            ratio=make.ratio,
            amps=make.test_a,
            volts=make.test_v,
        ),
        encoding="utf-8",
    )

    def ohms(a: frozenset[int], b: frozenset[int]) -> float:
        return meter.ohm((order[p - 1] for p in sorted(a)), (order[p - 1] for p in sorted(b)))

    with served(Matrix(ohms)) as resource, open_bench(f"visa:{resource}?profile={profile}") as bench:
        yield bench
