"""A loom with faults as exact ohms and junctions, and what an honest bench finds between its cavities.

Shares no code with the tool and none with its simulator. Copper (wires, joints, contacts, fuses, links,
shunts, closed relay contacts, shorts) forms pieces, each solved by inverting its Laplacian with one node
grounded; for two nodes R(i, j) = G(i, i) + G(j, j) - 2 G(i, j), which is the pseudo-inverse's (D. J. Klein
and M. Randić, J. Math. Chem. 12 (1993) 81). Parts between pieces are resistors or one-way paths; their
currents are unknowns beside the potentials (modified nodal analysis), so that milliohms and megohms never
stand in one matrix. A junction carries nothing below its forward voltage and has a few ohms above it: which
ones are on is found by turning over whatever contradicts itself.

A bench's meter is a source of ``volts`` behind ``series_ohm``: it shows V/I. A sense holds the driven points
at 0 V and pulls every other point up through 100 kΩ.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from loomproof.loom.model import End
from tests.diagnosis.injector import Node, place

PULL_UP_OHM = 100_000.0
COPPER_OHM = 5.0
"""Below this an edge is copper, above it a part between pieces of copper."""

NOTHING_S = 1e-13
"""What does not count as a path."""

Edge = tuple[Node, Node, float]


@dataclass(frozen=True, slots=True)
class Junction:
    """A diode or LED: current from ``anode`` to ``cathode`` above ``forward_v``."""

    anode: Node
    cathode: Node
    forward_v: float
    ohm: float = 2.0


@dataclass(frozen=True)
class Circuitry:
    """Resistances and junctions between nodes. ``points``: the node that each cavity is touched at."""

    edges: tuple[Edge, ...]
    junctions: tuple[Junction, ...]
    ends: tuple[End, ...]


@dataclass
class Piece:
    """Copper that hangs together: its nodes by number, and G with the first one grounded."""

    index: dict[Node, int]
    edges: list[Edge] = field(default_factory=list)

    @cached_property
    def matrix(self) -> NDArray[np.float64]:
        size = len(self.index)
        laplacian = np.zeros((size, size))
        for u, v, ohm in self.edges:
            i, j, siemens = self.index[u], self.index[v], 1.0 / ohm
            laplacian[i, i] += siemens
            laplacian[j, j] += siemens
            laplacian[i, j] -= siemens
            laplacian[j, i] -= siemens
        solved = np.zeros_like(laplacian)
        if size > 1:
            solved[1:, 1:] = np.linalg.inv(laplacian[1:, 1:])
        return solved

    def ohm(self, u: Node, v: Node) -> float:
        i, j, g = self.index[u], self.index[v], self.matrix
        return float(g[i, i] + g[j, j] - 2 * g[i, j])


@dataclass
class Island:
    """Pieces that parts join, with these parts."""

    pieces: list[int] = field(default_factory=list)
    parts: list[Edge] = field(default_factory=list)
    junctions: list[Junction] = field(default_factory=list)


class _Sets:
    """Disjoint sets of whatever is asked for."""

    def __init__(self) -> None:
        self._above: dict[object, object] = {}

    def home(self, item: object) -> object:
        root = item
        while self._above.setdefault(root, root) != root:
            root = self._above[root]
        while self._above[item] != root:
            self._above[item], item = root, self._above[item]
        return root

    def join(self, a: object, b: object) -> None:
        self._above[self.home(a)] = self.home(b)


class Truth:
    """What is between the cavities."""

    def __init__(self, circuitry: Circuitry) -> None:
        self.circuitry = circuitry
        copper = _Sets()
        nodes: dict[Node, None] = {place(end): None for end in circuitry.ends}
        for u, v, ohm in circuitry.edges:
            nodes[u] = nodes[v] = None
            if ohm < COPPER_OHM and u != v:
                copper.join(u, v)
        for junction in circuitry.junctions:
            nodes[junction.anode] = nodes[junction.cathode] = None
        self.pieces: list[Piece] = []
        number: dict[object, int] = {}
        self.piece_of: dict[Node, int] = {}
        for node in nodes:
            home = copper.home(node)
            if home not in number:
                number[home] = len(self.pieces)
                self.pieces.append(Piece({}))
            piece = self.piece_of[node] = number[home]
            self.pieces[piece].index[node] = len(self.pieces[piece].index)
        joined = _Sets()
        parts = [edge for edge in circuitry.edges if edge[2] >= COPPER_OHM]
        for u, v, ohm in circuitry.edges:
            if ohm < COPPER_OHM and u != v:
                self.pieces[self.piece_of[u]].edges.append((u, v, ohm))
        for u, v, _ in parts:
            joined.join(self.piece_of[u], self.piece_of[v])
        for each in circuitry.junctions:
            joined.join(self.piece_of[each.anode], self.piece_of[each.cathode])
        self.islands: list[Island] = []
        homes: dict[object, int] = {}
        self.island_of: list[int] = []
        for piece in range(len(self.pieces)):
            home = joined.home(piece)
            if home not in homes:
                homes[home] = len(self.islands)
                self.islands.append(Island())
            self.island_of.append(homes[home])
            self.islands[homes[home]].pieces.append(piece)
        for edge in parts:
            self.islands[self.island(edge[0])].parts.append(edge)
        for each in circuitry.junctions:
            self.islands[self.island(each.anode)].junctions.append(each)
        self.ends_of: list[list[End]] = [[] for _ in self.islands]
        for end in circuitry.ends:
            self.ends_of[self.island(place(end))].append(end)

    def island(self, node: Node) -> int:
        """Return the number of the island that a node is in."""
        return self.island_of[self.piece_of[node]]

    def copper_ohm(self, a: End, b: End) -> float:
        """Return the ohms of the copper alone between two cavities; inf where it does not join them."""
        u, v = place(a), place(b)
        piece = self.piece_of[u]
        return self.pieces[piece].ohm(u, v) if piece == self.piece_of[v] else math.inf

    def beside_siemens(self, end: End) -> float:
        """Return no less than what all parts of a cavity's island can carry beside its copper."""
        island = self.islands[self.island(place(end))]
        return sum(1.0 / ohm for _, _, ohm in island.parts)

    def ohm(self, a: End, b: End) -> float:
        """Return what resistances alone have between two cavities; inf where they do not join them."""
        return self.read([a], [b], 1.0, 0.0, junctions=False)

    def read(
        self,
        a: Collection[End],
        b: Collection[End],
        volts: float,
        series_ohm: float,
        *,
        junctions: bool = True,
    ) -> float:
        """Return V/I from all of ``a`` joined to all of ``b`` joined, Ω; inf where nothing flows."""
        shown_v, current = self.operate(a, b, volts, series_ohm, junctions=junctions)
        return shown_v / current if current > NOTHING_S * volts else math.inf

    def operate(
        self,
        a: Collection[End],
        b: Collection[End],
        volts: float,
        series_ohm: float,
        *,
        junctions: bool = True,
    ) -> tuple[float, float]:
        """Return the voltage between two groups and the current, V and A, from a source behind a resistor."""
        held: dict[int, tuple[list[Node], list[Node]]] = {}
        for which, ends in enumerate((a, b)):
            for end in ends:
                node = place(end)
                held.setdefault(self.island(node), ([], []))[which].append(node)
        both = {number: pair for number, pair in held.items() if all(pair)}
        crooked = [n for n in both if junctions and self.islands[n].junctions]
        siemens = sum(self._current(n, *both[n], 1.0, junctions=False) for n in both if n not in crooked)
        if not crooked:
            shown_v = volts / (1.0 + series_ohm * siemens)
            return shown_v, shown_v * siemens

        def flows(at: float) -> float:
            return siemens * at + sum(self._current(n, *both[n], at, junctions=True) for n in crooked)

        whole = flows(volts)
        if not series_ohm or whole * series_ohm < 1e-6 * volts:
            return volts, whole
        # What the source lacks of what flows, by regula falsi with the Illinois rule (G. Dahlquist and
        # Å. Björck, Numerical Methods, 1974, 6.4.2, from memory).
        low, high = 0.0, volts
        lacks_low, lacks_high = -volts / series_ohm, whole
        for _ in range(60):
            at = high - lacks_high * (high - low) / (lacks_high - lacks_low)
            lacks = flows(at) - (volts - at) / series_ohm
            if abs(lacks) < 1e-9 * whole:
                break
            if lacks > 0:
                high, lacks_high, lacks_low = at, lacks, lacks_low / 2
            else:
                low, lacks_low, lacks_high = at, lacks, lacks_high / 2
        return at, flows(at)

    def conducts(self, a: End, b: End) -> bool:
        """Whether any current flows from ``a`` to ``b`` at some volts, junctions their way only."""
        return math.isfinite(self.read([a], [b], 30.0, 0.0))

    def low(self, driven: Collection[End], supply_v: float, threshold_v: Mapping[End, float]) -> set[End]:
        """Return the cavities that read low while ``driven`` are held at 0 V."""
        found: set[End] = set()
        touched: dict[int, list[End]] = {}
        for end in driven:
            touched.setdefault(self.island(place(end)), []).append(end)
        for number, drivers in touched.items():
            found.update(drivers)
            island = self.islands[number]
            ends = self.ends_of[number]
            piece = self.pieces[island.pieces[0]]
            plain = len(island.pieces) == 1
            if plain and len(ends) * sum(ohm for _, _, ohm in piece.edges) < 0.01 * PULL_UP_OHM:
                found.update(ends)
                continue
            fixed = [(place(end), 0.0) for end in drivers]
            pulled = [place(end) for end in ends if end not in set(drivers)]
            volts = self._solve(number, fixed, [(node, supply_v, PULL_UP_OHM) for node in pulled])
            found.update(end for end in ends if volts.at(place(end)) < threshold_v[end])
        return found

    def _current(
        self, number: int, a: Sequence[Node], b: Sequence[Node], volts: float, *, junctions: bool
    ) -> float:
        fixed = [*((node, volts) for node in a), *((node, 0.0) for node in b)]
        solved = self._solve(number, fixed, (), junctions=junctions)
        # What arrives: what leaves may also be what keeps floating pieces at 0 V.
        return max(0.0, -sum(solved.into[len(a) : len(fixed)]))

    def _solve(
        self,
        number: int,
        fixed: Sequence[tuple[Node, float]],
        pulls: Sequence[tuple[Node, float, float]],
        *,
        junctions: bool = True,
    ) -> _Solved:
        island = self.islands[number]
        diodes = island.junctions if junctions else []
        on = [False] * len(diodes)
        seen: set[tuple[bool, ...]] = set()
        while True:
            solved = _Solved(
                self, island, fixed, pulls, [d for d, is_on in zip(diodes, on, strict=True) if is_on]
            )
            wrong = solved.contradicted(diodes, on)
            if not wrong or tuple(on) in seen:
                return solved
            seen.add(tuple(on))
            # Those that carry backwards go off together; of those that want to go on, the most eager alone.
            off = [i for i in wrong if on[i]]
            for i in off or [max(wrong, key=lambda i: solved.over(diodes[i]))]:
                on[i] = not on[i]


class _Solved:
    """Potentials and currents of one island with these junctions on."""

    def __init__(
        self,
        truth: Truth,
        island: Island,
        fixed: Sequence[tuple[Node, float]],
        pulls: Sequence[tuple[Node, float, float]],
        on: Sequence[Junction],
    ) -> None:
        self.truth = truth
        self.row = {piece: i for i, piece in enumerate(island.pieces)}
        # Each unknown current: into which node, out of which (none: from outside), and its equation.
        branches: list[tuple[Node | None, Node | None, float, float]] = [
            *((node, None, volts, 0.0) for node, volts in fixed),
            *((node, None, volts, ohm) for node, volts, ohm in pulls),
            *((v, u, 0.0, ohm) for u, v, ohm in island.parts),
            *((d.cathode, d.anode, d.forward_v, d.ohm) for d in on),
        ]
        self.branches = branches
        count, size = len(branches), len(branches) + len(island.pieces)
        matrix = np.zeros((size, size))
        right = np.zeros(size)
        fed = [self._feeds(into, out) for into, out, _, _ in branches]
        for k, (into, out, volts, ohm) in enumerate(branches):
            outside = out is None
            # From outside: v(into) + ohm i = volts. Between nodes: v(out) - v(into) - ohm i = volts.
            for sign, node in ((1.0, into), (-1.0, out)) if outside else ((-1.0, into), (1.0, out)):
                if node is None:
                    continue
                piece = truth.piece_of[node]
                matrix[k, count + self.row[piece]] += sign
                index = truth.pieces[piece].index
                g = truth.pieces[piece].matrix[index[node]]
                for j, feeds in enumerate(fed):
                    for at_piece, at, amount in feeds:
                        if at_piece == piece:
                            matrix[k, j] += sign * amount * g[at]
            matrix[k, k] += ohm if outside else -ohm
            right[k] = volts
        for j, feeds in enumerate(fed):
            for piece, _, amount in feeds:
                matrix[count + self.row[piece], j] += amount
        # What nothing holds would float: a leak that carries nothing brings it to 0 V.
        for i in self.row.values():
            matrix[count + i, count + i] = -NOTHING_S
        found = np.linalg.solve(matrix, right)
        self.into = [float(x) for x in found[:count]]
        self.level = found[count:]
        self.injected: dict[int, NDArray[np.float64]] = {}
        for amount_of, feeds in zip(self.into, fed, strict=True):
            for piece, at, amount in feeds:
                if piece not in self.injected:
                    self.injected[piece] = np.zeros(len(truth.pieces[piece].index))
                self.injected[piece][at] += amount * amount_of
        self.on = on

    def _feeds(self, into: Node | None, out: Node | None) -> list[tuple[int, int, float]]:
        feeds = []
        for node, amount in ((into, 1.0), (out, -1.0)):
            if node is not None:
                piece = self.truth.piece_of[node]
                feeds.append((piece, self.truth.pieces[piece].index[node], amount))
        return feeds

    def at(self, node: Node) -> float:
        """Return the potential of a node, V."""
        piece = self.truth.piece_of[node]
        level = float(self.level[self.row[piece]])
        injected = self.injected.get(piece)
        if injected is None:
            return level
        owner = self.truth.pieces[piece]
        return level + float(owner.matrix[owner.index[node]] @ injected)

    def over(self, diode: Junction) -> float:
        """Return by how much a junction is above its forward voltage, V."""
        return self.at(diode.anode) - self.at(diode.cathode) - diode.forward_v

    def contradicted(self, diodes: Sequence[Junction], on: Sequence[bool]) -> list[int]:
        """Return the junctions that are off and should conduct, or on and carry backwards."""
        first = len(self.branches) - len(self.on)
        carried = iter(self.into[first:])
        wrong = []
        for i, (diode, is_on) in enumerate(zip(diodes, on, strict=True)):
            if is_on:
                if next(carried) < -1e-12:
                    wrong.append(i)
            elif self.over(diode) > 1e-9:
                wrong.append(i)
        return wrong


def pairs_of(ends: Iterable[End]) -> list[tuple[End, End]]:
    """Return all pairs."""
    listed = list(ends)
    return [(a, b) for i, a in enumerate(listed) for b in listed[i + 1 :]]
