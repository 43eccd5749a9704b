"""Which cavity pairs of a net to read so that every wire shows, with as few readings as that takes.

The pairs are a minimum spanning tree over the net's cavities, by the resistance of the wires between them:
short readings have tight limits and name few suspects. In a net without loops they show every wire on a way
between two cavities. Inside a loop a wire may carry too little of the current; then the pair where its
current is greatest is added, and a wire whose open does not show even there is *hidden*.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np

from loomproof.electrics.expectation import Expectation
from loomproof.electrics.graph import DisjointSets
from loomproof.electrics.islands import Island
from loomproof.electrics.joints import contact_ohm
from loomproof.electrics.loads import AGED_OHM
from loomproof.electrics.network import SENSITIVITY_FLOOR, Floats, Ints
from loomproof.loom.model import End

MANY = 40
"""Up to this many cavities every pair is tried for a wire in a loop; above, the most promising ones."""

PROMISING = 12
"""How many cavities on either side of a wire are tried in a big net."""


@dataclass(frozen=True, slots=True)
class Readings:
    """Pairs to read, and what they can't show.

    ``hidden`` are wires whose open would leave every reading of the net below its limit: parallel to others,
    or leading to no cavity. They are not provable.
    """

    pairs: tuple[tuple[End, End], ...]
    hidden: tuple[str, ...] = ()


def readings_of(expectation: Expectation, net_index: int) -> Readings:
    """Return as few cavity pairs of a net as show every wire that can be shown, and the hidden wires."""
    net = expectation.nets[net_index]
    edges = expectation.conductors.get(net_index, [])
    if len(net.cavities) < 2:
        return _named(expectation, net_index, [], range(len(edges)))
    pairs = _spanning_pairs(expectation, net_index)
    if len(edges) == len(net.ends) - 1 and _leaves_are_cavities(expectation, net_index):
        return Readings(tuple(pairs))
    chooser = _Chooser(expectation, net_index)
    unseen = chooser.unseen(pairs)
    hidden = []
    while unseen:
        edge = unseen.pop(0)
        pair = chooser.best(edge)
        if pair is None:
            hidden.append(edge)
        else:
            pairs.append(pair)
            shown = chooser.shown([pair])
            unseen = [other for other in unseen if not shown[other]]
    return _named(expectation, net_index, pairs, hidden)


def _named(
    expectation: Expectation, net_index: int, pairs: list[tuple[End, End]], hidden: list[int] | range
) -> Readings:
    conductors = [expectation.conductors[net_index][k][2] for k in sorted(hidden)]
    return Readings(tuple(pairs), tuple(c.name for c in conductors if c.kind == "wire"))


def _leaves_are_cavities(expectation: Expectation, net_index: int) -> bool:
    degree: dict[End, int] = {}
    for a, b, _ in expectation.conductors.get(net_index, ()):
        degree[a] = degree.get(a, 0) + 1
        degree[b] = degree.get(b, 0) + 1
    is_splice = expectation.loom.is_splice
    return all(degree.get(end, 0) > 1 for end in expectation.nets[net_index].ends if is_splice(end))


def _spanning_pairs(expectation: Expectation, net_index: int) -> list[tuple[End, End]]:
    """Minimum spanning tree of the cavities, by way of the region of wires nearest to each (Mehlhorn)."""
    net = expectation.nets[net_index]
    beside: dict[End, list[tuple[End, float]]] = {end: [] for end in net.ends}
    edges = expectation.conductors.get(net_index, [])
    for a, b, conductor in edges:
        beside[a].append((b, conductor.nominal_ohm))
        beside[b].append((a, conductor.nominal_ohm))
    place = {end: k for k, end in enumerate(net.cavities)}
    owner: dict[End, End] = {}
    distance: dict[End, float] = {}
    queue = [(0.0, place[end], end, end) for end in net.cavities]
    while queue:
        far, order, end, source = heapq.heappop(queue)
        if end in owner:
            continue
        owner[end], distance[end] = source, far
        for other, ohm in beside[end]:
            if other not in owner:
                heapq.heappush(queue, (far + ohm, order, other, source))
    ways = sorted(
        (distance[a] + conductor.nominal_ohm + distance[b], k)
        for k, (a, b, conductor) in enumerate(edges)
        if owner[a] != owner[b]
    )
    spanned = DisjointSets(net.cavities)
    pairs = []
    for _, k in ways:
        a, b = sorted((owner[edges[k][0]], owner[edges[k][1]]), key=place.__getitem__)
        if spanned.join(a, b):
            pairs.append((a, b))
    return sorted(pairs, key=lambda pair: (place[pair[0]], place[pair[1]]))


class _Chooser:
    """Finds pairs that show the conductors of one net; edges are numbered as the expectation lists them."""

    def __init__(self, expectation: Expectation, net_index: int) -> None:
        self.expectation = expectation
        self.net = expectation.nets[net_index]
        self.island: Island = expectation.island_of[net_index]
        listed = [conductor for _, _, conductor in expectation.conductors.get(net_index, ())]
        place = {id(edge.conductor): k for k, edge in enumerate(self.island.edges) if edge.conductor}
        self.edges: Ints = np.array([place[id(conductor)] for conductor in listed], dtype=np.intp)
        shares = expectation.share_ohms
        self.load_ohms: Floats = np.array(
            [shares.get(one.name, np.inf) if one.kind == "wire" else np.inf for one in listed]
        )
        self.contacts_ohm: Floats = np.zeros(len(self.island.node_of))
        for end in self.net.cavities:
            self.contacts_ohm[self.island.node_of[end]] = contact_ohm(expectation.loom, end)
        self.cavities: Ints = np.array([self.island.node_of[end] for end in self.net.cavities], dtype=np.intp)

    def excess(self, a: Ints, b: Ints) -> Floats:
        """How far each pair reads above its limit with each edge open, Ω: shape (edges, pairs)."""
        contacts = self.contacts_ohm[a] + self.contacts_ohm[b]
        sound = self.island.greatest.resistances(a, b) + contacts
        settings = self.expectation.loom.settings
        limit = settings.margin_ratio * sound + settings.margin_ohm
        if np.isfinite(self.load_ohms).any():
            carries = self.island.nominal.currents(a, b)[self.edges] ** 2 > SENSITIVITY_FLOOR
            share = np.where(carries, self.load_ohms[:, None], np.inf).min(axis=0)
            limit = np.minimum(limit, np.maximum(share, settings.margin_ratio * sound + AGED_OHM))
        opened: Floats = self.island.nominal.without(a, b)[self.edges] + contacts
        return opened - limit

    def shown(self, pairs: list[tuple[End, End]]) -> list[bool]:
        """Whether each edge shows in at least one of the pairs."""
        a = np.array([self.island.node_of[pair[0]] for pair in pairs], dtype=np.intp)
        b = np.array([self.island.node_of[pair[1]] for pair in pairs], dtype=np.intp)
        return [bool(row.any()) for row in self.excess(a, b) > 0.0]

    def unseen(self, pairs: list[tuple[End, End]]) -> list[int]:
        """The edges that none of the pairs shows."""
        return [k for k, seen in enumerate(self.shown(pairs)) if not seen]

    def best(self, edge: int) -> tuple[End, End] | None:
        """The pair that shows an edge most plainly, or ``None`` where no pair does."""
        near, far = self._candidates(edge)
        a, b = (grid.ravel() for grid in np.meshgrid(near, far, indexing="ij"))
        different = a != b
        a, b = a[different], b[different]
        excess = self.excess(self.cavities[a], self.cavities[b])[edge]
        best = int(np.argmax(excess))
        if not excess[best] > 0.0:
            return None
        first, second = sorted((int(a[best]), int(b[best])))
        return self.net.cavities[first], self.net.cavities[second]

    def _candidates(self, edge: int) -> tuple[Ints, Ints]:
        every: Ints = np.arange(self.cavities.size, dtype=np.intp)
        if every.size <= MANY:
            return every, every
        # A pair's current through the edge is the difference, at the pair, of the potential that a unit
        # current through the edge's ends makes. Its extremes carry most; of equals, the nearest ones.
        network = self.island.nominal
        tail, head = network.tails[self.edges[edge]], network.heads[self.edges[edge]]
        potential = (network.inverse[:, tail] - network.inverse[:, head])[self.cavities]
        scale = max(float(np.ptp(potential)), 1e-12)
        steps = np.round(potential / scale, 6)
        to_tail = network.resistances(self.cavities, np.full_like(self.cavities, tail))
        to_head = network.resistances(self.cavities, np.full_like(self.cavities, head))
        near = np.lexsort((to_tail, -steps))[:PROMISING]
        far = np.lexsort((to_head, steps))[:PROMISING]
        return near, far
