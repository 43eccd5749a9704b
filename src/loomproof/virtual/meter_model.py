"""What an ideal meter finds between two groups of points: all of A joined, all of B joined, the rest open."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from loomproof.virtual import constants as c
from loomproof.virtual.network import GROUND, Diode, Island, Network, Source
from loomproof.virtual.pointsets import indexes
from loomproof.virtual.solve import Array, steady

_FEW = 16
_STIFF_OHM = 1e-3


class Metered:
    """The islands of a network, ready to be measured."""

    def __init__(self, islands: Sequence[Island]) -> None:
        self.islands = islands
        self._at = {island.nodes[i]: number for number, island in enumerate(islands) for i in island.points}
        self._inverse: dict[int, Array] = {}

    def touched(self, group: int) -> list[int]:
        """Return the numbers of the islands that hold a point of the group."""
        if group.bit_count() <= _FEW:
            return sorted({self._at[point] for point in indexes(group)})
        return [number for number, island in enumerate(self.islands) if island.mask & group]

    def port(self, a: int, b: int) -> Port:
        """Return the network as seen from A (one terminal) and B (the other)."""
        fewer, other = (a, b) if a.bit_count() <= b.bit_count() else (b, a)
        joint = [number for number in self.touched(fewer) if self.islands[number].mask & other]
        linear_s = sum(self._conductance(number, a, b) for number in joint if self.islands[number].linear)
        return Port(
            linear_s, [self.islands[number] for number in joint if not self.islands[number].linear], a, b
        )

    def _conductance(self, number: int, a: int, b: int) -> float:
        """Return the conductance of one island of resistors between A and B, S.

        From the inverse of the Laplacian with one node grounded (any), kept; seen from a point of B it is
        the inverse of the island's conductances reduced to A and B.
        """
        island = self.islands[number]
        inverse = self._inverse.get(number)
        if inverse is None:
            inverse = np.zeros((len(island.nodes), len(island.nodes)))
            inverse[1:, 1:] = np.linalg.inv(island.conductances()[1:, 1:])
            self._inverse[number] = inverse
        ones = [i for i in island.points if a >> island.nodes[i] & 1]
        zeros = [i for i in island.points if b >> island.nodes[i] & 1]
        base = zeros[0]
        if len(ones) == 1 and len(zeros) == 1:
            (one,) = ones
            ohm = float(inverse[one, one] - 2.0 * inverse[one, base] + inverse[base, base])
            return 1.0 / max(ohm, c.LEAST_OHM)
        kept = np.array(ones + zeros[1:])
        seen = (
            inverse[np.ix_(kept, kept)]
            - inverse[kept, base][:, None]
            - inverse[base, kept][None, :]
            + inverse[base, base]
        )
        raised = np.zeros(len(kept))
        raised[: len(ones)] = 1.0
        return float(raised @ np.linalg.solve(seen, raised))

    def found_voltage(self, a: int, b: int) -> float:
        """Return the voltage of A against B, nothing driven, V.

        Each point asked loads the loom with `constants.VOLT_INPUT_OHM` to the scanner's 0 V.
        """
        sheet = _Sheet(2)
        for port, group in enumerate((a, b)):
            sheet.load(port, group.bit_count() / c.VOLT_INPUT_OHM)
        for number in self.touched(a | b):
            island = self.islands[number]
            if island.sources or (island.mask & a and island.mask & b):
                sheet.add(island, _places(island, (a, 0), (b, 1)))
        volts = sheet.solve()
        return float(volts[0] - volts[1])


class Port:
    """Two terminals of a network, A and B, with B at 0 V: resistors as one, the rest in full."""

    def __init__(self, linear_s: float, others: Sequence[Island], a: int, b: int) -> None:
        self._linear_s = linear_s
        self._others = others
        self._groups = (a, b)

    def driven(self, source_v: float, source_ohm: float) -> tuple[float, float]:
        """Return voltage at A and current into it from a source with a series resistance, V and A."""
        if not self._others:
            volts = source_v / source_ohm / (self._linear_s + 1.0 / source_ohm)
            return volts, volts * self._linear_s
        volts = self._volts(1.0 / source_ohm, source_v / source_ohm)
        return volts, (source_v - volts) / source_ohm

    def at_current(self, current_a: float, most_v: float) -> float:
        """Return the voltage at A while a current flows in, V; infinity where it takes over ``most_v``."""
        if not self._others:
            volts = current_a / self._linear_s if self._linear_s else math.inf
            return volts if volts <= most_v else math.inf
        # First ask what the most voltage can drive: a current source into an open circuit has no answer.
        if self.driven(most_v, _STIFF_OHM)[1] < current_a:
            return math.inf
        return self._volts(0.0, current_a)

    def _volts(self, extra_s: float, current_a: float) -> float:
        a, b = self._groups
        sheet = _Sheet(1)
        sheet.load(0, self._linear_s + extra_s, current_a)
        for island in self._others:
            sheet.add(island, _places(island, (a, 0), (b, GROUND)))
        return float(sheet.solve()[0])


def _places(island: Island, *groups: tuple[int, int]) -> dict[int, int]:
    """Return where the island's points go that belong to a group."""
    return {i: place for i in island.points for group, place in groups if group >> island.nodes[i] & 1}


class _Sheet:
    """Nodal equations under construction; the first nodes are the ports."""

    def __init__(self, ports: int) -> None:
        self._count = ports
        self._conductors: list[tuple[int, int, float]] = []
        self._feeds: list[tuple[int, float]] = []
        self._diodes: list[Diode] = []

    def load(self, node: int, siemens: float, current_a: float = 0.0) -> None:
        self._conductors.append((node, GROUND, siemens))
        self._feeds.append((node, current_a))

    def add(self, island: Island, known: dict[int, int]) -> None:
        place = []
        for i in range(len(island.nodes)):
            if i in known:
                place.append(known[i])
            else:
                place.append(self._count)
                self._count += 1
        self._conductors += [(place[u], place[v], 1.0 / ohm) for u, v, ohm in island.resistors]
        for source in island.sources:
            self._source(source, place)
        self._diodes += [d._replace(anode=place[d.anode], cathode=place[d.cathode]) for d in island.diodes]

    def _source(self, source: Source, place: list[int]) -> None:
        plus = place[source.plus]
        minus = GROUND if source.minus == GROUND else place[source.minus]
        self._conductors.append((plus, minus, 1.0 / source.ohm))
        self._feeds += [(plus, source.volts / source.ohm), (minus, -source.volts / source.ohm)]

    def solve(self) -> Array:
        size = self._count
        matrix, feed = np.zeros((size + 1, size + 1)), np.zeros(size + 1)
        for u, v, siemens in self._conductors:
            matrix[u, u] += siemens
            matrix[v, v] += siemens
            matrix[u, v] -= siemens
            matrix[v, u] -= siemens
        for node, current in self._feeds:
            feed[node] += current
        return steady(matrix[:size, :size], feed[:size], self._diodes, np.zeros(size))


def insulation_ohm(network: Network, metered: Metered, a: int, b: int, volts: float, dwell_s: float) -> float:
    """Return the insulation resistance from A, joined, to B, joined, as read after a dwell, Ω.

    Beside every leak in the network lie each net's insulation to the bundle, the gaps that break down at
    this voltage, and the current that still charges the loom's capacitance through `CHARGING_OHM`.
    """
    home = {node: number for number, island in enumerate(metered.islands) for node in island.nodes}
    sides = [set(metered.touched(group)) for group in (a, b)]
    leak_s, farad = [0.0, 0.0], [0.0, 0.0]
    for port, side in enumerate(sides):
        leak_s[port] = sum(
            siemens for node, siemens in enumerate(network.insulation_s) if siemens and home[node] in side
        )
        farad[port] = sum(capacitor.farad for capacitor in network.capacitors if home[capacitor.u] in side)
    amps = volts * _series(*leak_s)
    amps += metered.port(a, b).driven(volts, c.INSULATION_SOURCE_OHM)[1]
    for gap in network.breakdowns:
        ends = home[gap.u], home[gap.v]
        if volts >= gap.volts and any(one in sides[0] and two in sides[1] for one, two in (ends, ends[::-1])):
            amps += volts / c.ARC_OHM
    slow_s = c.CHARGING_OHM * _series(*farad)
    if slow_s > 0.0:
        amps += volts / c.CHARGING_OHM * math.exp(-min(dwell_s / slow_s, 700.0))
    return volts / amps if amps > 0.0 else math.inf


def _series(one: float, two: float) -> float:
    return one * two / (one + two) if one and two else 0.0
