"""A bench of the tests' own: a network of resistors and diodes under it, solved node by node.

Physics written here from scratch: every point has a pull-up of 100 kΩ to 3.3 V, a driven point is at 0 V,
and a point reads low under 0.66 V. A diode conducts from 0.6 V on. Resistance is what a source of 1 mA
that gives at most 5 V finds between two joined sets; above 20 MΩ it is over range.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from loomproof.bench.questions import (
    Answer,
    Diode,
    NextEvent,
    Question,
    Resistance,
    Sense,
    Settle,
    Temperature,
    Watch,
    Watched,
)
from loomproof.bench.seam import Accuracy, Capabilities, Opening, WatchEvent
from loomproof.loom.model import End
from tests.memory_bench import MemoryBench, simulated

PULL_UP_OHM, SUPPLY_V, LOW_V, DROP_V = 100e3, 3.3, 0.66, 0.6
CURRENT_A, LIMIT_V, MOST_OHM = 1e-3, 5.0, 20e6


@dataclass
class Network:
    """What really is there: resistors and diodes between places, by name; change it to make a fault."""

    ohms: dict[str, tuple[End, End, float]]
    diodes: dict[str, tuple[End, End]] = field(default_factory=dict)

    def solve(
        self,
        fixed: dict[End, float],
        pulled: Sequence[End] = (),
        injected: dict[End, float] | None = None,
        joined: Sequence[Sequence[End]] = (),
    ) -> tuple[dict[End, float], dict[End, float]]:
        """Return voltages, and the currents that the fixed places give; diodes switch until all holds.

        ``joined`` are sets of places that are tied together.
        """
        same = {end: group[0] for group in joined for end in group}
        places = {end for a, b, _ in self.ohms.values() for end in (a, b)}
        places |= {end for pair in self.diodes.values() for end in pair}
        places |= {*pulled, *fixed, *same, *(injected or ())}
        nodes = {node: k for k, node in enumerate(sorted({same.get(end, end) for end in places}))}
        at = {end: nodes[same.get(end, end)] for end in places}
        conducting: set[str] = set()
        for _ in range(50):
            matrix, right = np.diag(np.full(len(nodes), 1e-10)), np.zeros(len(nodes))
            for a, b, ohm in self.ohms.values():
                _join(matrix, at[a], at[b], 1 / ohm)
            for name in conducting:
                a, k = self.diodes[name]
                _join(matrix, at[a], at[k], 1.0)
                right[at[a]] += DROP_V
                right[at[k]] -= DROP_V
            for end in pulled:
                matrix[at[end], at[end]] += 1 / PULL_UP_OHM
                right[at[end]] += SUPPLY_V / PULL_UP_OHM
            for end, ampere in (injected or {}).items():
                right[at[end]] += ampere
            held, volts = matrix.copy(), right.copy()
            for end, volt in fixed.items():
                held[at[end]] = 0.0
                held[at[end], at[end]] = 1.0
                volts[at[end]] = volt
            solved = np.linalg.solve(held, volts)
            now = {n for n, (a, k) in self.diodes.items() if solved[at[a]] - solved[at[k]] > DROP_V - 1e-9}
            if now == conducting:
                break
            conducting = now
        given = matrix @ solved - right
        return (
            {end: float(solved[at[end]]) for end in places},
            {end: float(given[at[end]]) for end in fixed},
        )


def _join(matrix: np.ndarray[tuple[int, int], np.dtype[np.float64]], a: int, b: int, siemens: float) -> None:
    matrix[a, a] += siemens
    matrix[b, b] += siemens
    matrix[a, b] -= siemens
    matrix[b, a] -= siemens


FULL = Capabilities(64, ohms=(0.0, MOST_OHM), accuracy=Accuracy(0.02, 0.005), diode=True, watch_us=1000)


@dataclass
class NetworkBench(MemoryBench):
    """The seam over a `Network`; points lie on cavities as given."""

    model = "network"
    network: Network
    point_of: dict[End, int]
    able: Capabilities = FULL
    lead_ohm: float = 0.0
    events: tuple[WatchEvent, ...] = ()
    wires_asked: list[int] = field(default_factory=list)
    opened: Opening = field(default_factory=simulated)

    def _ends(self, points: int) -> list[End]:
        return [end for end, point in self.point_of.items() if points >> (point - 1) & 1]

    def _answer(self, question: Question) -> Answer:
        match question:
            case Sense(drives):
                return [self._low(drive) for drive in drives]
            case Resistance(a, b, wires):
                return self._ohm(a, b, wires)
            case Diode(a, b):
                return self._forward(a, b)
            case Temperature():
                return 20.0
            case Watch(sets):
                self._reported = self._watch(sets)
            case NextEvent():
                return next(self._reported, None)
            case Settle() | Watched():
                pass
            case _:
                return super()._answer(question)
        return None

    def _low(self, drive: int) -> int:
        volts, _ = self.network.solve(dict.fromkeys(self._ends(drive), 0.0), list(self.point_of))
        return sum(1 << (p - 1) for end, p in self.point_of.items() if volts[end] < LOW_V)

    def _ohm(self, a: int, b: int, wires: int) -> float:
        self.wires_asked.append(wires)
        high, low = self._ends(a), self._ends(b)
        if not (high and low):
            return math.inf  # a point without a lead
        volts, _ = self.network.solve({low[0]: 0.0}, (), {high[0]: CURRENT_A}, (high, low))
        volt = volts[high[0]]
        if volt > LIMIT_V:
            _, ampere = self.network.solve({low[0]: 0.0, high[0]: LIMIT_V}, joined=(high, low))
            ohm = LIMIT_V / max(ampere[high[0]], 1e-12)
        else:
            ohm = volt / CURRENT_A
        ohm += 2 * self.lead_ohm if wires == 2 else 0.0
        return ohm if ohm <= MOST_OHM else math.inf

    def _forward(self, a: int, b: int) -> float:
        [high], [low] = self._ends(a), self._ends(b)
        volts, _ = self.network.solve({low: 0.0}, (), {high: CURRENT_A})
        volt = volts[high] - volts[low]
        return volt if volt < LIMIT_V else math.inf

    def _watch(self, sets: Sequence[int]) -> Iterator[WatchEvent]:
        yield from (WatchEvent(k, 0, k, self._low(drive)) for k, drive in enumerate(sets))
        yield from self.events


def without_ohms(able: Capabilities = FULL) -> Capabilities:
    return replace(able, ohms=None, accuracy=None, diode=False)
