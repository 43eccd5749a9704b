"""What hangs on the emulated board's pins: pull-ups, drivers, resistors, inputs that leak, and a loom.

A model of its own: the loom's network is the simulator's, everything from the terminal to the chip is here,
and shares nothing with the firmware nor with what the simulator makes of points.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from loomproof.virtual.network import Island, Network, Resistor, islands
from loomproof.virtual.solve import steady

Array = NDArray[np.float64]
Points = NDArray[np.int64]
Marks = NDArray[np.bool_]
POINTS = 64
SUPPLY_V = 5.0


@dataclass(frozen=True)
class Pins:
    """Each point of one board: Ω, F, and the voltage at which its input turns.

    Drawn within the data sheet's limits by `drawn`: pull-ups of 20 to 50 kΩ, thresholds between 0.3 and
    0.6 of the supply; a driver of up to 45 Ω (0.9 V at 20 mA); protection of 1 kΩ ± 5 %.
    """

    pull_ohm: Array
    series_ohm: Array
    driver_ohm: Array
    threshold_v: Array
    farad: Array
    leak_a: Array = field(default_factory=lambda: np.zeros(POINTS))

    @classmethod
    def drawn(cls, seed: int, *, near: float | None = None) -> Pins:
        """Return one board; ``near``: all pull-ups within 5 % of this, as those of one chip are."""
        rng = np.random.default_rng(seed)
        pull = rng.uniform(20e3, 50e3, POINTS) if near is None else near * rng.uniform(0.95, 1.05, POINTS)
        return cls(
            pull,
            rng.uniform(950.0, 1050.0, POINTS),
            rng.uniform(20.0, 45.0, POINTS),
            SUPPLY_V * rng.uniform(0.3, 0.6, POINTS),
            rng.uniform(8e-12, 15e-12, POINTS),
        )


def on_expanders(seed: int, points: int) -> Pins:
    """Return points on expanders, drawn within the limits of their data sheet and of their resistors.

    Pull-ups of 40 to 115 µA at 5 V, thresholds between 0.2 and 0.8 of the supply, a driver of up to 75 Ω
    (0.6 V at 8 mA); protection of 470 Ω ± 1 %.
    """
    rng = np.random.default_rng(seed)
    return Pins(
        rng.uniform(SUPPLY_V / 115e-6, SUPPLY_V / 40e-6, points),
        rng.uniform(465.3, 474.7, points),
        rng.uniform(20.0, 75.0, points),
        SUPPLY_V * rng.uniform(0.2, 0.8, points),
        rng.uniform(8e-12, 15e-12, points),
        np.zeros(points),
    )


def cycle_farads(pins: Pins, hertz: float) -> Array:
    """Return the capacitance that makes each point's rise longer by a cycle, F.

    The pin stands above its terminal by what the pull-up's current drops in the series resistor.
    """
    whole = pins.series_ohm + pins.pull_ohm
    start_v = SUPPLY_V * pins.series_ohm / whole
    found: Array = 1.0 / hertz / (whole * np.log((SUPPLY_V - start_v) / (SUPPLY_V - pins.threshold_v)))
    return found


def bits(points: int) -> Iterator[int]:
    """Yield the indexes from 0 of a point set."""
    while points:
        low = points & -points
        yield low.bit_length() - 1
        points ^= low


def bare(points: int = POINTS) -> Network:
    """Return a board with nothing on it."""
    return Network(points, points, (), (-1,) * points, (0.0,) * points)


def joined(groups: Sequence[Sequence[int]], extra: Sequence[Resistor] = (), points: int = POINTS) -> Network:
    """Return a board with groups of points (from 1) joined by a tenth of an ohm, and other resistors."""
    wires = [Resistor(a - 1, b - 1, 0.1) for group in groups for a, b in itertools.pairwise(group)]
    return Network(points, points, (*wires, *extra), (-1,) * points, (0.0,) * points)


class Circuit:
    """The board with a network on it: where each pin's voltage goes, and how fast.

    ``farads`` is what each point has to 0 V beside its pin; between conductors nothing is modelled here.
    Unless ``timed`` a conductor's capacitance is the same whatever else is held: no rise is measured.
    """

    timed = True

    def __init__(self, pins: Pins, network: Network, farads: Array | None = None) -> None:
        self.pins = pins
        self.cycle = 0  # of the change that is solved
        self.points = len(pins.pull_ohm)
        self.farad = pins.farad + (np.zeros(self.points) if farads is None else farads)
        self._known: dict[tuple[int, int, int, int], tuple[Array, Array]] = {}
        self._lift = pins.series_ohm / (pins.series_ohm + pins.pull_ohm)
        self._up_ohm = pins.series_ohm + pins.pull_ohm
        self._down_ohm = pins.series_ohm + pins.driver_ohm
        self._pulled = np.zeros(self.points, bool)
        self.load(network)

    def load(self, network: Network, opened: frozenset[int] = frozenset()) -> None:
        """Put another network on the pins."""
        self._known.clear()
        self._islands = [
            island
            for island in islands(network, opened)
            if len(island.points) > 1 or (island.points and not island.linear)
        ]
        self._members = [np.array([island.nodes[i] for i in island.points]) for island in self._islands]

    def solve(self, driven: int, high: int, pulled: int, volts: Array) -> tuple[Array, Array, Array]:
        """Return each pin's voltage now, where it goes, and its time constant, V, V, s."""
        p = self.pins
        down, pull = _mask(driven, self.points), _mask(pulled, self.points)
        if high:
            raise AssertionError(f"points driven high: {list(bits(high))}")
        # A pull-up's current lifts its pin above the terminal; the terminal's voltage is what cannot jump.
        terminal = np.where(self._pulled, (volts - self._lift * SUPPLY_V) / (1.0 - self._lift), volts)
        self._pulled = pull
        now = np.where(pull, terminal + (SUPPLY_V - terminal) * self._lift, terminal)
        rest = np.where(down, 0.0, np.where(pull, SUPPLY_V, now))
        tau = np.where(down, self._down_ohm, self._up_ohm) * self.farad
        leaking = ~down & (p.leak_a > 0.0)
        if leaking.any():
            fall_v = p.leak_a * p.pull_ohm
            rest = np.where(leaking, np.where(pull, np.maximum(SUPPLY_V - fall_v, 0.0), 0.0), rest)
            # A constant current pulls down a pin that floats: its own time from the supply to half of it.
            slow = self.farad * SUPPLY_V / np.maximum(p.leak_a, 1e-15)
            tau = np.where(leaking & ~pull, slow, tau)
        for number, (island, members) in enumerate(zip(self._islands, self._members, strict=True)):
            key = (number, driven & island.mask, pulled & island.mask, driven if self.timed else 0)
            if not key[1] and not key[2]:
                share = float(np.average(terminal[members], weights=self.farad[members]))
                now[members] = rest[members] = share
                continue
            found = self._known.get(key)
            if found is None:
                found = self._known[key] = self._island(island, members, down, pull, driven)
            rest[members], tau[members] = found
        return now, rest, tau

    def _island(
        self, island: Island, members: Points, down: Marks, pull: Marks, driven: int
    ) -> tuple[Array, Array]:
        p = self.pins
        matrix = island.conductances() + np.eye(len(island.nodes)) * 1e-12
        feed = np.zeros(len(matrix))
        total = 1e-12
        for i, point in zip(island.points, members, strict=True):
            if down[point]:
                g = 1.0 / (p.series_ohm[point] + p.driver_ohm[point])
            elif pull[point]:
                g = 1.0 / (p.series_ohm[point] + p.pull_ohm[point])
                feed[i] += g * SUPPLY_V
            else:
                continue
            matrix[i, i] += g
            total += g
        for plus, minus, volts, ohm in island.sources:
            matrix[plus, plus] += 1.0 / ohm
            feed[plus] += volts / ohm
            if minus >= 0:
                matrix[minus, minus] += 1.0 / ohm
                matrix[plus, minus] -= 1.0 / ohm
                matrix[minus, plus] -= 1.0 / ohm
                feed[minus] -= volts / ohm
        terminal = steady(matrix, feed, island.diodes, np.full(len(matrix), SUPPLY_V))[list(island.points)]
        divide = p.series_ohm[members] / (p.series_ohm[members] + p.pull_ohm[members])
        held = p.driver_ohm[members] / (p.series_ohm[members] + p.driver_ohm[members])
        pin = np.where(
            down[members],
            terminal * held,
            np.where(pull[members], terminal + (SUPPLY_V - terminal) * divide, terminal),
        )
        tau = np.full(len(members), self.farad_of(island, members, driven) / total)
        return pin, tau

    def farad_of(self, island: Island, members: Points, driven: int) -> float:
        """Return what an island has to what is held at 0 V, F."""
        return float(np.sum(self.farad[members]))


def _mask(points: int, count: int) -> Marks:
    raw = np.frombuffer(points.to_bytes(count // 8, "little"), np.uint8)
    return np.unpackbits(raw, bitorder="little").astype(bool)


def noise_seed(name: str) -> int:
    """Return a seed for a named stream."""
    return random.Random(name).getrandbits(31)
