"""Random looms of every size, random faults of every kind, and the simulator's words for each fault."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace

from loomproof.loom.model import CavityFacts, Circuit, Component, ComponentKind, End, Hazard, Loom
from tests.diagnosis.injector import SIZES, Bench, Injected, random_fault, random_loom

LEAST, MOST = 20, 500
LINK_SIZES = (*SIZES, 40, 48, 60)
SECTIONS_MM2 = (0.5, 0.5, 0.75, 1.0, 1.5, 2.5)

HIGH_OHM, SLIGHT_OHM = (3.0, 40.0), (0.15, 0.45)
LEAK_OHM, PART_OHM = (1e3, 3e5), (100.0, 900.0)
VALUE_RATIOS = (1 / 3, 3.0)
LOOSE_HZ = (4.0, 9.0)
"""The stated ranges of fault sizes: joints that must fail and those inside the guard band of a ±(0.1 Ω + 1 %)
meter, leaks, parts added, how far a part is off its value, how often a contact opens."""

SIZES_TOLD = (
    f"Sizes: high resistance {HIGH_OHM[0]:g} to {HIGH_OHM[1]:g} Ω (slight: {SLIGHT_OHM[0]:g} to "
    f"{SLIGHT_OHM[1]:g} Ω), leaks {LEAK_OHM[0] / 1e3:g} to {LEAK_OHM[1] / 1e3:g} kΩ, added parts "
    f"{PART_OHM[0]:g} to {PART_OHM[1]:g} Ω, parts at a third or three times their value, loose contacts at "
    f"{LOOSE_HZ[0]:g} to {LOOSE_HZ[1]:g} Hz (open a tenth of the time)."
)

NET_KINDS = (
    "open",
    "contact",
    "short",
    "swap",
    "move",
    "exchange",
    "mirror",
    "rotate",
    "shift",
    "splice",
    "fuse",
)


def linked_loom(rng: random.Random, cavities: int) -> Loom:
    """Return a loom of about so many cavities with wires of several lengths, resistors and a diode."""
    loom = random_loom(rng, cavities, LINK_SIZES)
    fused = {end for part in loom.components for end in part.ends}
    nets = [sorted(net) for net in Bench(loom).build() if len(net) > 1 and not net & fused]
    rng.shuffle(nets)
    parts = list(loom.components)
    for name in ("R1", "R2", "R3", "D1"):
        if len(nets) < 6:
            break
        a, b = rng.choice(nets.pop()), rng.choice(nets.pop())
        if name == "D1":
            parts.append(Component(name, ComponentKind.DIODE, (("A", a), ("K", b)), forward_v=0.6))
        else:
            ohm = float(rng.choice([120, 470, 1000, 4700]))
            parts.append(Component(name, ComponentKind.RESISTOR, (("1", a), ("2", b)), ohm, 5.0))
    wires = tuple(
        replace(w, circuit="all", csa_mm2=rng.choice(SECTIONS_MM2), length_m=round(rng.uniform(0.2, 4.0), 2))
        for w in loom.wires
    )
    shared = Counter(end for wire in wires for end in wire.ends if end.cavity)
    return replace(
        loom,
        components=tuple(parts),
        connectors=tuple(replace(c, hazard=Hazard.NONE) for c in loom.connectors),
        wires=wires,
        circuits=(Circuit("all", "everything"),),
        cavity_facts=tuple(CavityFacts(end, shared=True) for end, n in shared.items() if n > 1),
    )


def random_set(rng: random.Random, loom: Loom, count: int, *, watched: bool) -> list[Injected]:
    """Return so many faults in different places; loose contacts only where a watch runs."""
    chosen: list[Injected] = []
    taken: set[str] = set()
    for number in range(100 * count):
        if len(chosen) == count:
            break
        make = _loose if watched and number == 0 else _ohmic if rng.random() < 0.4 else _wiring
        fault = make(rng, loom)
        if fault is None:
            continue
        places = _places(fault, loom)
        if not places & taken:
            taken |= places
            chosen.append(fault)
    return chosen


def _places(fault: Injected, loom: Loom) -> set[str]:
    """Return the cavities, wires, splices and parts that a fault is in, as texts."""
    places = {str(end) for end in fault.ends} | set(fault.parts)
    places |= {str(end) for name in fault.connectors for end in loom.by_name[name].ends}
    places |= {str(end) for name in fault.parts for end in loom.component_by_name[name].ends}
    names = set(fault.wires)
    names |= {wire.name for end in fault.ends if not end.cavity for wire in loom.wires_at.get(end, ())}
    places |= {f"wire {name}" for name in names}
    return places | {str(end) for name in names for end in loom.wire_by_name[name].ends if end.cavity}


def _wiring(rng: random.Random, loom: Loom) -> Injected | None:
    if rng.random() < 0.05:
        one, two = rng.sample(loom.cavities, 2)
        return Injected("added", (one, two)) if one.connector != two.connector else None
    fault = random_fault(rng, loom)
    return fault if fault is not None and fault.kind in NET_KINDS else None


def _ohmic(rng: random.Random, loom: Loom) -> Injected | None:
    kind = rng.choice(
        (
            "high",
            "high",
            "high contact",
            "high splice",
            "slight",
            "leak",
            "part",
            "diode",
            "missing",
            "value",
            "reversed",
        )
    )
    if kind == "slight":
        return Injected(kind, wires=(rng.choice(loom.wires).name,), ohm=round(rng.uniform(*SLIGHT_OHM), 2))
    if kind.startswith("high"):
        ohm = round(rng.uniform(*HIGH_OHM), 2)
        if kind == "high":
            return Injected(kind, wires=(rng.choice(loom.wires).name,), ohm=ohm)
        ends = loom.splices if kind == "high splice" else _wired(loom)
        return Injected(kind, (rng.choice(ends),), ohm=ohm) if ends else None
    if kind in ("leak", "part", "diode"):
        a, b = rng.sample(loom.cavities, 2)
        ohm = {"leak": rng.uniform(*LEAK_OHM), "part": rng.uniform(*PART_OHM)}.get(kind, 0.0)
        return Injected(kind, (a, b), ohm=float(round(ohm)))
    wanted = ComponentKind.DIODE if kind == "reversed" else ComponentKind.RESISTOR
    if kind == "missing" and rng.random() < 0.25:
        wanted = ComponentKind.DIODE
    parts = [part for part in loom.components if part.kind is wanted]
    if not parts:
        return None
    part = rng.choice(parts)
    ohm = round((part.resistance_ohm or 0) * rng.choice(VALUE_RATIOS)) if kind == "value" else 0
    return Injected(kind, parts=(part.name,), ohm=float(ohm))


def _loose(rng: random.Random, loom: Loom) -> Injected | None:
    hertz = f"{rng.uniform(*LOOSE_HZ):.1f}"
    if rng.random() < 0.5:
        return Injected("loose", wires=(rng.choice(loom.wires).name,), detail=hertz)
    return Injected("loose", (rng.choice(_wired(loom)),), detail=hertz)


def _wired(loom: Loom) -> list[End]:
    return sorted({end for wire in loom.wires for end in wire.ends if end.cavity})


def words(fault: Injected) -> str:
    """Return the fault as the simulator is told it."""
    where = " ".join((*fault.wires, *(str(end) for end in fault.ends), *fault.parts, *fault.connectors))
    match fault.kind:
        case "contact" | "splice":
            return f"open {where}"
        case "added":
            return f"short {where}"
        case "fuse":
            return f"blown {where}"
        case "diode":
            return f"part diode {where}"
        case "loose":
            return f"loose {where} {fault.detail} Hz"
        case "high" | "slight" | "high contact" | "high splice":
            return f"high {fault.ohm:g} {where}"
        case "leak" | "part" | "value":
            return f"{fault.kind} {fault.ohm:g} {where}"
    return f"{fault.kind} {where}"
