"""What any two cavities of a faulted loom read, between bounds, by nodal analysis of its own.

Shares no code with the tool. The loom is the injector's graph with ohms on its edges: every cavity has a
terminal (what is crimped into it) and a place (what the bench touches). Ohms are bounds, not values. A
resistance between two nodes never falls where one in the network rises (Rayleigh's monotonicity law, Doyle
and Snell, *Random Walks and Electric Networks*, 1984): the network with every edge at its least and the one
with every edge at its greatest bound every reading.

Bounds of a sound wire: not under solid annealed copper, 58 MS/m (IEC publication 28, 1925), not over the
greatest resistance of class 5 conductors of IEC 60228 (as quoted by cable makers); joints from nothing to the
allowance that the loom's description states.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from loomproof.loom.model import ComponentKind, End, Loom, Wire
from tests.diagnosis.injector import Bench, Injected, Node, inside, place
from tests.joints import joints_ohm, mated_ohm

CLASS_5_OHM_PER_M = {0.5: 0.0390, 0.75: 0.0260, 1.0: 0.0195, 1.5: 0.0133, 2.5: 0.00798}
"""Greatest resistance at 20 °C by section, mm² (IEC 60228:2004 table 3, plain copper, as quoted)."""

COPPER_OHM_MM2_PER_M = 1.0 / 58.0
LEAST_OHM = 1e-6

SHORT_OHM = (LEAST_OHM, 0.05)
"""Strands that touch, and a fuse or link in its holder (assumptions)."""

DIODE_LEAST_OHM = 10.0
"""No junction drops less than 0.2 V, no reading here drives more than 20 mA (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Element:
    """A resistance between two nodes, between bounds; ``loose`` says that it comes and goes."""

    u: Node
    v: Node
    least_ohm: float
    most_ohm: float
    loose: bool = False


@dataclass(frozen=True, slots=True)
class OneWay:
    """A diode: current from ``anode`` to ``cathode``."""

    anode: Node
    cathode: Node


@dataclass(frozen=True, slots=True)
class Network:
    """A loom with faults in it: where each cavity is touched, resistances and diodes."""

    elements: tuple[Element, ...]
    diodes: tuple[OneWay, ...]


def network(loom: Loom, faults: Sequence[Injected] = ()) -> Network:
    """Return the network of a loom with these faults in it."""
    wires = {wire.name: _wire_ohm(wire, loom) for wire in loom.wires}
    opened = {name for fault in faults if fault.kind == "open" for name in fault.wires}
    loose = {name for fault in faults if fault.kind == "loose" for name in fault.wires}
    gone = {name for fault in faults if fault.kind in ("missing", "fuse") for name in fault.parts}
    turned = {name for fault in faults if fault.kind == "reversed" for name in fault.parts}
    values = {name: fault.ohm for fault in faults if fault.kind == "value" for name in fault.parts}
    dead = {end for fault in faults if fault.kind in ("contact", "unplugged") for end in fault.ends}
    loose_at = {end for fault in faults if fault.kind == "loose" for end in fault.ends}
    high_at = {fault.ends[0]: fault.ohm for fault in faults if fault.kind == "high contact"}
    apart = {fault.ends[0] for fault in faults if fault.kind == "splice"}
    bad = {fault.ends[0]: fault.ohm for fault in faults if fault.kind == "high splice"}
    for fault in faults:
        if fault.kind in ("high", "slight"):
            (name,) = fault.wires
            low, high = wires[name]
            wires[name] = low + fault.ohm, high + fault.ohm
    elements: list[Element] = []
    diodes: list[OneWay] = []
    for wire in loom.wires:
        if wire.name in opened:
            continue
        low, high = wires[wire.name]
        nodes = []
        for side, end in enumerate(wire.ends):
            more = bad.get(end, 0.0) / 2
            low, high = low + more, high + more
            nodes.append(("end", wire.name, "ab"[side]) if end in apart else inside(end))
        elements.append(Element(nodes[0], nodes[1], low, high, wire.name in loose))
    for part in loom.components:
        if not part.fitted or part.name in gone:
            continue
        a, b = (inside(end) for end in part.ends)
        if part.kind is ComponentKind.DIODE:
            terminals = dict(part.terminals)
            ends = (terminals["A"], terminals["K"])
            source, sink = ends[::-1] if part.name in turned else ends
            diodes.append(OneWay(inside(source), inside(sink)))
        elif part.kind is ComponentKind.RESISTOR:
            spread = (part.tolerance_pct or 0.0) / 100
            ohm = part.resistance_ohm or 0.0
            low, high = ohm * (1 - spread), ohm * (1 + spread)
            if part.name in values:
                low = high = values[part.name]
            elements.append(Element(a, b, low, high))
        else:
            elements.append(Element(a, b, *SHORT_OHM))
    for fault in faults:
        if fault.kind in ("short", "added"):
            elements.append(_between(fault.ends, *SHORT_OHM))
        elif fault.kind in ("leak", "part"):
            elements.append(_between(fault.ends, fault.ohm, fault.ohm))
        elif fault.kind == "diode":
            source, sink = fault.ends
            diodes.append(OneWay(inside(source), inside(sink)))
    for end, at in sitting(loom, faults).items():
        if at is not None and end not in dead:
            more = high_at.get(end, 0.0)
            high = mated_ohm(loom, end) + more
            elements.append(Element(inside(end), place(at), LEAST_OHM + more, high, end in loose_at))
    return Network(tuple(elements), tuple(diodes))


def _between(ends: Sequence[End], least_ohm: float, most_ohm: float) -> Element:
    a, b = ends
    return Element(inside(a), inside(b), least_ohm, most_ohm)


def sitting(loom: Loom, faults: Sequence[Injected]) -> dict[End, End | None]:
    """Return where the terminal of each cavity sits now, None for nowhere."""
    bench = Bench(loom)
    sits: dict[End, End | None] = {end: end for end in loom.cavities}
    for fault in faults:
        moved = bench.moves(fault)
        if moved:
            sits = {end: None if at is None else moved.get(at, at) for end, at in sits.items()}
    return sits


def _wire_ohm(wire: Wire, loom: Loom) -> tuple[float, float]:
    length_m, csa_mm2 = wire.length_m, wire.csa_mm2
    assert length_m is not None
    assert csa_mm2 is not None
    settings = loom.settings
    joints = joints_ohm(settings, wire)
    return COPPER_OHM_MM2_PER_M * length_m / csa_mm2, CLASS_5_OHM_PER_M[csa_mm2] * length_m + joints


class Solved:
    """Resistances in a network of fixed ohms, each of its parts solved when it is first asked for."""

    def __init__(self, edges: Iterable[tuple[Node, Node, float]]) -> None:
        self._edges = [(u, v, ohm) for u, v, ohm in edges if u != v]
        self._home: dict[Node, Node] = {}
        for u, v, _ in self._edges:
            self._home[self.home(u)] = self.home(v)
        self._inverse: dict[Node, tuple[dict[Node, int], NDArray[np.float64]]] = {}

    def home(self, node: Node) -> Node:
        """Return a node that stands for all that this one is joined to."""
        home = self._home
        root = node
        while home.setdefault(root, root) != root:
            root = home[root]
        while home[node] != root:
            home[node], node = root, home[node]
        return root

    @cached_property
    def parts(self) -> dict[Node, list[tuple[Node, Node, float]]]:
        """The edges of each part that hangs together, by its home."""
        found: dict[Node, list[tuple[Node, Node, float]]] = {}
        for edge in self._edges:
            found.setdefault(self.home(edge[0]), []).append(edge)
        return found

    def ohm(self, a: End, b: End) -> float:
        """Return what is between two cavities, Ω; inf where nothing joins them."""
        u, v = place(a), place(b)
        if u == v:
            return 0.0
        root = self.home(u)
        if root != self.home(v):
            return math.inf
        index, inverse = self._solve(root)
        i, j = index[u], index[v]
        return float(inverse[i, i] + inverse[j, j] - 2 * inverse[i, j])

    def _solve(self, root: Node) -> tuple[dict[Node, int], NDArray[np.float64]]:
        """Invert the Laplacian of one part with a thousandth of a siemens from its first node to ground."""
        if root not in self._inverse:
            index: dict[Node, int] = {}
            for u, v, _ in self.parts[root]:
                index.setdefault(u, len(index))
                index.setdefault(v, len(index))
            matrix = np.zeros((len(index), len(index)))
            for u, v, ohm in self.parts[root]:
                i, j, siemens = index[u], index[v], 1.0 / max(ohm, LEAST_OHM)
                matrix[i, i] += siemens
                matrix[j, j] += siemens
                matrix[i, j] -= siemens
                matrix[j, i] -= siemens
            # Grounding one node leaves differences between the others as they are.
            reduced = np.linalg.inv(matrix[1:, 1:])
            inverse = np.zeros_like(matrix)
            inverse[1:, 1:] = reduced
            self._inverse[root] = index, inverse
        return self._inverse[root]


class Readings:
    """Between which bounds each pair of cavities reads, and which way current goes through diodes."""

    def __init__(self, net: Network) -> None:
        self.net = net
        self.least = Solved(
            [
                *((e.u, e.v, e.least_ohm) for e in net.elements),
                *((d.anode, d.cathode, DIODE_LEAST_OHM) for d in net.diodes),
            ]
        )
        self.most = Solved((e.u, e.v, e.most_ohm) for e in net.elements if not e.loose)

    def between(self, a: End, b: End) -> tuple[float, float]:
        """Return the least and the most that two cavities read, Ω."""
        most = self.most.ohm(a, b)
        return self.least.ohm(a, b), most

    @cached_property
    def marks(self) -> dict[Node, frozenset[object]]:
        """What each part that hangs together is made of, by its home: the same marks, the same readings."""
        found: dict[Node, Counter[object]] = {}
        for element in self.net.elements:
            found.setdefault(self.least.home(element.u), Counter())[element] += 1
        for diode in self.net.diodes:
            found.setdefault(self.least.home(diode.anode), Counter())[diode] += 1
        return {home: frozenset(things.items()) for home, things in found.items()}

    def mark(self, end: End) -> frozenset[object]:
        """Return what the part that a cavity belongs to is made of."""
        return self.marks.get(self.least.home(place(end)), frozenset())

    @cached_property
    def one_ways(self) -> set[tuple[Node, Node]]:
        """Diodes as (home of the anode, home of the cathode) among what joins without them."""
        homes = ((self.most.home(d.anode), self.most.home(d.cathode)) for d in self.net.diodes)
        return {(a, b) for a, b in homes if a != b}

    def conducts(self, source: End, sink: End) -> bool:
        """Whether current can flow from one cavity to another, through diodes their way only."""
        reached = {self.most.home(place(source))}
        goal = self.most.home(place(sink))
        while goal not in reached:
            more = {b for a, b in self.one_ways if a in reached} - reached
            if not more:
                return False
            reached |= more
        return True


def affected(cavities: Collection[End], one: Readings, other: Readings) -> list[End]:
    """Return the cavities whose part of the network differs between two."""
    return [end for end in cavities if one.mark(end) != other.mark(end)]
