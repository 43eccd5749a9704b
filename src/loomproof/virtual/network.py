"""The loom on the bench as an electrical network: nodes, resistors, diodes, capacitors, sources.

Nodes are numbered from 0; nodes 0 to ``points`` - 1 are the scanner's points, the rest are cavities,
splices and the insides of parts. ``GROUND`` is the scanner's 0 V.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

GROUND = -1


class Resistor(NamedTuple):
    """A resistance between two nodes, Ω."""

    u: int
    v: int
    ohm: float


class Diode(NamedTuple):
    """I = ``saturation_a`` (exp(V / ``slope_v``) - 1) from anode to cathode."""

    anode: int
    cathode: int
    saturation_a: float
    slope_v: float


class Capacitor(NamedTuple):
    """A capacitance between two nodes (or a node and `GROUND`), F."""

    u: int
    v: int
    farad: float


class Source(NamedTuple):
    """A voltage with a series resistance between two nodes (or a node and `GROUND`)."""

    plus: int
    minus: int
    volts: float
    ohm: float


class Charged(NamedTuple):
    """A capacitor between two nodes that somebody left charged: F, and V at the beginning."""

    plus: int
    minus: int
    farad: float
    volts: float


class Breakdown(NamedTuple):
    """An air gap that conducts above a voltage."""

    u: int
    v: int
    volts: float


class Loose(NamedTuple):
    """A resistor that opens again and again: at ``hz``, for the share ``duty`` of each period."""

    resistor: int
    hz: float
    duty: float
    phase: float

    def is_open(self, time_s: float) -> bool:
        """Whether it is open at this moment."""
        return (time_s * self.hz + self.phase) % 1.0 < self.duty

    def next_change_s(self, time_s: float) -> float:
        """The next moment at which it opens or closes."""
        turns = time_s * self.hz + self.phase
        into = turns % 1.0
        edge = self.duty if into < self.duty else 1.0
        return time_s + max((edge - into) / self.hz, 1e-9)


@dataclass(frozen=True)
class Network:
    """A loom with its faults on a scanner's points, at one temperature.

    ``lead_ohm``: series resistance of each point's adapter lead, part of ``contact[i]`` (the resistor
    that joins point i to its cavity, -1 where the point has none). ``insulation_s``: conductance of
    each node's insulation to the rest of the bundle, S.
    """

    nodes: int
    points: int
    resistors: tuple[Resistor, ...]
    contact: tuple[int, ...]
    lead_ohm: tuple[float, ...]
    diodes: tuple[Diode, ...] = ()
    capacitors: tuple[Capacitor, ...] = ()
    sources: tuple[Source, ...] = ()
    charged: tuple[Charged, ...] = ()
    breakdowns: tuple[Breakdown, ...] = ()
    loose: tuple[Loose, ...] = ()
    insulation_s: tuple[float, ...] = ()

    def opened(self, time_s: float) -> frozenset[int]:
        """Return the resistors that are open at this moment."""
        return frozenset(one.resistor for one in self.loose if one.is_open(time_s))

    def next_change_s(self, time_s: float) -> float:
        """The next moment at which a loose contact changes; infinity where nothing is loose."""
        return min((one.next_change_s(time_s) for one in self.loose), default=float("inf"))


@dataclass(frozen=True)
class Island:
    """Nodes that no steady current can leave: one connected part of the network, capacitors apart.

    ``nodes`` are the network's node numbers; elements are renumbered to positions in ``nodes``. Between
    any two nodes there is a path of resistors of at most ``reach_ohm`` (a diode has its leakage beside it).
    ``points`` are the positions of its scanner points, ``mask`` the same as a point set.
    """

    nodes: tuple[int, ...]
    points: tuple[int, ...]
    resistors: tuple[Resistor, ...]
    diodes: tuple[Diode, ...]
    sources: tuple[Source, ...]
    reach_ohm: float
    mask: int

    @property
    def linear(self) -> bool:
        """Whether resistors are all there is."""
        return not self.diodes and not self.sources

    def conductances(self) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
        """Return the Laplacian of the resistors, S."""
        size = len(self.nodes)
        matrix = np.zeros((size, size))
        if self.resistors:
            u, v, ohm = (np.array(column) for column in zip(*self.resistors, strict=True))
            g = 1.0 / ohm
            np.add.at(matrix, (u, u), g)
            np.add.at(matrix, (v, v), g)
            np.add.at(matrix, (u, v), -g)
            np.add.at(matrix, (v, u), -g)
        return matrix


def islands(network: Network, opened: frozenset[int]) -> list[Island]:
    """Split the network, with some resistors open, into its islands."""
    around: list[list[tuple[int, float]]] = [[] for _ in range(network.nodes)]
    for index, (u, v, ohm) in enumerate(network.resistors):
        if index not in opened:
            around[u].append((v, ohm))
            around[v].append((u, ohm))
    for source in network.sources:
        if source.minus != GROUND:
            around[source.plus].append((source.minus, source.ohm))
            around[source.minus].append((source.plus, source.ohm))

    home = [-1] * network.nodes
    members: list[list[int]] = []
    reach: list[float] = []
    for start in range(network.nodes):
        if home[start] >= 0:
            continue
        number = len(members)
        group, far = [start], [0.0]
        home[start] = number
        i = 0
        while i < len(group):
            for node, ohm in around[group[i]]:
                if home[node] < 0:
                    home[node] = number
                    group.append(node)
                    far.append(far[i] + ohm)
            i += 1
        members.append(group)
        reach.append(2.0 * max(far))
    return _islands(network, opened, home, members, reach)


def _islands(
    network: Network, opened: frozenset[int], home: list[int], members: list[list[int]], reach: list[float]
) -> list[Island]:
    place = [0] * network.nodes
    for group in members:
        for position, node in enumerate(group):
            place[node] = position
    resistors: list[list[Resistor]] = [[] for _ in members]
    diodes: list[list[Diode]] = [[] for _ in members]
    sources: list[list[Source]] = [[] for _ in members]
    for index, resistor in enumerate(network.resistors):
        if index not in opened:
            u, v, ohm = resistor
            resistors[home[u]].append(Resistor(place[u], place[v], ohm))
    for diode in network.diodes:
        diodes[home[diode.anode]].append(
            diode._replace(anode=place[diode.anode], cathode=place[diode.cathode])
        )
    for source in network.sources:
        minus = source.minus if source.minus == GROUND else place[source.minus]
        sources[home[source.plus]].append(source._replace(plus=place[source.plus], minus=minus))
    return [
        Island(
            nodes=tuple(group),
            points=tuple(i for i, node in enumerate(group) if node < network.points),
            resistors=tuple(resistors[number]),
            diodes=tuple(diodes[number]),
            sources=tuple(sources[number]),
            reach_ohm=reach[number],
            mask=sum(1 << node for node in group if node < network.points),
        )
        for number, group in enumerate(members)
    ]
