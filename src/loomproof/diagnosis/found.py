"""The wiring as it was found: which group each node hangs on once the diagnosed faults are taken as real."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from loomproof.diagnosis.faults import Righted
from loomproof.diagnosis.wiring import Wiring
from loomproof.electrics.component_kinds import FACTS, Path, conducting_ends, joined_ends
from loomproof.electrics.couplings import Coupling, couplings_of
from loomproof.electrics.graph import DisjointSets, distances, reachable, reached
from loomproof.loom.model import Component, End, Loom
from loomproof.results.measured import Measured


@dataclass(slots=True)
class Found:
    """The found wiring of one measured loom."""

    loom: Loom
    wiring: Wiring
    measured: Measured
    labels: tuple[int, ...]
    moved: Mapping[int, int]
    """Place in the wiring of what was found at a leaf; leaves where nothing moved are left out."""
    cut_edges: frozenset[int]
    cut_splices: frozenset[int]
    node_group: dict[int, int] = field(default_factory=dict)
    group_of: dict[End, int] = field(default_factory=dict)

    def place_of(self, end: End) -> int | None:
        """Return the leaf in the wiring as it should be whose wire was found at a cavity."""
        leaf = self.wiring.leaf_of.get(end)
        return None if leaf is None else self.moved.get(leaf, leaf)

    def group_at(self, end: End) -> int | None:
        """Return the group that the wires of an end hang on, None where nothing tested reaches them."""
        node = self.wiring.node_of(end)
        return None if node is None else self.node_group.get(node)

    def at_home(self, end: End) -> bool:
        """Whether what was found at a cavity is what belongs there."""
        return self.place_of(end) == self.wiring.leaf_of.get(end)

    def joined(self, a: End, b: End) -> bool:
        """Whether two cavities were found on one conductor."""
        return a in self.group_of and self.group_of[a] == self.group_of.get(b)

    def alone(self, end: End) -> bool:
        """Whether a cavity was found joined to nothing, so that an open lead to it would read the same."""
        return end in self.group_of and list(self.group_of.values()).count(self.group_of[end]) == 1

    def way(self, a: End, b: End) -> tuple[int, ...] | None:
        """Return the edges between two leaves of the wiring, None where they are cut or on different nets."""
        way = self.wiring.path(self.wiring.leaf_of[a], self.wiring.leaf_of[b])
        if way is None or not self.cut_edges.isdisjoint(way):
            return None
        nodes = {
            node for number in way for node in (self.wiring.edges[number].u, self.wiring.edges[number].v)
        }
        return None if nodes & self.cut_splices else way

    def parts_between(self, one: int, other: int) -> float | None:
        """Return the nominal ohms of the shortest chain of built-in parts between two groups.

        None where there is no chain. A part of unknown value counts as the least it may have, a diode as 0 Ω.
        """
        return self._distances(one).get(other)

    def _distances(self, group: int) -> dict[int, float]:
        return distances([group], lambda one: ((beside, ohm) for _, beside, ohm in self._chains.get(one, ())))

    def leads(self, one: int | None, other: int | None, without: str) -> bool:
        """Whether direct current can flow from a group to another through parts, one left out."""
        steps: list[tuple[int, int]] = []
        for part in self.loom.components:
            for pair in () if part.name == without else conducting_ends(part):
                a, b = (self.group_at(end) for end in pair)
                if a is not None and b is not None:
                    one_way = FACTS[part.kind].path is Path.DIODE
                    steps += [(a, b)] if one_way else [(a, b), (b, a)]
        return one is not None and other is not None and other in reachable([one], steps)

    def behind(self, group: int, other: int) -> bool:
        """Whether a group is another, or parts lead from one to the other."""
        return group == other or self.parts_between(group, other) is not None

    _chains: dict[int, list[tuple[str, int, float]]] = field(default_factory=dict)

    def add_chain(self, name: str, one: int, other: int, ohm: float) -> None:
        """Take a part, or a path already told, as joining two groups."""
        self._chains.setdefault(one, []).append((name, other, ohm))
        self._chains.setdefault(other, []).append((name, one, ohm))

    def within(self, group: int, ohm: float) -> list[int]:
        """Return the groups that parts of no more than so many ohms together join to one, itself left out."""
        known = set(self.group_of.values()) - {group}
        return sorted(
            other for other, chain in self._distances(group).items() if chain <= ohm and other in known
        )


def read_ends(part: Component) -> tuple[End, ...]:
    """Return the ends between which a part is read: of a relay those of its coil, not of its contact."""
    read = [pair for pair in conducting_ends(part) if pair not in joined_ends(part)]
    return read[0] if read else part.ends


def found_wiring(
    loom: Loom, wiring: Wiring, measured: Measured, labels: Sequence[int], righted: Righted
) -> Found:
    """Return the wiring as found; ``labels`` are the groups in which the leaves were found."""
    group_of = dict(zip(wiring.leaf_ends, labels, strict=True))
    moved = {there: here for here, there in righted.moved}
    found = Found(
        loom, wiring, measured, righted.labels, moved, righted.edges, righted.splices, group_of=group_of
    )
    _flood(found)
    read = {judged.component: judged.measured_ohm for judged in measured.judged if judged.component}
    for part in loom.components:
        joined = joined_ends(part)
        for pair in conducting_ends(part):
            a, b = (found.group_at(end) for end in pair)
            value = 0.0 if pair in joined else part.resistance_ohm or FACTS[part.kind].least_ohm
            if a is not None and b is not None and a != b:
                found.add_chain(part.name, a, b, min(value, read.get(part.name, float("inf"))))
    return found


def _flood(found: Found) -> None:
    wiring = found.wiring
    for leaf, label in enumerate(found.labels):
        if label < 0 or leaf in found.node_group:
            continue

        def beside(node: int) -> Iterator[int]:
            for other, number in () if node in found.cut_splices else wiring.steps(node):
                if number not in found.cut_edges and other not in found.node_group:
                    yield other

        found.node_group.update(dict.fromkeys(reached([leaf], beside), label))


def parts_as_found(found: Found) -> tuple[list[Coupling], Callable[[int], int]]:
    """Return the parts between the groups as found, and which group stands for those that parts make one.

    That is what a closed contact and a shunt do.
    """
    ends = dict.fromkeys(end for part in found.loom.components for end in part.ends)
    groups = set(found.group_of.values())
    net_of: dict[End, int] = {}
    for end in ends:
        group = found.group_at(end)
        # Ends that nothing tested reaches are apart from each other.
        net_of[end] = max(groups, default=0) + 1 + len(net_of) if group is None else group
    joins = ((net_of[a], net_of[b]) for part in found.loom.components for a, b in joined_ends(part))
    nets = DisjointSets((*groups, *net_of.values()), joins)
    couplings = couplings_of(found.loom, {end: nets.root(net) for end, net in net_of.items()})
    return list(couplings), nets.root
