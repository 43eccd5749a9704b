"""What the points read while some of them are driven: nodal voltages against each input's threshold."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from loomproof.virtual import constants as c
from loomproof.virtual.network import GROUND, Capacitor, Island, Network
from loomproof.virtual.pointsets import indexes
from loomproof.virtual.solve import Array, steady
from loomproof.virtual.transient import Charge, coupled

_SURE_V = 0.9 * c.THRESHOLD_V[0]


class FrontEnd(NamedTuple):
    """What stands before the inputs: ohms in series with each driver, and how many points are pulled up at
    once, bank by bank from the first point on; 0: all."""

    driver_ohm: float = c.DRIVER_OHM
    bank: int = 0

    def banks(self, mask: int) -> list[int]:
        """Return the points of a set that are read in one moment, for each moment that reads any."""
        if not self.bank:
            return [mask]
        whole = (1 << self.bank) - 1
        moments = range(0, mask.bit_length(), self.bank)
        return [found for at in moments if (found := mask & whole << at)]


USUAL = FrontEnd()


class Senses:
    """The islands of a network in one state of its loose contacts, ready to be sensed."""

    def __init__(self, network: Network, islands: list[Island], seed: int, front: FrontEnd = USUAL) -> None:
        self._front = front
        self._network = network
        self._islands = islands
        self._seed = seed
        self._easy: dict[int, int] = {}
        self._easy_mask = 0
        self._hard: list[Voltages] = []
        for island in islands:
            if not island.points:
                continue
            pull_a = len(island.points) * c.SUPPLY_V / c.PULL_UP_OHM
            # All pull-up current through the longest way there is cannot lift a point to a threshold.
            if island.linear and pull_a * (island.reach_ohm + front.driver_ohm) < _SURE_V:
                self._easy |= dict.fromkeys(indexes(island.mask), island.mask)
                self._easy_mask |= island.mask
            else:
                self._hard.append(Voltages(island, seed, front))
        self._groups = coupled(network, islands)
        self._fastest_settle_s = math.inf
        self._slow: list[tuple[Charge, list[Voltages]]] = []
        self._slow_of: dict[int, int] = {}
        self._slow_mask = self._slow_low = 0
        self._moving: set[int] = set()

    def low(self, drive: int, time_s: float = 0.0, settle_s: float = math.inf) -> int:
        """Return the points that read low after ``drive`` was driven at ``time_s`` for ``settle_s``."""
        if settle_s < self._fastest_settle_s:
            self._find_slow(settle_s)
        found = 0
        # Island by island that is driven, not all of them: nearly always one point is.
        driven = drive & self._easy_mask
        while driven:
            mask = self._easy[(driven & -driven).bit_length() - 1]
            found |= mask
            driven &= ~mask
        for voltages in self._hard:
            found |= voltages.low(drive & voltages.mask)
        if self._slow and settle_s < math.inf:
            found = found & ~self._slow_mask | self._low_of_slow(drive, time_s, settle_s)
        return found

    def _low_of_slow(self, drive: int, time_s: float, settle_s: float) -> int:
        """Return the slow points that read low. What is at rest and not driven stays so, and is not asked."""
        asked = self._moving
        driven = drive & self._slow_mask
        while driven:
            number = self._slow_of[(driven & -driven).bit_length() - 1]
            asked.add(number)
            driven &= ~self._slow[number][0].mask
        found = self._slow_low
        for number in asked:
            charge, parts = self._slow[number]
            found &= ~charge.mask
            off = charge.read(drive & charge.mask, time_s, settle_s)
            for voltages in parts:
                found |= voltages.low_off(drive & voltages.mask, off)
        self._moving = {number for number in asked if not self._slow[number][0].at_rest}
        return found

    def all_voltages(self) -> list[Voltages]:
        """Return every island with a point in full, however easy its readings are."""
        return [Voltages(island, self._seed, self._front) for island in self._islands if island.points]

    def _find_slow(self, settle_s: float) -> None:
        """Single out the islands that may not have settled by then; the rest need no thought of time."""
        self._fastest_settle_s = settle_s
        self._slow, self._slow_of, self._slow_mask, self._slow_low = [], {}, 0, 0
        self._moving = set()
        for islands, capacitors in self._groups:
            if _surely_quick(islands, capacitors, settle_s):
                continue
            charge = Charge(islands, capacitors, self._front.driver_ohm)
            if charge.rest_s > settle_s:
                parts = [Voltages(island, self._seed, self._front) for island in islands if island.points]
                self._slow_of |= dict.fromkeys(indexes(charge.mask), len(self._slow))
                self._slow.append((charge, parts))
                self._slow_mask |= charge.mask
                for voltages in parts:
                    self._slow_low |= voltages.low(0)


def _surely_quick(islands: list[Island], capacitors: list[Capacitor], settle_s: float) -> bool:
    """Whether one island of one cluster is at rest by then: its capacitance through all its pull-ups."""
    if len(islands) > 1 or islands[0].reach_ohm >= c.AT_ONCE_OHM:
        return False
    farad = sum(capacitor.farad for capacitor in capacitors)
    return c.AT_REST_TAUS * farad * c.PULL_UP_OHM / len(islands[0].points) <= settle_s


class Voltages:
    """An island whose readings need its voltages: resistances in the way, diodes, a source, or time."""

    def __init__(self, island: Island, seed: int, front: FrontEnd = USUAL) -> None:
        self._front = front
        self.island = island
        self.mask = island.mask
        self._known: dict[int, int] = {}
        self._volts: dict[int, Array] = {}
        self._point = np.array(island.points)
        self._bits = [1 << island.nodes[i] for i in island.points]
        self._threshold_v = np.array(
            [c.between(c.THRESHOLD_V, seed, "threshold", str(island.nodes[i])) for i in island.points]
        )
        self._base: dict[int, Array] = {}

    def low(self, drive: int) -> int:
        """Return the points of the island that read low, settled."""
        found = self._known.get(drive)
        if found is None:
            found = self._known[drive] = self._below(self.point_volts(drive))
        return found

    def low_off(self, drive: int, off_v: Mapping[int, float]) -> int:
        """Return the points that read low while nodes are ``off_v`` away from their settled voltages.

        Where ``off_v`` is empty they are settled, as most islands are that were not driven before.
        """
        if not off_v:
            return self.low(drive)
        off = np.array([off_v[self.island.nodes[i]] for i in self.island.points])
        return self._below(self.point_volts(drive) + off)

    def _below(self, volts: Array) -> int:
        below = (volts < self._threshold_v).tolist()
        return sum(bit for bit, is_low in zip(self._bits, below, strict=True) if is_low)

    def point_volts(self, drive: int) -> Array:
        """Return the settled voltage of each of the island's points, V."""
        found = self._volts.get(drive)
        if found is None:
            found = np.zeros(len(self._point))
            for bank in self._front.banks(self.mask):
                read = np.array([bool(bit & bank) for bit in self._bits])
                found[read] = self.volts(drive, bank)[self._point][read]
            self._volts[drive] = found
        return found

    def volts(self, drive: int, pulled: int | None = None) -> Array:
        """Return the settled voltage of each node, V; only the points of ``pulled`` are pulled up, or all."""
        up = self.mask if pulled is None else pulled & self.mask
        matrix = self._conductances(up).copy()
        feed = np.zeros(len(matrix))
        feed[self._pulled(up)] += c.SUPPLY_V / c.PULL_UP_OHM
        for plus, minus, volts, ohm in self.island.sources:
            feed[plus] += volts / ohm
            if minus != GROUND:
                feed[minus] -= volts / ohm
        driven = [i for i, bit in zip(self.island.points, self._bits, strict=True) if drive & bit]
        matrix[driven, driven] += 1.0 / self._front.driver_ohm
        return steady(matrix, feed, self.island.diodes, np.full(len(matrix), c.SUPPLY_V))

    def _pulled(self, up: int) -> list[int]:
        return [i for i, bit in zip(self.island.points, self._bits, strict=True) if bit & up]

    def _conductances(self, up: int) -> Array:
        found = self._base.get(up)
        if found is not None:
            return found
        matrix = self._base[up] = self.island.conductances()
        points = self._pulled(up)
        matrix[points, points] += 1.0 / c.PULL_UP_OHM
        for plus, minus, _, ohm in self.island.sources:
            matrix[plus, plus] += 1.0 / ohm
            if minus != GROUND:
                matrix[minus, minus] += 1.0 / ohm
                matrix[plus, minus] -= 1.0 / ohm
                matrix[minus, plus] -= 1.0 / ohm
        return matrix
