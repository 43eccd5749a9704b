"""Random looms of an engine's kind, and the same loom as a bench would trace it: names gone, a tenth changed.

The truth is kept by how the traced loom is made. Which connectors are interchangeable is told by refining
colours over the known loom's own graph (B. Weisfeiler and A. Leman, 1968), with no code of the matching room.
"""

from __future__ import annotations

import random
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from loomproof.loom.model import Component, ComponentKind, Connector, ConnectorKind, End, Hazard, Loom, Wire


@dataclass(frozen=True)
class Case:
    """A known loom, the traced one, and which of its connectors is which (``truth``, traced to known).

    ``cavity_truth`` is the same for cavities; ``orbits`` numbers the known connectors so that those of one
    number can't be told apart by any net of the whole, unchanged loom.
    """

    known: Loom
    traced: Loom
    truth: Mapping[str, str]
    cavity_truth: Mapping[End, End]
    orbits: Mapping[str, int]
    changed: int


class _Making:
    """Connectors and nets of an engine's loom, drawn by a seeded generator."""

    def __init__(self, rng: random.Random) -> None:
        self.rng = rng
        self.sizes: dict[str, int] = {}
        self.kinds: dict[str, ConnectorKind] = {}
        self.free: dict[str, list[str]] = {}
        self.nets: list[list[End]] = []
        self.parts: list[tuple[ComponentKind, End, End, float | None]] = []

    def connector(self, name: str, size: int, kind: ConnectorKind = ConnectorKind.PLUG) -> str:
        self.sizes[name], self.kinds[name] = size, kind
        self.free[name] = [str(k) for k in range(1, size + 1)]
        return name

    def end(self, connector: str, *, first: bool = False) -> End | None:
        free = self.free[connector]
        if not free:
            return None
        return End(connector, free.pop(0 if first else self.rng.randrange(len(free))))

    def net(self, *ends: End | None) -> list[End]:
        found = [end for end in ends if end is not None]
        self.nets.append(found)
        return found

    def grow(self, net: list[End], end: End | None) -> None:
        if end is not None:
            net.append(end)


def engine_loom(rng: random.Random) -> Loom:
    """Return a random engine's loom: computer, groups of look-alike plugs, sensors, relays, rings, tails."""
    make = _Making(rng)
    groups = rng.randint(1, 4)
    cylinders = rng.choice([2, 3, 4, 6, 8])
    ecu = [make.connector(f"ECU{k}", rng.choice([16, 24, 32, 48])) for k in range(rng.randint(1, 3))]
    box = make.connector("BULK", rng.choice([6, 8, 12, 24]), ConnectorKind.SOCKET)
    rings = [make.connector(f"E{k}", 1, ConnectorKind.RING) for k in range(rng.randint(1, 3))]

    def computer() -> End | None:
        return make.end(rng.choice(ecu))

    earth = make.net(make.end(rings[0]), computer(), computer())
    sensor_earth, supply = make.net(computer()), make.net(computer())
    feed = make.net(make.end(box), computer())
    for group in range(groups):
        pins = rng.choice([2, 2, 3])
        common = feed if rng.random() < 0.5 else make.net(make.end(box))
        for k in range(cylinders):
            plug = make.connector(f"G{group}-{k}", pins)
            make.grow(common, make.end(plug, first=True))
            make.net(make.end(plug, first=True), computer())
            if pins == 3:
                make.grow(earth, make.end(plug, first=True))
    for k in range(rng.randint(2, 10)):
        plug = make.connector(f"SEN{k}", rng.choice([2, 3, 3, 4, 6]))
        make.grow(sensor_earth, make.end(plug, first=True))
        if make.sizes[plug] > 2 and rng.random() < 0.7:
            make.grow(supply, make.end(plug, first=True))
        for _ in range(rng.randint(1, len(make.free[plug]))):
            make.net(make.end(plug, first=True), computer())
    for k in range(rng.randint(0, 3)):
        base = make.connector(f"K{k}", 4, ConnectorKind.RELAY_BASE)
        make.grow(feed, make.end(base, first=True))
        make.net(make.end(base, first=True), computer())
        make.net(make.end(base, first=True), make.end(box))
        make.grow(feed, make.end(base, first=True))
    for ring in rings[1:]:
        make.grow(earth if rng.random() < 0.5 else make.net(make.end(box)), make.end(ring))
    for k in range(rng.randint(0, 4)):
        tail = make.connector(f"T{k}", rng.choice([1, 2, 4]), ConnectorKind.TAIL)
        for _ in range(make.sizes[tail]):
            make.net(make.end(tail, first=True), computer() if rng.random() < 0.6 else make.end(box))
    for _ in range(rng.randint(0, 3)):
        one, two = rng.sample(range(len(make.nets)), 2)
        if make.nets[one] and make.nets[two]:
            kind = rng.choice([ComponentKind.RESISTOR, ComponentKind.DIODE])
            ohm = round(10 ** rng.uniform(1.5, 4.5), 1) if kind is ComponentKind.RESISTOR else None
            make.parts.append((kind, make.nets[one][0], make.nets[two][0], ohm))
    return loom_of_nets("known", make.sizes, make.kinds, make.nets, make.parts, rng)


def loom_of_nets(
    name: str,
    sizes: Mapping[str, int],
    kinds: Mapping[str, ConnectorKind],
    nets: Iterable[Sequence[End]],
    parts: Sequence[tuple[ComponentKind, End, End, float | None]],
    rng: random.Random,
) -> Loom:
    """Return a loom of these connectors and nets; a net of more than two ends has a splice."""
    connectors = [
        Connector(c, kinds[c], (tuple(str(k) for k in range(1, size + 1)),), hazard=Hazard.NONE)
        for c, size in sizes.items()
    ]
    wires: list[Wire] = []
    for net in nets:
        if len(net) == 2:
            wires.append(
                Wire(f"W{len(wires) + 1}", net[0], net[1], colour=rng.choice(["BK", "RD", "GN", "BU/WH"]))
            )
        elif len(net) > 2:
            splice = Connector(f"S{len(connectors)}", ConnectorKind.SPLICE)
            connectors.append(splice)
            wires += [Wire(f"W{len(wires) + 1 + k}", end, End(splice.name)) for k, end in enumerate(net)]
    components = [
        Component(
            f"X{k}",
            kind,
            (("A", a), ("K", b)) if kind is ComponentKind.DIODE else (("1", a), ("2", b)),
            resistance_ohm=ohm,
        )
        for k, (kind, a, b, ohm) in enumerate(parts)
    ]
    return Loom(name, connectors=tuple(connectors), wires=tuple(wires), components=tuple(components))


def net_lists(loom: Loom) -> list[list[End]]:
    """Return the nets of a generated loom: its wires and splices, followed by hand."""
    by_splice: dict[str, list[End]] = defaultdict(list)
    found = []
    for wire in loom.wires:
        if wire.b.cavity:
            found.append([wire.a, wire.b])
        else:
            by_splice[wire.b.connector].append(wire.a)
    return [*found, *by_splice.values()]


def dense_loom(rng: random.Random, connectors: int = 40, cavities: int = 600) -> Loom:
    """Return a loom of plugs whose cavities are wired at random: two big nets, the rest of two to six."""
    sizes = [2] * connectors
    for _ in range(cavities - 2 * connectors):
        sizes[rng.randrange(connectors)] += 1
    named = {f"C{k}": size for k, size in enumerate(sizes)}
    ends = [End(name, str(k)) for name, size in named.items() for k in range(1, size + 1)]
    rng.shuffle(ends)
    nets = [[ends.pop() for _ in range(cavities // share)] for share in (15, 30)]
    while len(ends) > 8:
        nets.append([ends.pop() for _ in range(rng.choice([1, 2, 2, 2, 2, 2, 3, 3, 4, 5, 6]))])
    told = [net for net in nets if len(net) > 1]
    return loom_of_nets("known", named, dict.fromkeys(named, ConnectorKind.PLUG), told, [], rng)


def case_of(seed: int, share: float = 0.1) -> Case:
    """Return the case of a seed: ``share`` of the nets hidden, cut, moved or joined in the traced loom."""
    rng = random.Random(seed)
    known = engine_loom(rng)
    traced, new, cavity, changed = retraced(rng, known, share)
    return Case(
        known,
        traced,
        {name: old for old, name in new.items()},
        {fresh: old for old, fresh in cavity.items()},
        orbits(known),
        changed,
    )


def retraced(
    rng: random.Random, known: Loom, share: float = 0.1
) -> tuple[Loom, dict[str, str], dict[End, End], int]:
    """Return a known loom as it is traced, new names of plugs and cavities, and how many nets changed."""
    nets = net_lists(known)
    taken = {end for net in nets for end in net}
    bare = [end for end in known.cavities if end not in taken]
    hit = rng.sample(range(len(nets)), round(share * len(nets)))
    drawn = [list(net) for net in nets]
    for k in hit:
        _change(rng, drawn, k, bare)
    solid = [c for c in known.connectors if c.kind is not ConnectorKind.SPLICE]
    names = [f"P{k}" for k in range(1, len(solid) + 1)]
    rng.shuffle(names)
    new = {c.name: name for c, name in zip(solid, names, strict=True)}
    cavity: dict[End, End] = {}
    for c in solid:
        shuffled = list(c.cavities)
        rng.shuffle(shuffled)
        cavity |= {
            End(c.name, old): End(new[c.name], fresh) for old, fresh in zip(c.cavities, shuffled, strict=True)
        }
    sizes = {new[c.name]: len(c.cavities) for c in sorted(solid, key=lambda c: new[c.name])}
    parts = [
        (
            part.kind,
            cavity[part.ends[0]],
            cavity[part.ends[1]],
            part.resistance_ohm and part.resistance_ohm * rng.uniform(0.97, 1.03),
        )
        for part in known.components
    ]
    traced = loom_of_nets(
        "traced",
        sizes,
        dict.fromkeys(sizes, ConnectorKind.PLUG),
        [[cavity[end] for end in net] for net in drawn if len(net) > 1],
        parts,
        rng,
    )
    return traced, new, cavity, len(hit)


def _change(rng: random.Random, nets: list[list[End]], k: int, bare: list[End]) -> None:
    """Hide a net, cut an end off, move an end to a bare cavity, or join it with another."""
    net = nets[k]
    match rng.choice(["hidden", "hidden", "cut", "moved", "joined"]):
        case "cut" if net:
            net.pop(rng.randrange(len(net)))
        case "moved" if net and bare:
            place = rng.randrange(len(net))
            gone, net[place] = net[place], bare.pop(rng.randrange(len(bare)))
            bare.append(gone)
        case "joined":
            other = rng.randrange(len(nets))
            if other != k:
                nets[other] += net
                net.clear()
        case _:
            net.clear()


def orbits(loom: Loom) -> dict[str, int]:
    """Return a number for each connector, the same for those that no net or part tells apart.

    Each connector is singled out in turn, and colours are refined until nothing changes; two connectors
    whose whole pictures are then the same count as one orbit.
    """
    neighbours: dict[object, list[tuple[str, object]]] = defaultdict(list)
    start: dict[object, str] = {}
    for connector in loom.connectors:
        if connector.kind is ConnectorKind.SPLICE:
            continue
        start["c", connector.name] = f"connector {len(connector.cavities)} {connector.kind}"
        for end in connector.ends:
            start[end] = "cavity"
            _link(neighbours, ("c", connector.name), end)
    nets = net_lists(loom)
    at: dict[End, object] = {}
    for k, net in enumerate(nets):
        start["n", k] = "net"
        for end in net:
            at[end] = ("n", k)
            _link(neighbours, ("n", k), end)
    for k, part in enumerate(loom.components):
        start["p", k] = f"{part.kind} {part.resistance_ohm}"
        for terminal, end in part.terminals:
            marked = terminal if part.kind is ComponentKind.DIODE else "end"
            neighbours["p", k].append((marked, at.get(end, end)))
            neighbours[at.get(end, end)].append((marked, ("p", k)))
    pictures: dict[object, int] = {}
    found = {}
    for connector in loom.connectors:
        if connector.kind is not ConnectorKind.SPLICE:
            picture = _refined({**start, ("c", connector.name): "this one"}, neighbours)
            found[connector.name] = pictures.setdefault(picture, len(pictures))
    return found


def _link(neighbours: dict[object, list[tuple[str, object]]], one: object, other: object) -> None:
    neighbours[one].append(("", other))
    neighbours[other].append(("", one))


def _refined(start: Mapping[object, str], neighbours: Mapping[object, list[tuple[str, object]]]) -> object:
    named = sorted(set(start.values()))
    colour = {node: named.index(text) for node, text in start.items()}
    count = len(set(colour.values()))
    while True:
        views = {
            node: (colour[node], tuple(sorted((mark, colour[other]) for mark, other in neighbours[node])))
            for node in colour
        }
        order = {view: k for k, view in enumerate(sorted(set(views.values())))}
        colour = {node: order[view] for node, view in views.items()}
        if len(order) == count:
            return tuple(sorted(Counter(views.values()).items()))
        count = len(order)
