"""Random looms, faults worked into them as a graph, and the nets that then are found.

Shares no code with the explainer: the loom is a networkx graph in which every cavity has a terminal (what is
crimped into it) and a place (what the bench touches), so that exchanged contacts, broken wires and shorts are
changes of edges, and the nets found are its connected components (networkx).
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import networkx as nx

from loomproof.loom.model import Component, ComponentKind, Connector, ConnectorKind, End, Loom, Wire

Node = tuple[str, str, str]
Partition = tuple[frozenset[End], ...]


@dataclass(frozen=True)
class Injected:
    """One fault: its kind, the cavities, wires, parts and connectors that it is in."""

    kind: str
    ends: tuple[End, ...] = ()
    wires: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    connectors: tuple[str, ...] = ()
    detail: str = ""
    ohm: float = 0.0
    """How many ohms, for faults that are a resistance."""


def inside(end: End) -> Node:
    return ("inside", end.connector, end.cavity)


def place(end: End) -> Node:
    return ("place", end.connector, end.cavity)


@dataclass
class Bench:
    """A loom as a graph, and faults in it."""

    loom: Loom
    graph: nx.Graph[Node] = field(default_factory=nx.Graph)

    def build(self, faults: Sequence[Injected] = ()) -> Partition:
        """Return the nets found with these faults in the loom."""
        graph: nx.Graph[Node] = nx.Graph()
        gone_wires = {name for fault in faults if fault.kind == "open" for name in fault.wires}
        gone_parts = {name for fault in faults if fault.kind in ("fuse", "missing") for name in fault.parts}
        dead = {end for fault in faults if fault.kind in ("contact", "unplugged") for end in fault.ends}
        for end in (*self.loom.cavities, *self.loom.splices):
            graph.add_node(inside(end))
        for wire in self.loom.wires:
            if wire.name not in gone_wires:
                graph.add_edge(inside(wire.a), inside(wire.b))
        for part in self.loom.components:
            joins = part.fitted and part.kind in (ComponentKind.FUSE, ComponentKind.LINK)
            if joins and part.name not in gone_parts:
                graph.add_edge(*(inside(end) for end in part.ends))
        for fault in faults:
            if fault.kind == "splice":
                (end,) = fault.ends
                graph.remove_node(inside(end))
                graph.add_node(inside(end))
            if fault.kind in ("short", "added"):
                graph.add_edge(*(inside(end) for end in fault.ends))
        # Where each terminal sits: what belongs in a cavity is found in another.
        sits: dict[End, End | None] = {end: end for end in self.loom.cavities}
        for fault in faults:
            moved = self.moves(fault)
            sits = {end: (moved.get(at, at) if at is not None else None) for end, at in sits.items()}
        for end, at in sits.items():
            graph.add_node(place(end))
            if at is not None and end not in dead:
                graph.add_edge(inside(end), place(at))
        found = []
        for component in nx.connected_components(graph):
            cavities = frozenset(End(c, cavity) for what, c, cavity in component if what == "place")
            if cavities:
                found.append(cavities)
        return tuple(found)

    def moves(self, fault: Injected) -> dict[End, End | None]:
        """Return where terminals went: cavity to the cavity where its terminal sits now, None for nowhere."""
        if fault.kind in ("swap", "move"):
            a, b = fault.ends
            return {a: b, b: a}
        if fault.kind == "exchange":
            one, two = (self.loom.by_name[name] for name in fault.connectors)
            there: dict[End, End | None] = {
                End(one.name, a): End(two.name, b) for a, b in zip(one.cavities, two.cavities, strict=True)
            }
            return there | {at: end for end, at in there.items() if at is not None}
        if fault.kind in ("mirror", "rotate", "cycle", "shift"):
            (name,) = fault.connectors
            order = self.loom.by_name[name].cavities
            count = len(order)
            if fault.kind == "mirror":  # left for right in every row
                rows = self.loom.by_name[name].rows
                return {
                    End(name, a): End(name, b) for row in rows for a, b in zip(row, row[::-1], strict=True)
                }
            if fault.kind == "rotate":  # half a turn
                return {End(name, a): End(name, b) for a, b in zip(order, reversed(order), strict=True)}
            if fault.kind == "cycle":
                return {End(name, order[i]): End(name, order[(i + 1) % count]) for i in range(count)}
            return {
                End(name, order[i]): End(name, order[i + 1]) if i + 1 < count else None for i in range(count)
            }
        return {}


SIZES = (2, 3, 3, 4, 6, 8, 12, 16, 24, 30)


def random_loom(rng: random.Random, cavities: int, sizes: Sequence[int] = SIZES) -> Loom:
    """Return a loom of about so many cavities: plugs of 2 to 30 ways, splices, double crimps, a fuse."""
    plugs: list[Connector] = []
    left = cavities
    while left > 0:
        size = min(left, rng.choice(sizes))
        left -= size
        names = [str(i) for i in range(1, size + 1)]
        width = size if size < 8 else (size + 1) // 2
        rows = tuple(tuple(names[at : at + width]) for at in range(0, size, width))
        plugs.append(Connector(f"C{len(plugs) + 1}", ConnectorKind.PLUG, rows, housing=f"H{size}"))
    ends = [end for plug in plugs for end in plug.ends]
    rng.shuffle(ends)
    spare = len(ends) // 8
    ends = ends[spare:]
    splices: list[Connector] = []
    wires: list[Wire] = []

    def run(a: End, b: End) -> None:
        bundle = f"B{rng.randint(1, 4)}" if rng.random() < 0.3 else ""
        wires.append(Wire(f"W{len(wires) + 1}", a, b, "BK", 0.5, 1.0, bundle=bundle))

    while ends:
        size = rng.choices((2, 3, 4, 5, 7), (60, 15, 10, 10, 5))[0]
        net, ends = ends[:size], ends[size:]
        if len(net) == 1:
            continue
        if len(net) == 2:
            run(*net)
        elif rng.random() < 0.2:
            for a, b in pairwise(net):
                run(a, b)
        elif len(net) >= 5:
            one, two = End(f"S{len(splices) + 1}"), End(f"S{len(splices) + 2}")
            splices += [Connector(end.connector, ConnectorKind.SPLICE) for end in (one, two)]
            run(one, two)
            for i, end in enumerate(net):
                run(end, one if i < len(net) // 2 else two)
        else:
            splices.append(Connector(f"S{len(splices) + 1}", ConnectorKind.SPLICE))
            for end in net:
                run(end, End(splices[-1].name))
    singles = [plug.ends for plug in plugs if len(plug.cavities) == 2]
    parts = []
    wired = {end for wire in wires for end in wire.ends}
    if singles and all(end in wired for end in singles[0]):
        joined = Bench(Loom("x", connectors=(*plugs, *splices), wires=tuple(wires))).build()
        if not any(set(singles[0]) <= net for net in joined):
            a, b = singles[0]
            parts.append(Component("F1", ComponentKind.FUSE, (("1", a), ("2", b)), rating_a=10))
    return Loom("random", connectors=(*plugs, *splices), wires=tuple(wires), components=tuple(parts))


def random_faults(rng: random.Random, loom: Loom, count: int) -> list[Injected]:
    """Return so many faults in different places: two in one cavity are one state of it, not two faults."""
    faults: list[Injected] = []
    taken: set[str] = set()
    for _ in range(200 * count):
        if len(faults) == count:
            break
        fault = random_fault(rng, loom)
        if fault is None:
            continue
        places = _places(fault, loom)
        if not places & taken:
            taken |= places
            faults.append(fault)
    return faults


def _places(fault: Injected, loom: Loom) -> set[str]:
    """Return the cavities, wires and parts that a fault is in, as texts."""
    places = {str(end) for end in fault.ends} | set(fault.wires) | set(fault.parts)
    places |= {str(end) for name in fault.connectors for end in loom.by_name[name].ends}
    for name in fault.wires:
        places |= {str(end) for end in loom.wire_by_name[name].ends}
    return places


def random_fault(rng: random.Random, loom: Loom) -> Injected | None:
    """Return a random fault, None where the draw cannot be."""
    kind = rng.choices(
        ("open", "contact", "short", "swap", "move", "exchange", "mirror", "splice", "fuse"),
        (24, 4, 22, 20, 8, 6, 6, 3, 3),
    )[0]
    wired = {end for wire in loom.wires for end in wire.ends}
    fused = {end.connector for part in loom.components for end in part.ends}
    plugs = [c for c in loom.connectors if c.kind is ConnectorKind.PLUG and c.name not in fused]
    fuses = [part.name for part in loom.components if part.fitted and part.kind is ComponentKind.FUSE]
    if not plugs or not loom.wires:
        return None
    makers: dict[str, Callable[[], Injected | None]] = {
        "open": lambda: Injected("open", wires=(rng.choice(loom.wires).name,)),
        "contact": lambda: Injected("contact", (rng.choice(sorted(e for e in wired if e.cavity)),)),
        "short": lambda: _short(rng, loom),
        "swap": lambda: _swap(rng, plugs, wired),
        "move": lambda: _move(rng, plugs, wired),
        "exchange": lambda: _exchange(rng, plugs),
        "mirror": lambda: _mirror(rng, plugs),
        "splice": lambda: Injected("splice", (rng.choice(loom.splices),)) if loom.splices else None,
        "fuse": lambda: Injected("fuse", parts=(rng.choice(fuses),)) if fuses else None,
    }
    return makers[kind]()


def _short(rng: random.Random, loom: Loom) -> Injected | None:
    if rng.random() < 0.8:
        a = rng.choice(loom.cavities)
        near = loom.neighbours(a)
        return Injected("short", (a, rng.choice(near))) if near else None
    by_bundle: dict[str, list[Wire]] = {}
    for wire in loom.wires:
        for bundle in wire.bundles or ("",):
            by_bundle.setdefault(bundle, []).append(wire)
    together = [wires for wires in by_bundle.values() if len(wires) > 1]
    if not together:
        return None
    one, two = rng.sample(rng.choice(together), 2)
    return Injected("short", (one.a, two.a))


def _swap(rng: random.Random, plugs: Sequence[Connector], wired: set[End]) -> Injected | None:
    ends = [end for end in rng.choice(plugs).ends if end in wired]
    return Injected("swap", tuple(sorted(rng.sample(ends, 2)))) if len(ends) > 1 else None


def _move(rng: random.Random, plugs: Sequence[Connector], wired: set[End]) -> Injected | None:
    plug = rng.choice(plugs)
    full = [end for end in plug.ends if end in wired]
    bare = [end for end in plug.ends if end not in wired]
    return Injected("move", (rng.choice(full), rng.choice(bare))) if full and bare else None


def _exchange(rng: random.Random, plugs: Sequence[Connector]) -> Injected | None:
    one = rng.choice(plugs)
    alike = [plug for plug in plugs if plug.housing == one.housing and plug is not one]
    return Injected("exchange", connectors=(one.name, rng.choice(alike).name)) if alike else None


def _mirror(rng: random.Random, plugs: Sequence[Connector]) -> Injected | None:
    long = [plug for plug in plugs if len(plug.cavities) > 2]
    if not long:
        return None
    plug = rng.choice(long)
    even = len({len(row) for row in plug.rows}) == 1  # uneven rows do not fit left for right
    kinds = ("mirror", "rotate", "cycle", "shift") if even else ("rotate", "cycle", "shift")
    return Injected(rng.choice(kinds), connectors=(plug.name,))
