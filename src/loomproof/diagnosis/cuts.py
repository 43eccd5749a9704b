"""The cheapest cuts that split one expected net as its labels say.

Leaves carry the measured group that they were found in; inner nodes choose one. An edge between two
choices is cut. On a tree this is parsimony, solved exactly by dynamic programming; a net with loops is
solved by trying the choices of its inner nodes, or, where those are too many, on a spanning tree.

Every piece that a net falls into costs one short more than the groups found, so the cost of a net is its
cuts plus one ``short`` for each piece; the groups are subtracted by the caller.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from loomproof.diagnosis.weights import Weights
from loomproof.diagnosis.wiring import Edge, Wiring
from loomproof.electrics.graph import DisjointSets, reached

FREE = -1
"""The label of a leaf that nothing is known of: it may belong anywhere."""

_BROKEN = -2
_FAR = 1 << 40
_LOOP_LIMIT = 4096


@dataclass(frozen=True, slots=True, order=True)
class Cut:
    """One way to split a net: the edges that are open, and the splices that let all their wires go."""

    edges: tuple[int, ...]
    splices: tuple[int, ...]


class NetCuts:
    """The solver of one net; labels are given in the order of the net's leaves."""

    def __init__(self, wiring: Wiring, net: int, weights: Weights) -> None:
        self.wiring, self.weights = wiring, weights
        self.net = wiring.nets[net]
        self.short = weights.short
        self.position = {leaf: i for i, leaf in enumerate(self.net.leaves)}
        self.inner = sorted(
            {node for e in self.net.edges for node in (wiring.edges[e].u, wiring.edges[e].v)}
            - set(self.net.leaves)
        )
        self.tree = len(self.net.edges) == len(self.net.leaves) + len(self.inner) - 1
        self.star = self.tree and len(self.inner) <= 1
        self._known: dict[tuple[int, ...], int] = {}
        self._order()

    def cost(self, labels: tuple[int, ...]) -> int:
        """Return the cost of the cheapest cuts plus one short for each labelled piece."""
        known = self._known.get(labels)
        if known is None:
            known = self._known[labels] = self._cost(labels)
        return known

    def ways(self, labels: tuple[int, ...], limit: int) -> list[Cut]:
        """Return up to ``limit`` cuts of that cost, in a fixed order, without repeats."""
        states = sorted(set(labels) - {FREE})
        if len(states) <= 1:
            return [Cut((), ())]
        assignments = self._tree_ways(labels, states) if self.tree else self._loop_ways(labels, states)
        found: dict[Cut, None] = {}
        for count, assignment in enumerate(assignments):
            found.setdefault(self._cut(labels, assignment), None)
            if len(found) >= limit or count > 20 * limit:
                break
        return sorted(found)

    # -- trees -------------------------------------------------------------------------------------

    def _order(self) -> None:
        """Root the net at an inner node (or its first leaf) and list nodes children first."""
        wiring = self.wiring
        inside = set(self.net.edges)
        self.root = self.inner[0] if self.inner else self.net.leaves[0]
        self.children: dict[int, list[tuple[int, int]]] = defaultdict(list)
        order, seen = [self.root], {self.root}
        for node in order:
            for number in wiring.at.get(node, ()):
                edge = wiring.edges[number]
                other = edge.u + edge.v - node
                if number in inside and other not in seen:
                    seen.add(other)
                    order.append(other)
                    self.children[node].append((other, number))
        self.postorder = order[::-1]

    def _cost(self, labels: tuple[int, ...]) -> int:
        states = sorted(set(labels) - {FREE})
        if not states:
            return 0
        if len(states) == 1:
            return self.short
        if self.tree:
            return min(self._table(labels, states)[self.root].values()) + self.short
        return min(cost for _, cost in self._loop_costs(labels, states))

    def _table(self, labels: Sequence[int], states: Sequence[int]) -> dict[int, dict[int, int]]:
        """Return, for each node and choice, the cost of the cheapest cuts below it."""
        table: dict[int, dict[int, int]] = {}
        edges, short = self.wiring.edges, self.short
        for node in self.postorder:
            own = self.position.get(node)
            if own is not None and labels[own] != FREE:
                row = {labels[own]: 0}
            else:
                row = dict.fromkeys(states, 0)
                if self.wiring.is_splice(node):
                    row[_BROKEN] = self.weights.open_splice - short
            for child, number in self.children.get(node, ()):
                below = table[child]
                least = min(below.values())
                cut = least + edges[number].cost + short
                for state in row:
                    if state == _BROKEN:
                        row[state] += least + short
                        continue
                    same = below.get(state, _FAR)
                    if _BROKEN in below:
                        same = min(same, below[_BROKEN] + short)
                    row[state] += min(same, cut)
            table[node] = row
        return table

    def _tree_ways(self, labels: tuple[int, ...], states: Sequence[int]) -> Iterator[dict[int, int]]:
        table = self._table(labels, states)
        edges, short = self.wiring.edges, self.short
        down = self.postorder[::-1]
        parent = {child: (node, number) for node in down for child, number in self.children.get(node, ())}

        def choices(node: int, chosen: dict[int, int]) -> list[int]:
            row = table[node]
            if node == self.root:
                least = min(row.values())
                return [state for state, cost in row.items() if cost == least]
            above, number = parent[node]
            state_above = chosen[above]

            def joined(state: int) -> int:
                if state_above == _BROKEN or state == _BROKEN:
                    return row[state] + short
                return row[state] + (0 if state == state_above else edges[number].cost + short)

            costs = {state: joined(state) for state in row}
            least = min(costs.values())
            return [state for state, cost in costs.items() if cost == least]

        stack: list[tuple[int, dict[int, int]]] = [(0, {})]
        while stack:
            at, chosen = stack.pop()
            while at < len(down):
                options = choices(down[at], chosen)
                stack += [(at + 1, {**chosen, down[at]: other}) for other in reversed(options[1:])]
                chosen[down[at]] = options[0]
                at += 1
            yield chosen

    # -- nets with loops ---------------------------------------------------------------------------

    def _loop_costs(
        self, labels: tuple[int, ...], states: Sequence[int]
    ) -> Iterator[tuple[dict[int, int], int]]:
        """Yield choices of the inner nodes with their costs: all, or a spanning tree's where too many."""
        options = [[*states, _BROKEN] if self.wiring.is_splice(node) else list(states) for node in self.inner]
        size = 1
        for option in options:
            size *= len(option)
        known = {leaf: label for leaf, label in zip(self.net.leaves, labels, strict=True) if label != FREE}
        free = [leaf for leaf, label in zip(self.net.leaves, labels, strict=True) if label == FREE]
        if size <= _LOOP_LIMIT and not free:
            for picked in itertools.product(*options):
                chosen = {**known, **dict(zip(self.inner, picked, strict=True))}
                yield chosen, self._price(chosen)
            return
        for count, chosen in enumerate(self._tree_ways(labels, states)):
            yield chosen, self._price({**chosen, **known})
            if count > 64:
                return

    def _loop_ways(self, labels: tuple[int, ...], states: Sequence[int]) -> Iterator[dict[int, int]]:
        priced = list(self._loop_costs(labels, states))
        least = min(cost for _, cost in priced)
        return (chosen for chosen, cost in priced if cost == least)

    def _price(self, chosen: dict[int, int]) -> int:
        """Return cuts plus shorts of one choice, pieces counted as they are."""
        edges = self.wiring.edges
        whole = DisjointSets(chosen)
        cost = sum(self.weights.open_splice for state in chosen.values() if state == _BROKEN)
        for number in self.net.edges:
            edge = edges[number]
            if _BROKEN in (chosen[edge.u], chosen[edge.v]):
                continue
            if chosen[edge.u] != chosen[edge.v]:
                cost += edge.cost
            else:
                whole.join(edge.u, edge.v)
        pieces = {whole.root(leaf) for leaf in self.net.leaves}
        return cost + self.short * len(pieces)

    # -- both --------------------------------------------------------------------------------------

    def _cut(self, labels: tuple[int, ...], chosen: dict[int, int]) -> Cut:
        broken = tuple(sorted(node for node, state in chosen.items() if state == _BROKEN))
        edges = self.wiring.edges
        return Cut(tuple(sorted(n for n in self.net.edges if _open(edges[n], chosen))), broken)


def _open(edge: Edge, chosen: dict[int, int]) -> bool:
    u, v = chosen[edge.u], chosen[edge.v]
    return u != v and _BROKEN not in (u, v)


def pieces_of(wiring: Wiring, net: int, cut: Cut) -> list[tuple[int, ...]]:
    """Return the leaves of each piece that a cut leaves of a net, pieces without leaves left out."""
    here = wiring.nets[net]
    gone, broken = set(cut.edges), set(cut.splices)

    def beside(node: int) -> Iterator[int]:
        for other, number in () if node in broken else wiring.steps(node):
            if number not in gone and other not in broken:
                yield other

    found: dict[int, tuple[int, ...]] = {}
    for start in here.leaves:
        if start not in found:
            piece = tuple(sorted(node for node in reached([start], beside) if node < wiring.leaf_count))
            found.update(dict.fromkeys(piece, piece))
    return list(dict.fromkeys(found.values()))
