"""Random looms from a seed, and what faults do to them as a graph: the tests' own view of a loom."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import networkx as nx

from loomproof.loom.model import CavityFacts, Circuit, Connector, ConnectorKind, End, Hazard, Loom, Wire

COLOURS = ("BK", "BN", "RD", "OG", "YE", "GN", "BU", "VT", "GY", "WH", "PK")


def random_loom(rng: random.Random, cavities: int, name: str = "random") -> Loom:
    """Return a loom of about so many cavities: plugs, rings, splices, tree nets, spare cavities."""
    connectors: list[Connector] = []
    left = cavities
    while left > 0:
        size = min(left, rng.choice([1, 2, 2, 3, 4, 6, 8, 12, 24]))
        number = len(connectors) + 1
        if size == 1:
            connectors.append(Connector(f"E{number}", ConnectorKind.RING, (("1",),), hazard=Hazard.NONE))
        else:
            across = size if size < 6 else (size + 1) // 2
            names = [str(k) for k in range(1, size + 1)]
            rows = tuple(tuple(names[k : k + across]) for k in range(0, size, across))
            connectors.append(Connector(f"C{number}", ConnectorKind.PLUG, rows, hazard=Hazard.NONE))
        left -= size
    ends = [end for connector in connectors for end in connector.ends]
    rng.shuffle(ends)
    wires: list[Wire] = []
    splices: list[Connector] = []

    def wire(a: End, b: End) -> None:
        number = len(wires) + 1
        wires.append(
            Wire(
                f"W{number}",
                a,
                b,
                colour=rng.choice(COLOURS),
                csa_mm2=rng.choice([0.5, 0.75, 1.0, 1.5, 2.5]),
                length_m=round(rng.uniform(0.2, 2.5), 2),
                circuit="all",
            )
        )

    while ends:
        size = min(len(ends), rng.choice([1, 2, 2, 2, 2, 2, 3, 3, 4, 6]))
        net, ends = ends[:size], ends[size:]
        if size >= 3 and rng.random() < 0.6:
            splice = Connector(f"S{len(splices) + 1}", ConnectorKind.SPLICE)
            splices.append(splice)
            for end in net:
                wire(End(splice.name), end)
        else:
            for k in range(1, size):
                wire(net[rng.randrange(k)], net[k])
    return Loom(
        name,
        connectors=(*connectors, *splices),
        wires=tuple(wires),
        circuits=(Circuit("all", "everything"),),
        cavity_facts=tuple(
            CavityFacts(end, shared=True)
            for end, count in Counter(end for wire in wires for end in wire.ends).items()
            if count > 1 and end.cavity
        ),
    )


@dataclass(frozen=True)
class Fault:
    """A fault as the simulator is told it, and what it does to the graph of ends."""

    text: str
    opened: str = ""
    joined: tuple[End, End] | None = None
    crossed: tuple[End, End] | None = None


def random_faults(rng: random.Random, loom: Loom, count: int) -> tuple[Fault, ...]:
    """Return opens, shorts and crossed wires, none touching what another one touches."""
    faults: list[Fault] = []
    used: set[End | str] = set()
    for _ in range(20 * count):
        if len(faults) == count:
            break
        kind = rng.choice(["open", "short", "swap"])
        if kind == "open" and loom.wires:
            wire = rng.choice(loom.wires)
            touched: set[End | str] = {wire.name, *wire.ends}
            fault = Fault(f"open {wire.name}", opened=wire.name)
        elif kind == "short":
            a, b = rng.sample(loom.cavities, 2)
            touched = {a, b}
            fault = Fault(f"short {a} {b}", joined=(a, b))
        else:
            plugs = [c for c in loom.connectors if len(c.cavities) > 1]
            if not plugs:
                continue
            one, other = rng.sample(rng.choice(plugs).ends, 2)
            touched = {one, other}
            fault = Fault(f"swap {one} {other}", crossed=(one, other))
        if touched & used:
            continue
        used |= touched
        faults.append(fault)
    return tuple(faults)


def nets_with(loom: Loom, faults: Sequence[Fault] = ()) -> frozenset[frozenset[End]]:
    """Return the nets of the loom with these faults, by networkx connected components.

    Crossed wires change which cavity a wire ends in; shorts stay with the cavities.
    """
    opened = {fault.opened for fault in faults}
    places: dict[End, End] = {}
    for fault in faults:
        if fault.crossed:
            a, b = fault.crossed
            places |= {a: b, b: a}
    graph: nx.Graph[End] = nx.Graph()
    graph.add_nodes_from(end for connector in loom.connectors for end in connector.ends)
    for wire in loom.wires:
        if wire.name not in opened:
            graph.add_edge(places.get(wire.a, wire.a), places.get(wire.b, wire.b))
    graph.add_edges_from(fault.joined for fault in faults if fault.joined)
    return cavities_only(nx.connected_components(graph))


def cavities_only(components: Iterable[Iterable[End]]) -> frozenset[frozenset[End]]:
    """Leave splices out of nets, and nets of splices alone with them."""
    nets = (frozenset(end for end in component if end.cavity) for component in components)
    return frozenset(net for net in nets if net)
