"""The board with a loom, multiplexers and a converter: every terminal's and pin's voltage, and what errs.

A model of its own beside `tests.firmware.circuit`, whose board only ever holds points at 0 V: here pins drive
high as well, both sides of each protection resistor are known, and everything leaks.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from loomproof.loom.model import Loom
from loomproof.virtual.meter import Limits
from loomproof.virtual.network import Island, Network
from loomproof.virtual.scanner import Make
from loomproof.virtual.solve import steady
from tests.firmware.circuit import SUPPLY_V, Array, Circuit, Marks, Pins, Points, _mask
from tests.firmware.on_loom import LoomOnPins

POINTS = 56
PINS = (
    "A0A1A2A3A4A5A6A7C0C1C2C3C4C5C6C7L0L1L2L3L4L5L6L7F0F1F2F3F4F5F6F7K0K1K2K3K4K5K6K7"
    "H0H1H3H4H5H6J0J1D2D3E3E4E5G0G1G2"
)
"""Port and bit of each point."""
HZ = 16_000_000
LIKE_TAPS = Make(
    POINTS, line=352, accuracy=Limits(0.002, 0.005), ohms=(0.0, 1e5), volt_max=4.4, test_current_a=0.0028,
    test_voltage_v=5.25, driver_ohm=1095 / 1.05, pulled_at_once=4,
)  # fmt: skip
"""What a simulated scanner must be able to, to be asked what this one is asked."""


@dataclass(frozen=True)
class Leaks:
    """What flows into each terminal from the board: A at mid-supply, and S; the pins' drivers up, Ω."""

    ampere: Array
    siemens: Array
    up_ohm: Array


def drawn(
    seed: int, *, spread: float = 0.01, leak_a: float = 50e-9, leak_s: float = 2e-9
) -> tuple[Pins, Leaks]:
    """Return one board: resistors of 1 kΩ within ``spread``, leaks up to these."""
    rng = np.random.default_rng(seed)
    pins = Pins(
        rng.uniform(20e3, 50e3, POINTS),
        1000.0 * rng.uniform(1.0 - spread, 1.0 + spread, POINTS),
        rng.uniform(20.0, 45.0, POINTS),
        SUPPLY_V * rng.uniform(0.3, 0.6, POINTS),
        rng.uniform(20e-12, 30e-12, POINTS),
        np.zeros(POINTS),
    )
    return pins, Leaks(
        rng.uniform(-leak_a, leak_a, POINTS),
        rng.uniform(0.0, leak_s, POINTS),
        rng.uniform(20.0, 50.0, POINTS),
    )


class TappedCircuit(Circuit):
    """As `Circuit`, with points that are driven high, and terminals to be read."""

    leaks: Leaks

    def __init__(self, pins: Pins, network: Network, farads: Array | None = None) -> None:
        if not hasattr(self, "leaks"):
            self.leaks = Leaks(np.zeros(POINTS), np.full(POINTS, 1e-12), np.full(POINTS, 30.0))
        self._held: dict[tuple[int, int, int, int], tuple[Array, float]] = {}
        super().__init__(pins, network, farads)
        self._since = 0
        self._begun = self._towards = np.zeros(self.points)
        self._tau = np.ones(self.points)
        self._down = self._up = self._pull = np.zeros(self.points, bool)

    def load(self, network: Network, opened: frozenset[int] = frozenset()) -> None:
        self._held.clear()
        super().load(network, opened)

    def solve(self, driven: int, high: int, pulled: int, volts: Array) -> tuple[Array, Array, Array]:
        p, leaks, mid = self.pins, self.leaks, SUPPLY_V / 2.0
        begun = self.terminals(self.cycle)
        down, up, pull = (_mask(points, self.points) for points in (driven, high, pulled))
        # Each point by itself: what leaks drops over what holds it.
        held_ohm = np.where(down, p.driver_ohm, np.where(up, leaks.up_ohm, p.pull_ohm)) + p.series_ohm
        to_v = np.where(down, 0.0, SUPPLY_V)
        towards = (to_v / held_ohm + leaks.ampere + leaks.siemens * mid) / (1.0 / held_ohm + leaks.siemens)
        towards = np.where(down | up | pull, towards, begun)
        tau = held_ohm * self.farad
        for number, (island, members) in enumerate(zip(self._islands, self._members, strict=True)):
            mine = driven & island.mask, high & island.mask, pulled & island.mask
            if not any(mine):
                share = float(np.average(begun[members], weights=self.farad[members]))
                begun[members] = towards[members] = share
                continue
            found = self._held.get((number, *mine))
            if found is None:
                found = self._held[number, *mine] = self._hold(island, members, (down, up, pull), driven)
            towards[members], tau[members] = found
        self._since, self._begun, self._towards, self._tau = self.cycle, begun, towards, tau
        self._down, self._up, self._pull = down, up, pull
        return self._at_pins(begun), self._at_pins(towards), tau

    def _hold(
        self, island: Island, members: Points, state: tuple[Marks, Marks, Marks], driven: int
    ) -> tuple[Array, float]:
        """Return an island's terminals at rest and how fast it gets there."""
        p, leaks = self.pins, self.leaks
        down, up, pull = state
        matrix = island.conductances() + np.eye(len(island.nodes)) * 1e-13
        feed = np.zeros(len(matrix))
        total = 1e-12
        for i, point in zip(island.points, members, strict=True):
            matrix[i, i] += leaks.siemens[point]
            feed[i] += leaks.ampere[point] + leaks.siemens[point] * SUPPLY_V / 2.0
            if not (down[point] or up[point] or pull[point]):
                continue
            ohm = (p.driver_ohm if down[point] else leaks.up_ohm if up[point] else p.pull_ohm)[point]
            g = 1.0 / (ohm + p.series_ohm[point])
            matrix[i, i] += g
            feed[i] += 0.0 if down[point] else g * SUPPLY_V
            total += g
        for plus, minus, volts, ohm in island.sources:
            matrix[plus, plus] += 1.0 / ohm
            feed[plus] += volts / ohm
            if minus >= 0:
                matrix[minus, minus] += 1.0 / ohm
                matrix[plus, minus] -= 1.0 / ohm
                matrix[minus, plus] -= 1.0 / ohm
                feed[minus] -= volts / ohm
        at = steady(matrix, feed, island.diodes, np.full(len(matrix), SUPPLY_V / 2.0))[list(island.points)]
        return at, self.farad_of(island, members, driven) / total

    def _at_pins(self, terminals: Array) -> Array:
        p = self.pins
        ohm = np.where(self._down, p.driver_ohm, np.where(self._up, self.leaks.up_ohm, p.pull_ohm))
        to_v = np.where(self._down, 0.0, SUPPLY_V)
        held = self._down | self._up | self._pull
        part = ohm / (ohm + p.series_ohm)
        return np.where(held, to_v + (terminals - to_v) * part, terminals)

    def terminals(self, cycle: int) -> Array:
        """Return every terminal's voltage at a cycle, V."""
        part = np.exp(-max(cycle - self._since, 0) / HZ / np.maximum(self._tau, 1e-12))
        found: Array = self._towards + (self._begun - self._towards) * part
        return found

    def taken(self, begin: int, end: int) -> tuple[Array, Array]:
        """Return terminals and pins' sides of the resistors, the mean from one cycle to another, V."""
        s = max(end - begin, 1) / HZ
        begun = self.terminals(begin)
        tau = np.maximum(self._tau, 1e-12)
        part = tau / s * (1.0 - np.exp(-s / tau))
        mean = self._towards + (begun - self._towards) * part
        return mean, self._at_pins(mean)


class LoomOnTaps(LoomOnPins, TappedCircuit):
    """A loom with faults on such a board."""

    def __init__(self, seed: int, loom: Loom | Path, faults: tuple[str, ...] = ()) -> None:
        pins, self.leaks = drawn(seed)
        super().__init__(pins, loom, faults, make=LIKE_TAPS)


class BoardOnTaps(TappedCircuit):
    """A network on such a board."""

    def __init__(self, seed: int, network: Network, *, spread: float = 0.01) -> None:
        pins, self.leaks = drawn(seed, spread=spread)
        super().__init__(pins, network)


def db(ratio_db: float) -> float:
    """Return a ratio of voltages."""
    return math.pow(10.0, -ratio_db / 20.0)
