"""Random looms with parts of all kinds, loops, unused circuits and spare cavities, and faults for them."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from loomproof.loom.model import (
    CavityFacts,
    Circuit,
    Component,
    ComponentKind,
    End,
    Hazard,
    Loom,
    Need,
    Wire,
)
from tests.campaign.true_looms import LED_V
from tests.diagnosis.injector import SIZES, Bench, Injected, random_fault, random_loom

SECTIONS_MM2 = (0.5, 0.5, 0.75, 1.0, 1.5, 2.5)
LEAST, MOST = 10, 300
RESISTORS_OHM = (10, 22, 30, 47, 120, 470, 1000, 3300, 10_000, 47_000, 220_000, 470_000, 3.3e6)
SHUNTS_OHM = (0.005, 0.01, 0.05, 0.1)
COILS_OHM = (1.2, 15, 30, 85, 320)
KINDS = (
    *("resistor", "resistor", "resistor", "unknown resistor", "shunt", "capacitor", "coil", "unknown coil"),
    *("diode", "diode", "led", "antiparallel", "bridged diode", "relay", "changeover", "unknown relay"),
    *("guarded relay", "fuse", "pulled fuse", "link"),
)

HIGH_OHM, SLIGHT_OHM = (0.3, 200.0), (0.02, 0.5)
LEAK_OHM, PART_OHM = (800.0, 3e6), (8.0, 900.0)


def loom_of(rng: random.Random, most: int = MOST) -> Loom:
    """Return a loom; most are small, a few have hundreds of cavities."""
    cavities = round(LEAST * (most / LEAST) ** (rng.random() ** 1.7))
    loom = random_loom(rng, cavities, SIZES)
    loom = replace(loom, wires=(*loom.wires, *_loops(rng, loom)))
    nets = [sorted(net) for net in Bench(loom).build() if len(net) > 1]
    fused = {end for part in loom.components for end in part.ends}
    parts = list(loom.components)
    wanted = rng.choice((0, 1, 1, 2, 2, 3, 4, 6)) if cavities < 60 else rng.choice((2, 4, 6, 9))
    for number in range(wanted):
        parts += _parts(rng, rng.choice(KINDS), number, [net for net in nets if not fused & set(net)])
    unused = _unused(rng, nets, parts)
    wires = tuple(
        replace(
            wire,
            circuit="all",
            csa_mm2=rng.choice(SECTIONS_MM2),
            length_m=round(rng.uniform(0.2, 4.0), 2),
        )
        for wire in loom.wires
    )
    shared = Counter(end for wire in wires for end in wire.ends if end.cavity)
    wired = set(shared)
    facts = [CavityFacts(end, shared=True) for end, count in shared.items() if count > 1]
    at_parts = {end for part in parts for end in part.ends}
    facts += [
        CavityFacts(end, spare=True)
        for end in loom.cavities
        if end not in wired | at_parts and rng.random() < 0.5
    ]
    wires, loads = _loaded(wires, nets, unused)
    return replace(
        loom,
        components=tuple(_stated(parts)),
        connectors=tuple(replace(c, hazard=Hazard.NONE) for c in loom.connectors),
        wires=wires,
        circuits=(
            Circuit("all", "everything"),
            Circuit("spare wiring", "nothing", need=Need.UNUSED),
            *loads,
        ),
        cavity_facts=tuple(facts),
    )


def _loaded(
    wires: Sequence[Wire], nets: Sequence[Sequence[End]], unused: set[End]
) -> tuple[tuple[Wire, ...], list[Circuit]]:
    """Return the wires with those of some nets in circuits of their own that state a load (feed side)."""
    own = random.Random(repr([(wire.name, wire.length_m) for wire in wires]))
    named: dict[End, str] = {}
    loads: list[Circuit] = []
    if own.random() < 0.3:
        for net in own.sample(list(nets), min(len(nets), 2)):
            if not set(net) & unused:
                name = f"load {len(loads) + 1}"
                loads.append(Circuit(name, "a load", "15", load_a=own.choice((2.0, 5.0, 10.0, 34.0))))
                named |= dict.fromkeys(net, name)
    named |= dict.fromkeys(unused, "spare wiring")
    # Wires between splices of such a net have none of its cavities: theirs follow what they hang on.
    changed = True
    while changed:
        changed = False
        for wire in wires:
            for at, other in (wire.ends, wire.ends[::-1]):
                if at in named and other not in named:
                    named[other], changed = named[at], True
    return tuple(replace(wire, circuit=named.get(wire.a, wire.circuit)) for wire in wires), loads


def _loops(rng: random.Random, loom: Loom) -> list[Wire]:
    """One more wire within some nets of three cavities and more."""
    found: list[Wire] = []
    for net in Bench(replace(loom, components=())).build():
        if len(net) >= 3 and rng.random() < 0.15:
            a, b = rng.sample(sorted(net), 2)
            if not any({a, b} == set(wire.ends) for wire in loom.wires):
                found.append(Wire(f"V{len(found) + 1}", a, b, "BK", 0.5, 1.0))
    return found


def _unused(rng: random.Random, nets: Sequence[Sequence[End]], parts: Sequence[Component]) -> set[End]:
    """Return the cavities of the nets that this car does not need: none that a part is on."""
    at_parts = {end for part in parts for end in part.ends}
    free = [net for net in nets if not at_parts & set(net)]
    if not free or rng.random() < 0.6:
        return set()
    return {end for net in rng.sample(free, min(len(free), rng.choice((1, 1, 2)))) for end in net}


def _parts(rng: random.Random, kind: str, number: int, nets: Sequence[Sequence[End]]) -> list[Component]:
    """Return a part, or two that belong together, between nets drawn at random; none where nets are few."""
    count = {"changeover": 5, "relay": 4, "unknown relay": 4, "guarded relay": 4}.get(kind, 2)
    if len(nets) < count + 1:
        return []
    one, two, *more = (rng.choice(net) for net in rng.sample(list(nets), count))
    pair = (("1", one), ("2", two))
    name = f"X{number}"

    def diode(name: str, a: End, k: End, volts: float = 0.6) -> Component:
        return Component(name, ComponentKind.DIODE, (("A", a), ("K", k)), forward_v=volts)

    def resistor(name: str, ohm: float | None) -> Component:
        return Component(name, ComponentKind.RESISTOR, pair, ohm, rng.choice((1.0, 5.0)) if ohm else None)

    if kind in ("relay", "changeover", "unknown relay", "guarded relay"):
        terminals = zip(("85", "86", "30", "87", "87a"), (one, two, *more), strict=False)
        ohm = None if kind == "unknown relay" else rng.choice((60.0, 85.0, 90.0))
        coil = Component(name, ComponentKind.RELAY, tuple(terminals), ohm, None if ohm is None else 10.0)
        return [coil, diode(f"{name}D", two, one)] if kind == "guarded relay" else [coil]
    match kind:
        case "resistor":
            return [resistor(name, float(rng.choice(RESISTORS_OHM)))]
        case "unknown resistor":
            return [resistor(name, None)]
        case "shunt":
            return [resistor(name, rng.choice(SHUNTS_OHM))]
        case "capacitor":
            return [Component(name, ComponentKind.CAPACITOR, pair, capacitance_f=1e-7)]
        case "coil" | "unknown coil":
            ohm = float(rng.choice(COILS_OHM)) if kind == "coil" else None
            return [Component(name, ComponentKind.COIL, pair, ohm, 10.0 if ohm else None)]
        case "diode" | "led":
            return [diode(name, one, two, LED_V if kind == "led" else 0.6)]
        case "antiparallel":
            return [diode(name, one, two), diode(f"{name}D", two, one)]
        case "bridged diode":
            return [
                diode(f"{name}D", one, two),
                resistor(name, float(rng.choice((470, 3300, 20_000, 100_000)))),
            ]
        case "fuse" | "pulled fuse":
            fitted = kind == "fuse"
            return [Component(name, ComponentKind.FUSE, pair, rating_a=10, fitted=fitted, pullable=True)]
    return [Component(name, ComponentKind.LINK, pair)]


def _stated(parts: Sequence[Component]) -> list[Component]:
    """Fuses and links with their cold resistance, so that no table of the tool's own decides."""
    return [
        replace(part, resistance_ohm=0.008)
        if part.kind in (ComponentKind.FUSE, ComponentKind.LINK) and part.resistance_ohm is None
        else part
        for part in parts
    ]


def faults_of(rng: random.Random, loom: Loom, count: int) -> tuple[Injected, ...]:
    """Return so many faults in different places."""
    chosen: list[Injected] = []
    taken: set[str] = set()
    for _ in range(100 * count):
        if len(chosen) == count:
            break
        fault = _fault(rng, loom)
        if fault is not None and not (places := places_of(fault, loom)) & taken:
            taken |= places
            chosen.append(fault)
    return tuple(chosen)


def places_of(fault: Injected, loom: Loom) -> set[str]:
    """Return the cavities, wires, splices and parts that a fault is in, as texts."""
    found = {str(end) for end in fault.ends} | {f"part {name}" for name in fault.parts}
    found |= {str(end) for name in fault.connectors for end in loom.by_name[name].ends}
    found |= {str(end) for name in fault.parts for end in loom.component_by_name[name].ends}
    names = set(fault.wires)
    names |= {wire.name for end in fault.ends if not end.cavity for wire in loom.wires_at.get(end, ())}
    found |= {f"wire {name}" for name in names}
    return found | {str(end) for name in names for end in loom.wire_by_name[name].ends if end.cavity}


def _fault(rng: random.Random, loom: Loom) -> Injected | None:
    draw = rng.random()
    if draw < 0.5 or not loom.wires:
        return random_fault(rng, loom)
    if draw < 0.8:
        return _added(rng, loom)
    return _in_part(rng, loom)


def _log(rng: random.Random, bounds: tuple[float, float]) -> float:
    low, high = bounds
    return float(f"{low * (high / low) ** rng.random():.3g}")


def _added(rng: random.Random, loom: Loom) -> Injected | None:
    kind = rng.choice(
        (
            "high",
            "high",
            "slight",
            "high contact",
            "high splice",
            "leak",
            "part",
            "diode",
            "led",
            "added",
            "added",
        )
    )
    if kind in ("high", "slight"):
        ohm = _log(rng, HIGH_OHM if kind == "high" else SLIGHT_OHM)
        return Injected(kind, wires=(rng.choice(loom.wires).name,), ohm=ohm)
    if kind.startswith("high"):
        wired = sorted({end for wire in loom.wires for end in wire.ends if end.cavity})
        ends = loom.splices if kind == "high splice" else wired
        return Injected(kind, (rng.choice(ends),), ohm=_log(rng, HIGH_OHM)) if ends else None
    a, b = rng.sample(loom.cavities, 2)
    bounds = {"leak": LEAK_OHM, "part": PART_OHM}.get(kind)
    return Injected(kind, (a, b), ohm=_log(rng, bounds) if bounds else 0.0)


def _in_part(rng: random.Random, loom: Loom) -> Injected | None:
    plain = (ComponentKind.FUSE, ComponentKind.LINK)
    parts = [part for part in loom.components if part.fitted and part.kind not in plain]
    if not parts:
        return None
    part = rng.choice(parts)
    kind = rng.choice(("missing", "value", "shorted", "reversed"))
    if kind == "reversed" and part.kind is not ComponentKind.DIODE:
        return None
    if kind == "value":
        if part.resistance_ohm is None or part.kind is ComponentKind.DIODE:
            return None
        return Injected(
            kind, parts=(part.name,), ohm=part.resistance_ohm * rng.choice((1 / 3, 0.5, 2.0, 3.0))
        )
    if kind == "shorted" and part.resistance_ohm is not None and part.resistance_ohm < 1.0:
        return None
    return Injected(kind, parts=(part.name,))
