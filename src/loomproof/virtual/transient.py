"""How long the loom takes to follow its drivers: capacitance against pull-ups.

A driven net falls at once; a net that was low and is released rises through its pull-ups, and what a
capacitor couples is kicked along. Nodes that less than `constants.AT_ONCE_OHM` joins move together, as
one cluster; between clusters lie resistors, diodes and capacitors.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from loomproof.virtual import constants as c
from loomproof.virtual.network import GROUND, Capacitor, Diode, Island, Network
from loomproof.virtual.solve import Array, steady

_STEPS = 20


class Charge:
    """Islands that capacitors couple (mostly one), reduced to clusters, and their voltages over time."""

    def __init__(
        self, islands: Sequence[Island], capacitors: Sequence[Capacitor], driver_ohm: float = c.DRIVER_OHM
    ) -> None:
        self._driver_ohm = driver_ohm
        self.islands = tuple(islands)
        self.cluster_of = _clusters(self.islands)
        count = max(self.cluster_of.values()) + 1
        self._points: list[list[int]] = [[] for _ in range(count)]
        g, feed = np.zeros((count + 1, count + 1)), np.zeros(count + 1)
        self._diodes: list[Diode] = []
        for island in self.islands:
            at = [self.cluster_of[node] for node in island.nodes]
            for i in island.points:
                self._points[at[i]].append(island.nodes[i])
                g[at[i], at[i]] += 1.0 / c.PULL_UP_OHM
                feed[at[i]] += c.SUPPLY_V / c.PULL_UP_OHM
            for u, v, ohm in island.resistors:
                if at[u] != at[v]:
                    _stamp(g, at[u], at[v], 1.0 / ohm)
            for plus, minus, volts, ohm in island.sources:
                _stamp(g, at[plus], GROUND if minus == GROUND else at[minus], 1.0 / ohm)
                feed[at[plus]] += volts / ohm
                if minus != GROUND:
                    feed[at[minus]] -= volts / ohm
            self._diodes += [
                d._replace(anode=at[d.anode], cathode=at[d.cathode])
                for d in island.diodes
                if at[d.anode] != at[d.cathode]
            ]
        farads = np.zeros((count + 1, count + 1))
        farads[np.diag_indices(count)] = c.LEAST_F
        for node, other, farad in capacitors:
            if other == GROUND:
                farads[self.cluster_of[node], self.cluster_of[node]] += farad
            elif self.cluster_of[node] != self.cluster_of[other]:
                _stamp(farads, self.cluster_of[node], self.cluster_of[other], farad)
        self._g, self._feed, self._farads = g[:count, :count], feed[:count], farads[:count, :count]
        self._at_rest: dict[int, Array] = {}
        self._released = self._settled(0)
        self._volts, self._time_s = self._released, float("-inf")
        self._modes: dict[int, tuple[Array, Array, Array]] = {}
        self.mask = sum(island.mask for island in self.islands)
        self.rest_s = c.AT_REST_TAUS * self._slowest_s()

    @property
    def at_rest(self) -> bool:
        """Whether nothing moves any more while nothing is driven."""
        return self._volts is self._released

    def _slowest_s(self) -> float:
        """No mode is slower than this: Σ C v² over Σ G v² is at most the worst cluster's own ratio.

        A cluster without a pull-up has only the way to its neighbours; for those the bound is their
        capacitance through the whole island.
        """
        own = np.diag(self._farads) + np.abs(self._farads - np.diag(np.diag(self._farads))).sum(axis=1)
        pull = np.array([len(points) / c.PULL_UP_OHM for points in self._points])
        if np.all(pull > 0.0):
            return float(np.max(own / pull))
        reach = sum(island.reach_ohm for island in self.islands)
        return float(own.sum() * (reach + c.PULL_UP_OHM))

    def read(self, drive: int, start_s: float, settle_s: float) -> dict[int, float]:
        """Drive for a while from ``start_s`` on. Return how far each node then is from its settled voltage.

        Nodes are the network's; V; none where all have settled. Time must not run backwards; where it does,
        the loom is at rest.
        """
        since_s = start_s - self._time_s
        volts = self._released if since_s < 0.0 else self._after(0, self._volts, since_s)
        volts = self._after(drive, volts, settle_s)
        self._volts, self._time_s = volts, start_s + settle_s
        settled = self._settled(drive)
        if volts is settled:
            return {}
        off = volts - settled
        return {
            island.nodes[i]: float(off[self.cluster_of[island.nodes[i]]])
            for island in self.islands
            for i in island.points
        }

    def _driven(self, drive: int) -> Array:
        g = self._g.copy()
        for cluster, points in enumerate(self._points):
            g[cluster, cluster] += sum(drive >> point & 1 for point in points) / self._driver_ohm
        return g

    def _settled(self, drive: int) -> Array:
        found = self._at_rest.get(drive)
        if found is None:
            start = np.full(len(self._feed), c.SUPPLY_V)
            found = self._at_rest[drive] = steady(self._driven(drive), self._feed, self._diodes, start)
        return found

    def _after(self, drive: int, volts: Array, time_s: float) -> Array:
        if time_s <= 0.0:
            return volts
        end = self._settled(drive)
        if time_s >= self.rest_s or volts is end:
            return end
        if self._diodes:
            coarse = self._stepped(drive, volts, time_s, _STEPS)
            return 2.0 * self._stepped(drive, volts, time_s, 2 * _STEPS) - coarse
        rate, forth, back = self._modes_of(drive)
        moved: Array = end + forth @ (np.exp(-np.minimum(rate * time_s, 700.0)) * (back @ (volts - end)))
        return moved

    def _stepped(self, drive: int, volts: Array, time_s: float, steps: int) -> Array:
        """Backward Euler; two runs with halved steps make it second order (Richardson)."""
        pace = self._farads * (steps / time_s)
        matrix = self._driven(drive) + pace
        for _ in range(steps):
            volts = steady(matrix, self._feed + pace @ volts, self._diodes, volts)
        return volts

    def _modes_of(self, drive: int) -> tuple[Array, Array, Array]:
        """Return rates (1/s) and the way to and from the modes of C dv/dt = -G v, both symmetric."""
        found = self._modes.get(drive)
        if found is None:
            half = np.linalg.inv(np.linalg.cholesky(self._farads))
            rate, modes = np.linalg.eigh(half @ self._driven(drive) @ half.T)
            found = rate, half.T @ modes, modes.T @ half @ self._farads
            self._modes[drive] = found
        return found


def _stamp(matrix: Array, u: int, v: int, value: float) -> None:
    matrix[u, u] += value
    matrix[v, v] += value
    matrix[u, v] -= value
    matrix[v, u] -= value


def _clusters(islands: Sequence[Island]) -> dict[int, int]:
    """Number the clusters and return each node's."""
    found: dict[int, int] = {}
    count = 0
    for island in islands:
        around: list[list[int]] = [[] for _ in island.nodes]
        for u, v, ohm in island.resistors:
            if ohm < c.AT_ONCE_OHM:
                around[u].append(v)
                around[v].append(u)
        at = [-1] * len(island.nodes)
        for start in range(len(at)):
            if at[start] >= 0:
                continue
            todo, at[start] = [start], count
            while todo:
                for other in around[todo.pop()]:
                    if at[other] < 0:
                        at[other] = count
                        todo.append(other)
            count += 1
        found |= dict(zip(island.nodes, at, strict=True))
    return found


def coupled(network: Network, islands: Sequence[Island]) -> list[tuple[list[Island], list[Capacitor]]]:
    """Group islands that capacitors couple, each group with its capacitors; islands without points left out.

    An island without a point that no capacitor couples to another cannot be read, so its charge is nobody's.
    """
    home = {node: number for number, island in enumerate(islands) for node in island.nodes}
    leader = list(range(len(islands)))

    def find(number: int) -> int:
        while leader[number] != number:
            leader[number] = number = leader[leader[number]]
        return number

    for capacitor in network.capacitors:
        if capacitor.v != GROUND:
            leader[find(home[capacitor.u])] = find(home[capacitor.v])
    members: dict[int, tuple[list[Island], list[Capacitor]]] = {}
    for number, island in enumerate(islands):
        members.setdefault(find(number), ([], []))[0].append(island)
    for capacitor in network.capacitors:
        members[find(home[capacitor.u])][1].append(capacitor)
    return [group for group in members.values() if any(island.mask for island in group[0])]
