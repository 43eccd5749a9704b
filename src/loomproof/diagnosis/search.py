"""The cheapest opens, shorts and exchanged contacts that explain the groups found.

The nets expected and the groups found fall into **pieces**: connected parts of the graph that joins a net
to a group where they share a cavity. A piece of one net and one group is sound. Within each other piece
a best-first search exchanges labels between leaves and prices the rest with `cuts`; its bound is that
one exchange changes two leaves, so it saves at most twice (dearest edge + one short). All explanations of the
least cost are kept.

Opens and shorts are exact for given labels. Exchanges stay inside a piece, and in a piece with more than
``FULL_LEAVES`` leaves each must save something at once. A search that reaches its budget, or that may have
missed a cheaper explanation so, keeps the best found and says that it is not proved (`Piece.proved`); a piece
of up to ``RETRY_LEAVES`` leaves is first searched once more without that rule.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from loomproof.diagnosis.cuts import FREE, Cut, NetCuts, pieces_of
from loomproof.diagnosis.weights import Weights
from loomproof.diagnosis.wiring import Wiring
from loomproof.electrics.graph import DisjointSets

FULL_LEAVES = 10
RETRY_LEAVES = 16
"""A piece of up to so many that is not proved is searched once more, exchanges that save nothing included."""
BUDGET = 3000


@dataclass(frozen=True, slots=True)
class Join:
    """Pieces that were found as one group though nothing should join them; each is a tuple of leaves."""

    group: int
    pieces: tuple[tuple[int, ...], ...]


@dataclass(frozen=True, slots=True)
class Explanation:
    """One explanation of a piece.

    ``cycles`` are exchanged contacts: what belongs in ``cycle[i]`` was found in ``cycle[i + 1]``, the last in
    the first. Leaves in ``joins`` are places in the wiring as it should be (exchanges undone).
    """

    cost: int
    cycles: tuple[tuple[int, ...], ...]
    edges: tuple[int, ...]
    splices: tuple[int, ...]
    joins: tuple[Join, ...]


@dataclass(frozen=True, slots=True)
class Piece:
    """What a piece can be explained by: equally cheap explanations, and whether they are proved cheapest."""

    nets: tuple[int, ...]
    leaves: tuple[int, ...]
    explanations: tuple[Explanation, ...]
    proved: bool

    @property
    def cost(self) -> int:
        """The cost of its explanations."""
        return self.explanations[0].cost


class Explainer:
    """Explains label vectors of one wiring; prices of nets are remembered."""

    def __init__(self, wiring: Wiring, weights: Weights) -> None:
        self.wiring, self.weights = wiring, weights
        self._cuts: dict[int, NetCuts] = {}
        self._pieces: dict[tuple[tuple[int, ...], tuple[int, ...]], Piece] = {}
        self.dearest = max([weights.open_wire, *(edge.cost for edge in wiring.edges)])

    def cuts(self, net: int) -> NetCuts:
        """Return the solver of a net."""
        if net not in self._cuts:
            self._cuts[net] = NetCuts(self.wiring, net, self.weights)
        return self._cuts[net]

    def price(self, labels: Sequence[int], nets: Sequence[int]) -> int:
        """Return the cost of opens and shorts alone over whole pieces made of these nets."""
        total = 0
        groups: set[int] = set()
        for net in nets:
            own = tuple(labels[leaf] for leaf in self.wiring.nets[net].leaves)
            total += self.cuts(net).cost(own)
            groups.update(own)
        groups.discard(FREE)
        return total - self.weights.short * len(groups)

    def floor(self, labels: Sequence[int], nets: Sequence[int]) -> int:
        """Return a lower bound of what explaining a piece can cost: exchanges as good as they can be."""
        return self.bound(self.price(labels, nets))

    def bound(self, rest: int) -> int:
        """Return a lower bound of what removing opens and shorts worth ``rest`` can cost."""
        saving = 2 * (self.dearest + self.weights.short)
        least = min(self.weights.swap, self.weights.stray)
        whole, left = divmod(rest, saving)
        return whole * min(least, saving) + min(left, least)

    def split(self, labels: Sequence[int]) -> list[tuple[int, ...]]:
        """Return the nets of each piece that is not sound."""
        nets = self.wiring.nets
        first: dict[int, int] = {}
        together = DisjointSets(range(len(nets)))
        dirty = set()
        for net in nets:
            own = {labels[leaf] for leaf in net.leaves} - {FREE}
            if len(own) > 1:
                dirty.add(net.index)
            for label in own:
                known = first.setdefault(label, net.index)
                if known != net.index:
                    dirty.update((known, net.index))
                    together.join(known, net.index)
        pieces = (tuple(index for index in members if index in dirty) for members in together.sets())
        return [members for members in pieces if members]

    def leaves_of(self, pieces: Sequence[tuple[int, ...]]) -> set[int]:
        """Return the leaves of these pieces."""
        return {leaf for nets in pieces for net in nets for leaf in self.wiring.nets[net].leaves}

    def explain(self, labels: Sequence[int]) -> list[Piece]:
        """Return every piece that is not sound, explained."""
        return [self.piece(labels, nets) for nets in self.split(labels)]

    def piece(self, labels: Sequence[int], nets: tuple[int, ...]) -> Piece:
        """Return one piece, explained; the same piece is not searched twice."""
        leaves = tuple(leaf for net in nets for leaf in self.wiring.nets[net].leaves)
        key = (nets, tuple(labels[leaf] for leaf in leaves))
        if key not in self._pieces:
            search = _PieceSearch(self, labels, nets, leaves)
            piece = search.run()
            if not piece.proved and not search.full and len(leaves) <= RETRY_LEAVES:
                search.full = True
                again = search.run()
                piece = again if again.proved or again.cost < piece.cost else piece
            self._pieces[key] = piece
        return self._pieces[key]


class _PieceSearch:
    def __init__(
        self, explainer: Explainer, labels: Sequence[int], nets: tuple[int, ...], leaves: tuple[int, ...]
    ) -> None:
        self.explainer, self.nets, self.leaves = explainer, nets, leaves
        self.wiring, self.weights = explainer.wiring, explainer.weights
        self.labels = [labels[leaf] for leaf in leaves]
        self.place = {leaf: i for i, leaf in enumerate(leaves)}
        self.net_at = [self.wiring.net_of[leaf] for leaf in leaves]
        self.members = {n: [self.place[leaf] for leaf in self.wiring.nets[n].leaves] for n in nets}
        self.groups = len(set(self.labels) - {FREE})
        self.full = len(leaves) <= FULL_LEAVES

    def run(self) -> Piece:
        """Search best first; states are the sources of the labels, so that every explanation is kept."""
        start = tuple(range(len(self.leaves)))
        rest = self.rest(start)
        best = rest
        goals: dict[tuple[int, ...], int] = {start: rest}
        spent: dict[tuple[int, ...], int] = {start: 0}
        queue = [(self.explainer.bound(rest), 0, start)]
        expanded, ended = 0, True
        while queue:
            estimate, cost, state = heapq.heappop(queue)
            if estimate > best:
                break
            if spent[state] < cost:
                continue
            expanded += 1
            if expanded * len(self.leaves) > BUDGET * 10:
                ended = estimate >= best
                break
            before = self.rest(state)
            for a, b, price in self.exchanges(state):
                # An exchange costs more than nothing: what is left after it must be worth it.
                if cost + price > best:
                    continue
                after = list(state)
                after[a], after[b] = after[b], after[a]
                child = tuple(after)
                total = cost + price
                if spent.get(child, total + 1) <= total:
                    continue
                left = before + self.change(state, child, a, b)
                if not self.full and left >= before:
                    continue
                guess = total + self.explainer.bound(left)
                if guess > best:
                    continue
                spent[child] = total
                best = min(best, total + left)
                goals[child] = total + left
                heapq.heappush(queue, (guess, total, child))
        limit = self.weights.bound_alternatives
        found = [
            explanation
            for state, cost in sorted(goals.items())
            if cost == best
            for explanation in self.write(state, cost, limit)
        ]
        return Piece(self.nets, self.leaves, tuple(found[: 4 * limit]), self.proved(rest, best, ended))

    def proved(self, rest: int, best: int, ended: bool) -> bool:
        """Whether nothing in the piece can be cheaper than ``best``; opens and shorts alone cost ``rest``.

        Where each exchange must save something at once, an explanation by two or more may be missed, but none
        by one.
        """
        two = 2 * min(self.weights.swap, self.weights.stray)
        return best <= self.explainer.bound(rest) or (ended and (self.full or best <= two))

    # -- prices ------------------------------------------------------------------------------------

    def net_price(self, state: tuple[int, ...], net: int) -> int:
        return self.explainer.cuts(net).cost(tuple(self.labels[state[i]] for i in self.members[net]))

    def rest(self, state: tuple[int, ...]) -> int:
        """Return the cost of opens and shorts that an arrangement leaves."""
        return sum(self.net_price(state, net) for net in self.nets) - self.weights.short * self.groups

    def change(self, old: tuple[int, ...], new: tuple[int, ...], a: int, b: int) -> int:
        nets = {self.net_at[a], self.net_at[b]}
        return sum(self.net_price(new, net) - self.net_price(old, net) for net in nets)

    # -- exchanges ---------------------------------------------------------------------------------

    def exchanges(self, state: tuple[int, ...]) -> Iterator[tuple[int, int, int]]:
        """Yield pairs of places whose exchange can matter, with its price."""
        ends = self.wiring.leaf_ends
        clean = (
            {net for net in self.nets if len({self.labels[state[i]] for i in self.members[net]}) == 1}
            if not self.full
            else set()
        )
        for a, b in itertools.combinations(range(len(self.leaves)), 2):
            if self.labels[state[a]] == self.labels[state[b]]:
                continue
            net = self.net_at[a]
            if net == self.net_at[b] and self.explainer.cuts(net).star:
                continue
            if net in clean and self.net_at[b] in clean:
                continue
            same = ends[self.leaves[a]].connector == ends[self.leaves[b]].connector
            yield a, b, self.weights.swap if same else self.weights.stray

    # -- writing out -------------------------------------------------------------------------------

    def write(self, state: tuple[int, ...], cost: int, limit: int) -> Iterator[Explanation]:
        """Yield the explanations of one arrangement: its cycles with each way to cut the nets."""
        cycles = self.cycles(state)
        labels = {leaf: self.labels[state[i]] for i, leaf in enumerate(self.leaves)}
        ways: list[list[tuple[int, Cut]]] = []
        for net in self.nets:
            own = tuple(labels[leaf] for leaf in self.wiring.nets[net].leaves)
            ways.append([(net, cut) for cut in self.explainer.cuts(net).ways(own, limit)])
        for picked in itertools.islice(itertools.product(*ways), limit):
            pieces: dict[int, list[tuple[int, ...]]] = {}
            for net, cut in picked:
                for piece in pieces_of(self.wiring, net, cut):
                    group = next((labels[leaf] for leaf in piece if labels[leaf] != FREE), FREE)
                    if group != FREE:
                        pieces.setdefault(group, []).append(piece)
            joins = tuple(
                Join(group, tuple(sorted(members)))
                for group, members in sorted(pieces.items())
                if len(members) > 1
            )
            yield Explanation(
                cost,
                cycles,
                tuple(edge for _, cut in picked for edge in cut.edges),
                tuple(node for _, cut in picked for node in cut.splices),
                joins,
            )

    def cycles(self, state: tuple[int, ...]) -> tuple[tuple[int, ...], ...]:
        """Return the cycles of an arrangement: what belongs in place i was found in place ``state[i]``."""
        seen: set[int] = set()
        found = []
        for start in range(len(state)):
            if start in seen or state[start] == start:
                continue
            cycle, at = [], start
            while at not in seen:
                seen.add(at)
                cycle.append(self.leaves[at])
                at = state[at]
            found.append(tuple(cycle))
        return tuple(found)
