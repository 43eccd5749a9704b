"""What an ideal meter reads between two groups of points, and what this scanner's meter makes of it."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

import numpy as np

from loomproof.virtual import constants as c
from loomproof.virtual.network import GROUND, Diode, Island, Network, Source
from loomproof.virtual.solve import Array, steady


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of error: ±(``ohm`` + ``ratio`` × reading)."""

    ohm: float
    ratio: float

    def __str__(self) -> str:
        return f"{self.ohm:g}:{self.ratio:g}"


class MeterError:
    """How one meter errs: a fixed offset and gain, and noise; together always inside its limits."""

    def __init__(self, limits: Limits, rng: random.Random) -> None:
        self.limits = limits
        self._offset = rng.uniform(-0.7, 0.7)
        self._gain = rng.uniform(-0.7, 0.7)
        self._rng = rng

    def read(self, true_ohm: float) -> float:
        """Return what the meter shows for a true resistance, Ω."""
        noise = min(max(self._rng.gauss(0.0, 0.08), -0.25), 0.25)
        error = self.limits.ohm * (self._offset + noise)
        error += self.limits.ratio * abs(true_ohm) * (self._gain + noise)
        return true_ohm + error


class Groups:
    """All of A joined, all of B joined and at 0 V, the rest open: a network with A as its one port."""

    def __init__(self, parts: list[Island], a: int, b: int) -> None:
        self.linear_s = 0.0
        self._nonlinear: list[tuple[Island, list[int]]] = []
        self.size = 1
        for island in parts:
            if not (island.mask & a and island.mask & b):
                continue
            place = self._places(island, a, b)
            if island.linear:
                self.linear_s += _port_conductance(island, place)
            else:
                number = {local: self.size + i for i, local in enumerate(sorted({p for p in place if p > 0}))}
                self._nonlinear.append((island, [number.get(p, p) for p in place]))
                self.size += len(number)

    @staticmethod
    def _places(island: Island, a: int, b: int) -> list[int]:
        """Where each node of the island goes: 0 is A, GROUND is B, the rest count from 1."""
        place = list(range(1, len(island.nodes) + 1))
        for i in island.points:
            bit = 1 << island.nodes[i]
            if a & bit:
                place[i] = 0
            elif b & bit:
                place[i] = GROUND
        return place

    def port_v(self, source_v: float, source_ohm: float) -> tuple[float, float]:
        """Return voltage at A and current into it from a source with a series resistance, V and A."""
        if not self._nonlinear:
            g = self.linear_s + 1.0 / source_ohm
            volts = source_v / source_ohm / g
            return volts, volts * self.linear_s
        volts = self._port(1.0 / source_ohm, source_v / source_ohm)
        return volts, (source_v - volts) / source_ohm

    def port_at_current(self, current_a: float) -> float:
        """Return the voltage at A while a current is fed in (through a parallel 1 GΩ), V."""
        if not self._nonlinear:
            return current_a / (self.linear_s + 1e-9)
        return self._port(1e-9, current_a)

    def _port(self, extra_s: float, current_a: float) -> float:
        size = self.size
        matrix = np.zeros((size + 1, size + 1))
        matrix[0, 0] += self.linear_s + extra_s
        feed = np.zeros(size + 1)
        feed[0] += current_a
        diodes: list[Diode] = []
        for island, place in self._nonlinear:
            for u, v, ohm in island.resistors:
                _stamp(matrix, place[u], place[v], 1.0 / ohm)
            for source in island.sources:
                _feed(matrix, feed, source, place)
            diodes += [d._replace(anode=place[d.anode], cathode=place[d.cathode]) for d in island.diodes]
        return float(steady(matrix[:size, :size], feed[:size], diodes, np.zeros(size))[0])


def _stamp(matrix: Array, u: int, v: int, g: float) -> None:
    matrix[u, u] += g
    matrix[v, v] += g
    matrix[u, v] -= g
    matrix[v, u] -= g


def _feed(matrix: Array, feed: Array, source: Source, place: list[int]) -> None:
    plus = place[source.plus]
    minus = GROUND if source.minus == GROUND else place[source.minus]
    _stamp(matrix, plus, minus, 1.0 / source.ohm)
    feed[plus] += source.volts / source.ohm
    feed[minus] -= source.volts / source.ohm


def _port_conductance(island: Island, place: list[int]) -> float:
    """Return the conductance of a resistor network between A (place 0) and B, S."""
    number = {local: 1 + i for i, local in enumerate(sorted({p for p in place if p > 0}))}
    place = [number.get(p, p) for p in place]
    size = 1 + len(number)
    matrix = np.zeros((size + 1, size + 1))
    if island.resistors:
        u = np.array([place[r.u] for r in island.resistors])
        v = np.array([place[r.v] for r in island.resistors])
        g = np.array([1.0 / r.ohm for r in island.resistors])
        np.add.at(matrix, (u, u), g)
        np.add.at(matrix, (v, v), g)
        np.add.at(matrix, (u, v), -g)
        np.add.at(matrix, (v, u), -g)
    feed = np.zeros(size)
    feed[0] = 1.0
    return 1.0 / float(np.linalg.solve(matrix[:size, :size], feed)[0])


def found_voltage(parts: list[Island], a: int, b: int) -> float:
    """Return the voltage of A, joined, against B, joined, nothing driven, V.

    Each point asked loads the loom with `constants.VOLT_INPUT_OHM` to the scanner's 0 V.
    """
    size, kept = 2, []
    loads_s = [0.0, 0.0]
    for island in parts:
        asked = [island.mask & group for group in (a, b)]
        for port, mask in enumerate(asked):
            loads_s[port] += mask.bit_count() / c.VOLT_INPUT_OHM
        if any(asked) and (island.sources or all(asked)):
            place = list(range(size, size + len(island.nodes)))
            for i in island.points:
                bit = 1 << island.nodes[i]
                place[i] = 0 if a & bit else 1 if b & bit else place[i]
            kept.append((island, place))
            size += len(island.nodes)
    matrix, feed = np.zeros((size + 1, size + 1)), np.zeros(size + 1)
    diodes: list[Diode] = []
    for island, place in kept:
        for u, v, ohm in island.resistors:
            _stamp(matrix, place[u], place[v], 1.0 / ohm)
        for source in island.sources:
            _feed(matrix, feed, source, place)
        diodes += [d._replace(anode=place[d.anode], cathode=place[d.cathode]) for d in island.diodes]
    matrix[(0, 1), (0, 1)] += loads_s
    used = [i for i in range(size) if matrix[i, i] > 0.0]
    number = {node: i for i, node in enumerate(used)}
    diodes = [d._replace(anode=number[d.anode], cathode=number[d.cathode]) for d in diodes]
    volts = steady(matrix[np.ix_(used, used)], feed[used], diodes, np.zeros(len(used)))
    return float(volts[number[0]] - volts[number[1]])


def insulation_ohm(
    network: Network, parts: list[Island], a: int, b: int, volts: float, dwell_s: float
) -> float:
    """Return the insulation resistance from A, joined, to B, joined, as read after a dwell, Ω.

    Beside every leak in the network lie each net's insulation to the bundle, the gaps that break down at
    this voltage, and the current that still charges the loom's capacitance through `CHARGING_OHM`.
    """
    home = {node: number for number, island in enumerate(parts) for node in island.nodes}
    side = [(bool(island.mask & a), bool(island.mask & b)) for island in parts]
    leak_s, farad = [0.0, 0.0], [0.0, 0.0]
    for node, siemens in enumerate(network.insulation_s):
        for port in (0, 1):
            leak_s[port] += siemens if side[home[node]][port] else 0.0
    for capacitor in network.capacitors:
        for port in (0, 1):
            farad[port] += capacitor.farad if side[home[capacitor.u]][port] else 0.0
    amps = volts * _series(*leak_s)
    amps += Groups(parts, a, b).port_v(volts, c.INSULATION_SOURCE_OHM)[1]
    for gap in network.breakdowns:
        one, two = side[home[gap.u]], side[home[gap.v]]
        if volts >= gap.volts and ((one[0] and two[1]) or (one[1] and two[0])):
            amps += volts / c.ARC_OHM
    slow_s = c.CHARGING_OHM * _series(*farad)
    if slow_s > 0.0:
        amps += volts / c.CHARGING_OHM * math.exp(-min(dwell_s / slow_s, 700.0))
    return volts / amps if amps > 0.0 else math.inf


def _series(one: float, two: float) -> float:
    return one * two / (one + two) if one and two else 0.0
