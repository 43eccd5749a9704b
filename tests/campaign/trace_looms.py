"""Random looms to be traced, and what a person with the diagram knows of them: nets and parts, found here.

Nets follow wires, splices and fuses by a search over the description. What parts read is a sum over the parts
of a path or, where several lie between the same two nets, of their conductances; wires and contacts add what
handbook copper (ρ = 1/58 Ω mm²/m, IEC 60228's 20 °C) and the loom's own allowances add at most.
"""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from loomproof.loom.model import Component, ComponentKind, Connector, ConnectorKind, End, Hazard, Loom, Wire

E24 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 4.7, 5.6, 6.8, 8.2)
"""Some of the preferred numbers of IEC 60063."""


@dataclass(frozen=True)
class Truth:
    """What is there: nets of cavities, and by pair of nets ohms, farads, or which end a diode's anode is on.

    ``wires_ohm`` is the most that wires and contacts add to any reading.
    """

    nets: frozenset[frozenset[End]]
    ohms: Mapping[frozenset[frozenset[End]], float]
    farads: Mapping[frozenset[frozenset[End]], float]
    diodes: frozenset[tuple[frozenset[End], frozenset[End]]]
    wires_ohm: float


def loom_drawn(rng: random.Random, cavities: int, *, farads: bool) -> Loom:
    """Return a loom of about so many cavities: nets of one to six ends, parts of every kind between them."""
    connectors: list[Connector] = []
    ends: list[End] = []
    while len(ends) < cavities:
        size = min(rng.choice((1, 2, 2, 3, 4, 6, 8, 12, 24)), cavities - len(ends))
        name = f"P{len(connectors) + 1}"
        rows = (tuple(str(k) for k in range(1, size + 1)),)
        connectors.append(Connector(name, ConnectorKind.PLUG, rows, hazard=Hazard.NONE))
        ends += [End(name, str(k)) for k in range(1, size + 1)]
    rng.shuffle(ends)
    nets: list[list[End]] = []
    while ends:
        size = rng.choice((1, 1, 2, 2, 2, 2, 3, 4, 6))
        nets.append([ends.pop() for _ in range(min(size, len(ends)))])
    wires: list[Wire] = []
    parts: list[Component] = []

    def wire(a: End, b: End) -> None:
        area, length = rng.choice((0.5, 0.75, 1.0, 2.5)), round(rng.uniform(0.2, 4.0), 2)
        wires.append(Wire(f"W{len(wires) + 1}", a, b, csa_mm2=area, length_m=length))

    def part(kind: ComponentKind, a: End, b: End, **values: Any) -> None:
        names = ("A", "K") if kind is ComponentKind.DIODE else ("1", "2")
        parts.append(Component(f"X{len(parts) + 1}", kind, ((names[0], a), (names[1], b)), **values))

    for net in nets:
        if len(net) == 2:
            if rng.random() < 0.15:
                part(ComponentKind.FUSE, *net, rating_a=10.0)
            else:
                wire(*net)
        elif len(net) > 2:
            splice = Connector(f"S{len(connectors) + 1}", ConnectorKind.SPLICE)
            connectors.append(splice)
            for end in net:
                wire(end, End(splice.name))
    free = [rng.choice(net) for net in nets]
    rng.shuffle(free)
    while len(free) > len(nets) // 2 and len(free) > 3:
        kind = rng.choice(("one", "one", "chain", "two", "diode", "coil", "farad"))
        a, b = free.pop(), free.pop()
        if kind == "diode":
            part(ComponentKind.DIODE, a, b, forward_v=0.65)
        elif kind == "coil":
            part(ComponentKind.COIL, a, b, resistance_ohm=float(rng.randint(50, 120)))
            part(ComponentKind.DIODE, a, b, forward_v=0.65)
        elif kind == "farad":
            if farads:
                part(
                    ComponentKind.CAPACITOR,
                    a,
                    b,
                    capacitance_f=rng.choice(E24[4:]) * 10 ** rng.choice((-8.0, -7.0)),
                )
        else:
            part(ComponentKind.RESISTOR, a, b, resistance_ohm=_ohm(rng))
            if kind == "two":
                part(ComponentKind.RESISTOR, a, b, resistance_ohm=_ohm(rng))
            if kind == "chain":
                part(ComponentKind.RESISTOR, b, free.pop(), resistance_ohm=_ohm(rng))
    return Loom("unknown", connectors=tuple(connectors), wires=tuple(wires), components=tuple(parts))


def _ohm(rng: random.Random) -> float:
    return rng.choice(E24) * 10.0 ** rng.choice((1, 2, 3, 4))


def truth_of(loom: Loom) -> Truth:
    """Return what is there, from the description alone."""
    beside: dict[End, list[End]] = defaultdict(list)
    links = [wire.ends for wire in loom.wires]
    links += [(p.ends[0], p.ends[1]) for p in loom.components if p.kind is ComponentKind.FUSE]
    for a, b in links:
        beside[a].append(b)
        beside[b].append(a)
    net_of: dict[End, frozenset[End]] = {}
    for connector in loom.connectors:
        for end in connector.ends:
            if end in net_of or not end.cavity:
                continue
            reached, ahead = {end}, [end]
            while ahead:
                for other in beside[ahead.pop()]:
                    if other not in reached:
                        reached.add(other)
                        ahead.append(other)
            net = frozenset(each for each in reached if each.cavity)
            net_of |= dict.fromkeys(net, net)
    siemens: dict[frozenset[frozenset[End]], float] = defaultdict(float)
    farads: dict[frozenset[frozenset[End]], float] = defaultdict(float)
    diodes = set()
    for part in loom.components:
        one, two = (net_of[end] for end in part.ends)
        if part.kind is ComponentKind.DIODE:
            diodes.add((one, two))
        elif part.kind is ComponentKind.CAPACITOR:
            farads[frozenset((one, two))] += part.capacitance_f or 0.0
        elif part.resistance_ohm:
            siemens[frozenset((one, two))] += 1.0 / part.resistance_ohm
    copper = max(
        (1.1 * w.length_m / 58.0 / w.csa_mm2 for w in loom.wires if w.length_m and w.csa_mm2), default=0.0
    )
    settings = loom.settings
    joints = 4 * settings.crimp_ohm + 2 * settings.splice_ohm + 2 * settings.contact_ohm
    return Truth(
        frozenset(net_of.values()),
        {pair: 1.0 / g for pair, g in siemens.items()},
        dict(farads),
        frozenset(diodes),
        4 * copper + 2 * joints,
    )
