"""Benches that lie, by kind: what each does to the truth before it is told."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from loomproof.bench.references import Reference
from loomproof.loom.model import End
from tests.campaign.true_benches import OVER, Make, TrueScanner
from tests.campaign.truth import Truth

Figure = Callable[[float, int, random.Random], float]
"""What is shown of a reading: of its ohms, its number from 0, and chance."""

Sets = Callable[[set[int], set[int], int], tuple[set[int], set[int]]]
"""Which points are on the two buses in truth: of those asked for, and of the point that is at fault."""

Mask = Callable[[int, int, int, random.Random], int]
"""A point set told or driven: of the honest one, the driven one, all points, and chance."""


@dataclass(frozen=True)
class Lie:
    """One kind. ``word`` answers a whole command in place of the truth; ``states``: what it says it is."""

    name: str
    figure: Figure | None = None
    text: Callable[[float], str] | None = None
    lag: tuple[int, int] = (0, 0)
    sets: Sets | None = None
    drive: Mask | None = None
    low: Mask | None = None
    sense_lag: int = 0
    word: Callable[[str, int], str | None] | None = None
    four: bool | None = None
    states: Callable[[Make], Make] = lambda make: make


class LyingScanner(TrueScanner):
    """A scanner at fault at one point, or everywhere. ``lied``: it has told something that is not so."""

    def __init__(
        self, truth: Truth, make: Make, seed: str, lie: Lie, references: Sequence[Reference] = ()
    ) -> None:
        super().__init__(truth, make, seed, spare_points=max(3, 2 * len(references)), references=references)
        # What it is stays as it was; what it states may be better than that.
        self.capabilities = lie.states(make).capabilities(self.points)
        self.lie = lie
        self.chance = random.Random(f"{seed}/lie")
        self.at = self.chance.randrange(len(self.order))
        self.lied = False
        self.shown: list[float] = []
        self.masks: list[int] = []
        self.asked = 0
        self.diodes: set[tuple[int, int]] = set()

    def measure(self, what: str, a: int, b: int, more: Sequence[str]) -> str:
        lie = self.lie
        if what == "DIOD":
            self.diodes.add((a, b))
        if what not in ("RES", "FRES"):
            return super().measure(what, a, b, more)
        one, two = self.ends(a), self.ends(b)
        if lie.sets and frozenset((a, b)) not in self.reference_of:
            sets = lie.sets({self.order.index(e) for e in one}, {self.order.index(e) for e in two}, self.at)
            ohm = self._between(*sets)
        else:
            ohm = self.ohm(a, b)
        if lie.figure:
            ohm = lie.figure(ohm, len(self.shown), self.chance)
        self.shown.append(ohm)
        begin, by = lie.lag
        if by and len(self.shown) > begin + by:
            ohm = self.shown[-1 - by]
        true = self.true_ohm(a, b)
        self.lied |= not self._so(true, ohm)
        if lie.text:
            self.lied = True
            return lie.text(ohm)
        return self.figure(ohm)

    def _between(self, a: set[int], b: set[int]) -> float:
        if a & b:
            return 0.01
        ends: list[tuple[End, ...]] = [tuple(self.order[i] for i in sorted(points)) for points in (a, b)]
        return self.meter.ohm(*ends) if all(ends) else math.inf

    def _so(self, true: float, shown: float) -> bool:
        assert self.make.ohms is not None
        stated = self.lie.states(self.make)
        if true >= self.make.ohms[1] or math.isinf(shown):
            return shown >= 0.98 * self.make.ohms[1] and true >= 0.95 * self.make.ohms[1]
        return abs(true - shown) <= stated.error_ohm(true)

    def low(self, drive: int) -> int:
        lie, every = self.lie, (1 << len(self.order)) - 1
        driven = lie.drive(drive, 1 << self.at, every, self.chance) if lie.drive else drive
        honest = super().low(drive)
        told = honest if driven == drive else super().low(driven)
        if lie.low:
            told = lie.low(told, drive, every, self.chance) if lie.name not in AT_A_POINT else told
        if lie.low and lie.name in AT_A_POINT:
            told = lie.low(told, drive, 1 << self.at, self.chance)
        self.masks.append(told)
        if lie.sense_lag and len(self.masks) > lie.sense_lag:
            told = self.masks[-1 - lie.sense_lag]
        self.lied |= told != honest
        return told

    def execute(self, body: str) -> str:
        self.asked += 1
        told = self.lie.word(body, self.asked) if self.lie.word else None
        if told is not None:
            self.lied = True
            return told
        # Another scanner in the place of the first is a lie even where nobody asks.
        self.lied |= self.lie.name == OTHER and self.asked > LATER
        return super().execute(body)


OTHER, LATER = "another serial later", 12
EXCHANGED = "two points exchanged in the meter"
OTHER_IDENTITY = "Invented Instruments,Pin Scanner,SN2,1.0"
AT_A_POINT = {"input stuck low", "input stuck high", "two inputs exchanged"}


def _exchanged(mask: int, one: int, two: int) -> int:
    return mask & ~(one | two) | (two if mask & one else 0) | (one if mask & two else 0)


def beside(point: int) -> int:
    """Return the point that is at fault together with one."""
    return point - 1 if point else point + 1


def _beside(ohm: float, other: float) -> float:
    return other if math.isinf(ohm) else ohm * other / (ohm + other)


def _rounded(step: float) -> Figure:
    return lambda ohm, n, chance: ohm if math.isinf(ohm) else step * round(ohm / step)


def _finer(make: Make) -> Make:
    return replace(make, accuracy_ohm=make.accuracy_ohm / 100, ratio=make.ratio / 100)


def _burst(share: float, ohm_off: float) -> Figure:
    def figure(ohm: float, n: int, chance: random.Random) -> float:
        return abs(ohm + chance.choice((-1, 1)) * ohm_off) if chance.random() < share else ohm

    return figure


LIES: tuple[Lie, ...] = (
    Lie("offset + 3 Ω", lambda ohm, n, c: ohm + 3.0),
    Lie("offset + 0.5 Ω", lambda ohm, n, c: ohm + 0.5),
    Lie("offset - 0.5 Ω, never under nought", lambda ohm, n, c: max(0.0, ohm - 0.5)),
    Lie("offset - 3 Ω", lambda ohm, n, c: ohm - 3.0),
    Lie("twice", lambda ohm, n, c: 2 * ohm),
    Lie("half", lambda ohm, n, c: ohm / 2),
    Lie("wrong range, a thousandth", lambda ohm, n, c: ohm / 1e3),
    Lie("wrong range, a thousand times", lambda ohm, n, c: ohm * 1e3),
    Lie("nought, whatever is in range", lambda ohm, n, c: ohm if math.isinf(ohm) else 0.0),
    Lie("nought under 1 kΩ", lambda ohm, n, c: 0.0 if ohm < 1e3 else ohm),
    Lie("always open", lambda ohm, n, c: math.inf),
    Lie("always 0.05 Ω", lambda ohm, n, c: 0.05),
    Lie("always 1 Ω", lambda ohm, n, c: 1.0),
    Lie("always nought", lambda ohm, n, c: 0.0),
    Lie("saturates at 10 Ω", lambda ohm, n, c: min(ohm, 10.0)),
    Lie("saturates at 0.08 Ω", lambda ohm, n, c: ohm if math.isinf(ohm) else min(ohm, 0.08)),
    Lie("never under 1 Ω", lambda ohm, n, c: max(ohm, 1.0)),
    Lie("in steps of 1 Ω", _rounded(1.0)),
    Lie("in steps of 10 Ω", _rounded(10.0)),
    Lie("drifts up", lambda ohm, n, c: ohm + 0.02 * n),
    Lie("drifts down", lambda ohm, n, c: max(0.0, ohm - 0.02 * n)),
    Lie("gain drifts", lambda ohm, n, c: ohm * (1 + 0.02 * n)),
    Lie("noise of 2 Ω now and then", _burst(0.05, 2.0)),
    Lie("noise of 2 Ω often", _burst(0.4, 2.0)),
    Lie("noise of 1 kΩ now and then", _burst(0.05, 1e3)),
    Lie("one reading behind", lag=(0, 1)),
    Lie("one reading behind, later", lag=(12, 1)),
    Lie("three readings behind", lag=(0, 3)),
    Lie("no number", text=lambda ohm: "9.91E37"),
    Lie("less than nothing", text=lambda ohm: "-1.00000E+0"),
    Lie("over range the other way", text=lambda ohm: "-9.9E37"),
    Lie("words", text=lambda ohm: "OL"),
    Lie("over range is nought", lambda ohm, n, c: 0.0 if math.isinf(ohm) else ohm),
    Lie("30 kΩ on its board", lambda ohm, n, c: _beside(ohm, 30e3)),
    Lie("1 Ω on its board", lambda ohm, n, c: _beside(ohm, 1.0)),
    Lie("a relay to bus A open", sets=lambda a, b, at: (a - {at}, b)),
    Lie("a relay to either bus open", sets=lambda a, b, at: (a - {at}, b - {at})),
    Lie("a relay stuck on bus A", sets=lambda a, b, at: (a | {at}, b)),
    Lie("a relay stuck on bus B", sets=lambda a, b, at: (a, b | {at})),
    Lie(
        EXCHANGED,
        sets=lambda a, b, at: (_swapped(a, at), _swapped(b, at)),
    ),
    Lie("sense leads open", lambda ohm, n, c: ohm if math.isinf(ohm) else ohm * 1e-4, four=True),
    Lie("states a hundred times better than it is", states=_finer),
    Lie("input stuck low", low=lambda low, driven, at, c: low | at),
    Lie("input stuck high", low=lambda low, driven, at, c: low & ~at),
    Lie("driver dead", drive=lambda drive, at, every, c: drive & ~at),
    Lie("driver stuck on", drive=lambda drive, at, every, c: drive | at),
    Lie("all low once driven", low=lambda low, driven, every, c: every if driven else low),
    Lie("nothing but the driven low", low=lambda low, driven, every, c: driven),
    Lie("all inputs low", low=lambda low, driven, every, c: every),
    Lie("one answer of the senses behind", sense_lag=1),
    Lie("inputs flip", low=lambda low, driven, every, c: low ^ (1 << c.randrange(every.bit_length()))),
    Lie("two inputs exchanged", low=lambda low, driven, at, c: _exchanged(low, at, at >> 1 or at << 1)),
    Lie("12 V on the loom", word=lambda body, n: "1.2000E+1" if body.startswith("MEAS:VOLT") else None),
    Lie("85 °C", word=lambda body, n: "8.5000E+1" if body == "MEAS:TEMP?" else None),
    Lie(OTHER, word=lambda body, n: OTHER_IDENTITY if body == "*IDN?" and n > LATER else None),
    Lie("refuses now and then", word=lambda body, n: 'ERR -300,"device"' if n % 40 == 39 else None),
    Lie("diode test always open", word=lambda body, n: OVER if body.startswith("MEAS:DIOD") else None),
)
"""What can be wrong with a bench."""


def _swapped(points: set[int], at: int) -> set[int]:
    other = beside(at)
    return {other if p == at else at if p == other else p for p in points}
