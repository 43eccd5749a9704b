"""Random and small looms for the simulator's tests, and the networkx oracle for what they should sense."""

from __future__ import annotations

import random
from dataclasses import replace

import networkx as nx

from loomproof.loom.model import Component, ComponentKind, Connector, ConnectorKind, End, Loom, Wire


def small_loom() -> Loom:
    """Two plugs, a splice: P1:1-P2:1, P1:2-S1, S1-P2:2, S1-P2:3, P1:3 and P1:4 spare."""
    return Loom(
        name="small",
        connectors=(
            Connector("P1", ConnectorKind.PLUG, (("1", "2", "3", "4"),)),
            Connector("P2", ConnectorKind.PLUG, (("1", "2", "3"),)),
            Connector("S1", ConnectorKind.SPLICE),
        ),
        wires=(
            Wire("W1", End("P1", "1"), End("P2", "1"), csa_mm2=1.0, length_m=1.0),
            Wire("W2", End("P1", "2"), End("S1"), csa_mm2=1.0, length_m=2.0),
            Wire("W3", End("S1"), End("P2", "2"), csa_mm2=0.5, length_m=1.0),
            Wire("W4", End("S1"), End("P2", "3"), csa_mm2=0.5, length_m=1.0),
        ),
    )


def random_loom(rng: random.Random, cavities: int) -> Loom:
    """A loom of plugs of 2 to 24 cavities, wires in nets of random size, some through splices."""
    connectors: list[Connector] = []
    left = cavities
    while left:
        size = min(left, rng.randint(2, 24))
        names = tuple(f"{i:02d}" for i in range(1, size + 1))
        connectors.append(Connector(f"C{len(connectors) + 1}", ConnectorKind.PLUG, (names,)))
        left -= size
    ends = [end for connector in connectors for end in connector.ends]
    rng.shuffle(ends)
    wires: list[Wire] = []

    def wire(a: End, b: End) -> None:
        name = f"W{len(wires) + 1}"
        wires.append(
            Wire(name, a, b, csa_mm2=rng.choice((0.5, 1.0, 2.5)), length_m=round(rng.uniform(0.1, 4.0), 2))
        )

    while ends:
        size = min(len(ends), rng.choice((1, 1, 2, 2, 2, 2, 3, 4, 6, 12)))
        net = [ends.pop() for _ in range(size)]
        if size > 3 and rng.random() < 0.5:
            splice = Connector(f"S{len(connectors)}", ConnectorKind.SPLICE)
            connectors.append(splice)
            for end in net:
                wire(end, End(splice.name))
        else:
            for i in range(1, size):
                wire(net[rng.randrange(i)], net[i])
    return Loom(name="random", connectors=tuple(connectors), wires=tuple(wires))


def groups(loom: Loom, graph: nx.Graph[End] | None = None) -> list[int]:
    """Point sets of the connected components of a loom's graph, points in order."""
    if graph is None:
        graph = wire_graph(loom)
    number = {end: i for i, end in enumerate(loom.cavities)}
    return [
        sum(1 << number[end] for end in component if end in number)
        for component in nx.connected_components(graph)
    ]


def wire_graph(loom: Loom) -> nx.Graph[End]:
    """The loom as a graph of ends, one edge a wire (parallel wires are one edge)."""
    graph: nx.Graph[End] = nx.Graph()
    graph.add_nodes_from(loom.cavities)
    graph.add_edges_from(wire.ends for wire in loom.wires)
    return graph


def expected_low(parts: list[int], drive: int) -> int:
    """What a perfect sense of these components reads."""
    found = 0
    for part in parts:
        if part & drive:
            found |= part
    return found


def with_parts(rng: random.Random, loom: Loom, count: int) -> Loom:
    """The same loom with random resistors, coils and diodes built in, between any two cavities."""
    parts = []
    for i in range(count):
        a, b = rng.sample(loom.cavities, 2)
        kind = rng.choice((ComponentKind.RESISTOR, ComponentKind.COIL, ComponentKind.DIODE))
        names = ("A", "K") if kind is ComponentKind.DIODE else ("1", "2")
        ohm = None if kind is ComponentKind.DIODE else round(10 ** rng.uniform(0.5, 5.0), 2)
        parts.append(
            Component(f"X{i}", kind, ((names[0], a), (names[1], b)), resistance_ohm=ohm, tolerance_pct=5.0)
        )
    return replace(loom, components=tuple(parts))


def some_faults(rng: random.Random, loom: Loom) -> list[str]:
    """Opens, shorts, joints and leaks of any size in a loom."""
    faults = [f"open {wire.name}" for wire in rng.sample(loom.wires, min(2, len(loom.wires)))]
    faults += [f"high {10 ** rng.uniform(-1, 5):.3f} {rng.choice(loom.wires).name}" for _ in range(2)]
    for _ in range(2):
        a, b = rng.sample(loom.cavities, 2)
        faults.append(f"leak {10 ** rng.uniform(0, 6):.3f} {a} {b}")
    return faults
