"""The expected wiring as trees of conductors between tested cavities.

Every tested cavity is a **leaf**. Splices, untested cavities and cavities with several wires are **inner**
nodes; a cavity with several wires is a leaf on a contact of its own, so that one bad contact is one
fault. Wires, contacts and built-in parts that join what should be one net are **edges**. Parallel
wires between the same two nodes are one edge, since only together can they be seen to be open.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple

from loomproof.diagnosis.weights import Weights
from loomproof.electrics.component_kinds import joined_ends
from loomproof.electrics.graph import DisjointSets, reached, ways
from loomproof.loom.model import End, Loom


@dataclass(frozen=True, slots=True)
class Edge:
    """One thing that can be open: parallel ``wires``, a ``component``, or the ``contact`` of a cavity."""

    u: int
    v: int
    cost: int
    wires: tuple[str, ...] = ()
    component: str = ""
    contact: int = -1


@dataclass(frozen=True, slots=True)
class Net:
    """One expected net: its leaves, its edges, its splices (inner nodes that are joints)."""

    index: int
    leaves: tuple[int, ...]
    edges: tuple[int, ...]


@dataclass(slots=True)
class Wiring:
    """The expected wiring; leaves are numbered 0…n-1 in the loom's order, inner nodes from n."""

    leaf_ends: tuple[End, ...]
    leaf_of: dict[End, int]
    node_ends: list[End]
    inner_of: dict[End, int] = field(default_factory=dict)
    edges: list[Edge] = field(default_factory=list)
    at: dict[int, list[int]] = field(default_factory=lambda: defaultdict(list))
    nets: list[Net] = field(default_factory=list)
    net_of: list[int] = field(default_factory=list)

    def add(self, edge: Edge) -> None:
        """Add an edge."""
        number = len(self.edges)
        self.edges.append(edge)
        self.at[edge.u].append(number)
        self.at[edge.v].append(number)

    def steps(self, node: int) -> Iterator[tuple[int, int]]:
        """Yield the nodes beside one, each with the edge that leads there."""
        for number in self.at.get(node, ()):
            yield self.edges[number].u + self.edges[number].v - node, number

    def beside(self, node: int) -> Iterator[int]:
        """Yield the nodes beside one."""
        return (other for other, _ in self.steps(node))

    def number_nets(self) -> None:
        """Number the nets in the order of their first leaves, once all edges are in."""
        self.net_of = [-1] * self.leaf_count
        for start in range(self.leaf_count):
            if self.net_of[start] >= 0:
                continue
            nodes = reached([start], self.beside)
            edges = {number for node in nodes for number in self.at.get(node, ())}
            leaves = tuple(sorted(node for node in nodes if node < self.leaf_count))
            for leaf in leaves:
                self.net_of[leaf] = len(self.nets)
            self.nets.append(Net(len(self.nets), leaves, tuple(sorted(edges))))

    @property
    def leaf_count(self) -> int:
        """How many cavities were tested."""
        return len(self.leaf_ends)

    def is_splice(self, node: int) -> bool:
        """Whether a node is a splice."""
        return node >= self.leaf_count and not self.node_ends[node].cavity

    def node_of(self, end: End) -> int | None:
        """Return the node where the wires and parts of an end meet, None where nothing tested reaches it."""
        return self.inner_of.get(end, self.leaf_of.get(end))

    def path(self, start: int, goal: int) -> tuple[int, ...] | None:
        """Return the edges of a shortest path between two nodes, None where there is none."""
        return next((way for node, way in ways([start], self.steps) if node == goal), None)

    def side(self, number: int, start: int) -> list[int]:
        """Return the leaves that hang on an edge on the side away from ``start``."""
        first = self.edges[number].u + self.edges[number].v - start
        nodes = reached([first], lambda node: (other for other in self.beside(node) if other != start))
        return [node for node in nodes if node < self.leaf_count]


class _Sets(DisjointSets[End]):
    """Disjoint sets of ends, each with at most one expected net."""

    def __init__(self, loom: Loom, label: Mapping[End, int]) -> None:
        super().__init__(end for connector in loom.connectors for end in connector.ends)
        self.label = dict(label)

    def label_of(self, end: End) -> int | None:
        return self.label.get(self.root(end))

    def join(self, a: End, b: End) -> bool:
        """Join two sets unless that would contradict the expected nets; return whether they are one now."""
        labels = {label for end in (a, b) if (label := self.label_of(end)) is not None}
        if len(labels) > 1:
            return False
        super().join(a, b)
        if labels:
            self.label[self.root(a)] = labels.pop()
        return True


def wiring_of(loom: Loom, expected: Sequence[Iterable[End]], weights: Weights) -> Wiring:
    """Return the wiring that should give these expected nets.

    ``expected`` partitions the tested cavities; it says whether a part such as a small resistor makes one
    net of two for the bench. Where it joins cavities that nothing in the description joins, an edge
    without a name stands for whatever does.
    """
    expected_of = {end: number for number, net in enumerate(expected) for end in net}
    leaf_ends = tuple(end for end in loom.cavities if end in expected_of)
    wiring = Wiring(leaf_ends, {end: i for i, end in enumerate(leaf_ends)}, list(leaf_ends))
    sets = _Sets(loom, {end: expected_of[end] for end in leaf_ends})
    links = list(_links(loom, sets, weights))
    degree: dict[End, int] = defaultdict(int)
    for link in links:
        degree[link.a] += 1
        degree[link.b] += 1
    inner = wiring.inner_of

    def node(end: End) -> int:
        leaf = wiring.leaf_of.get(end)
        if leaf is not None and degree[end] < 2:
            return leaf
        if end not in inner:
            inner[end] = len(wiring.node_ends)
            wiring.node_ends.append(end)
            if leaf is not None:
                wiring.add(Edge(leaf, inner[end], weights.open_contact, contact=leaf))
        return inner[end]

    for link in links:
        wiring.add(Edge(node(link.a), node(link.b), link.cost, link.wires, link.component))
    first: dict[int, End] = {}
    for end in leaf_ends:
        known = first.setdefault(expected_of[end], end)
        if sets.root(known) != sets.root(end):
            sets.join(known, end)
            wiring.add(Edge(node(known), node(end), weights.open_component))
    wiring.number_nets()
    return wiring


class _Link(NamedTuple):
    a: End
    b: End
    cost: int
    wires: tuple[str, ...] = ()
    component: str = ""


def _links(loom: Loom, sets: _Sets, weights: Weights) -> Iterator[_Link]:
    """Yield what joins cavities: parallel wires as one, parts that conduct, then parts inside one net."""
    parallel: dict[tuple[End, End], list[str]] = {}
    for wire in loom.wires:
        if wire.a != wire.b:
            a, b = sorted(wire.ends)
            parallel.setdefault((a, b), []).append(wire.name)
    for (a, b), names in parallel.items():
        if sets.join(a, b):
            yield _Link(a, b, weights.open_wire * len(names), tuple(names))
    parts = [part for part in loom.components if part.fitted]
    # Conducting parts first: what they join decides whether another part bridges two nets or lies in one.
    for conducting in (True, False):
        for part in parts:
            cost = weights.blown_fuse if part.form.blows else weights.open_component
            for a, b in joined_ends(part) if conducting else pairwise(part.ends):
                label = sets.label_of(a)
                inside = label is not None and label == sets.label_of(b)
                if sets.root(a) != sets.root(b) and (conducting or inside) and sets.join(a, b):
                    yield _Link(a, b, cost, component=part.name)
