"""What the points read while some of them are driven: nodal voltages against each input's threshold."""

from __future__ import annotations

import numpy as np

from loomproof.virtual import constants as c
from loomproof.virtual.network import GROUND, Island, Network, islands
from loomproof.virtual.solve import Array, steady

_SURE_V = 0.9 * c.THRESHOLD_V[0]


class Senses:
    """The network in one state of its loose contacts, ready to be sensed."""

    def __init__(self, network: Network, opened: frozenset[int], seed: int) -> None:
        self.parts = islands(network, opened)
        self.easy: list[int] = []
        self.hard: list[HardIsland] = []
        for island in self.parts:
            if not island.points:
                continue
            pull_a = len(island.points) * c.SUPPLY_V / c.PULL_UP_OHM
            # All pull-up current through the longest way there is cannot lift a point to a threshold.
            if island.linear and pull_a * (island.reach_ohm + c.DRIVER_OHM) < _SURE_V:
                self.easy.append(island.mask)
            else:
                self.hard.append(HardIsland(island, seed))

    def low(self, drive: int) -> int:
        """Return the points that read low, settled, while ``drive`` is driven."""
        found = 0
        for mask in self.easy:
            if drive & mask:
                found |= mask
        for island in self.hard:
            found |= island.low(drive & island.mask)
        return found


class HardIsland:
    """An island whose readings need its voltages: resistances in the way, diodes, or a source."""

    def __init__(self, island: Island, seed: int) -> None:
        self.island = island
        self.mask = island.mask
        self._known: dict[int, int] = {}
        self._point = np.array(island.points)
        self._bits = [1 << island.nodes[i] for i in island.points]
        self._threshold_v = np.array(
            [c.between(c.THRESHOLD_V, seed, "threshold", island.nodes[i]) for i in island.points]
        )
        self._conductance_s: Array | None = None

    def low(self, drive: int) -> int:
        """Return the points of the island that read low, settled."""
        found = self._known.get(drive)
        if found is None:
            voltages = self.volts(drive)[self._point]
            found = 0
            for bit, is_low in zip(self._bits, (voltages < self._threshold_v).tolist(), strict=True):
                if is_low:
                    found |= bit
            self._known[drive] = found
        return found

    def volts(self, drive: int) -> Array:
        """Return the settled voltage of each node, V."""
        if self._conductance_s is None:
            self._conductance_s = self._base()
        matrix = self._conductance_s.copy()
        feed = np.zeros(len(matrix))
        feed[self._point] += c.SUPPLY_V / c.PULL_UP_OHM
        for plus, minus, volts, ohm in self.island.sources:
            feed[plus] += volts / ohm
            if minus != GROUND:
                feed[minus] -= volts / ohm
        driven = [i for i, bit in zip(self.island.points, self._bits, strict=True) if drive & bit]
        matrix[driven, driven] += 1.0 / c.DRIVER_OHM
        return steady(matrix, feed, self.island.diodes, np.full(len(matrix), c.SUPPLY_V))

    def _base(self) -> Array:
        matrix = self.island.conductances()
        matrix[self._point, self._point] += 1.0 / c.PULL_UP_OHM
        for plus, minus, _, ohm in self.island.sources:
            matrix[plus, plus] += 1.0 / ohm
            if minus != GROUND:
                matrix[minus, minus] += 1.0 / ohm
                matrix[plus, minus] -= 1.0 / ohm
                matrix[minus, plus] -= 1.0 / ohm
        return matrix
