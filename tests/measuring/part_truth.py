"""Random looms with parts of all kinds, and what they really are: resistances by pseudo-inverse.

Nothing here is shared with what proves: wires and contacts are a few hundredths of an ohm, a conducting diode
60 Ω and a blocking one nothing (its state found by trying), a capacitor nothing.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from loomproof.loom.model import Component, ComponentKind, End, Loom
from tests.looms import random_loom

WIRE_OHM, SHORT_OHM, DIODE_OHM, COIL_OHM, CLOSED_OHM, UNKNOWN_OHM = 0.05, 0.02, 60.0, 85.0, 0.01, 1000.0
OPEN_S = 1e-11
DIODE_LEAST_OHM = 35.0
"""A sound diode of 0.65 V may drop 0.3 V less (spread and warmth, common practice) over 10 mA."""

SHOWS_RATIO, SHOWS_OHM = 2.1, 5.0
"""Two readings of so many times each other, and so far apart, no meter takes for one."""

Edge = tuple[End, End, float]


@dataclass(frozen=True)
class Case:
    """One loom and its faults, in the simulator's words."""

    number: int
    loom: Loom
    faults: tuple[str, ...]


@dataclass(frozen=True)
class Truth:
    """The real network: resistors, and diodes from anode to cathode."""

    ohms: tuple[Edge, ...]
    diodes: tuple[tuple[End, End], ...]


def case_of(number: int, most_faults: int = 3) -> Case:
    """Return a loom with parts and up to so many faults, from nothing but its number."""
    rng = random.Random(f"parts/{number}")
    loom = random_loom(rng, rng.randint(8, 40))
    parts = tuple(_parts(rng, loom))
    loom = replace(loom, components=parts)
    count = min(rng.choice([0, 0, 1, 1, 1, 2, 3]), most_faults)
    return Case(number, loom, tuple(_faults(rng, loom, count)))


def _parts(rng: random.Random, loom: Loom) -> Iterator[Component]:
    cavities = list(loom.cavities)
    for number in range(rng.randint(1, 6)):
        kind = rng.choice(["resistor", "resistor", "coil", "relay", "capacitor", "diode", "diode", "beside"])
        pair = rng.sample(cavities, 2)
        a, b = pair
        if kind == "relay" and len(cavities) > 12:
            ends = rng.sample(cavities, 5)
            terminals = tuple(zip(("30", "85", "86", "87", "87a"), ends, strict=True))
            yield Component(f"K{number}", ComponentKind.RELAY, terminals, rng.choice([85.0, None]))
        elif kind == "coil":
            ohm = rng.choice([None, 0.5, 3.0, 14.0, 85.0])
            yield Component(f"L{number}", ComponentKind.COIL, (("1", a), ("2", b)), ohm)
        elif kind == "capacitor":
            yield Component(f"C{number}", ComponentKind.CAPACITOR, (("1", a), ("2", b)))
        elif kind == "diode":
            yield Component(f"D{number}", ComponentKind.DIODE, (("A", a), ("K", b)), forward_v=0.65)
        elif kind == "beside":
            ohm = rng.choice([10.0, 1000.0, 20_000.0])
            yield Component(f"D{number}", ComponentKind.DIODE, (("A", a), ("K", b)), forward_v=0.65)
            if rng.random() < 0.3:
                yield Component(f"E{number}", ComponentKind.DIODE, (("A", b), ("K", a)), forward_v=0.65)
            else:
                yield Component(f"R{number}", ComponentKind.RESISTOR, (("1", a), ("2", b)), ohm)
        else:
            ohm = rng.choice([None, 0.1, 2.0, 30.0, 47.0, 470.0, 4700.0, 100_000.0, 1e6])
            yield Component(f"R{number}", ComponentKind.RESISTOR, (("1", a), ("2", b)), ohm)


def _faults(rng: random.Random, loom: Loom, count: int) -> Iterator[str]:
    used: set[End | str] = set()
    made = 0
    for _ in range(40 * count):
        if made == count:
            return
        kind = rng.choice(["open", "short", "swap", "missing", "value", "reversed", "diode", "leak"])
        touched: set[End | str] = set()
        if kind == "open":
            wire = rng.choice(loom.wires)
            text, touched = f"open {wire.name}", {wire.name, *wire.ends}
        elif kind in ("short", "diode", "leak"):
            a, b = rng.sample(loom.cavities, 2)
            word = {"short": "short", "diode": "part diode", "leak": f"leak {rng.choice([300, 9000])}"}[kind]
            text, touched = f"{word} {a} {b}", {a, b}
        elif kind == "swap":
            plugs = [c for c in loom.connectors if len(c.cavities) > 1]
            if not plugs:
                continue
            a, b = rng.sample(rng.choice(plugs).ends, 2)
            text, touched = f"swap {a} {b}", {a, b}
        else:
            kinds = {
                "missing": tuple(ComponentKind),
                "value": (ComponentKind.RESISTOR,),
                "reversed": (ComponentKind.DIODE,),
            }[kind]
            parts = [p for p in loom.components if p.kind in kinds and (kind != "value" or p.resistance_ohm)]
            if not parts:
                continue
            part = rng.choice(parts)
            value = f" {(part.resistance_ohm or 1.0) * rng.choice([0.3, 3.0]):g}" if kind == "value" else ""
            text, touched = f"{kind}{value} {part.name}", {part.name, *part.ends}
        if touched & used:
            continue
        used |= touched
        made += 1
        yield text


def truth_of(loom: Loom, faults: Sequence[str] = ()) -> Truth:
    """Return the network of a loom with these faults."""
    at: dict[End, End] = {}
    opened: set[str] = set()
    gone: set[str] = set()
    turned: set[str] = set()
    values: dict[str, float] = {}
    ohms: list[Edge] = []
    diodes: list[tuple[End, End]] = []
    ends = {str(end): end for end in loom.cavities}
    for fault in faults:
        words = fault.split()
        if words[0] == "open":
            opened.add(words[1])
        elif words[0] == "swap":
            a, b = ends[words[1]], ends[words[2]]
            at |= {a: b, b: a}
        elif words[0] == "short":
            ohms.append((ends[words[1]], ends[words[2]], SHORT_OHM))
        elif words[0] == "leak":
            ohms.append((ends[words[2]], ends[words[3]], float(words[1])))
        elif words[0] == "part":
            diodes.append((ends[words[2]], ends[words[3]]))
        elif words[0] == "missing":
            gone.add(words[1])
        elif words[0] == "reversed":
            turned.add(words[1])
        elif words[0] == "value":
            values[words[2]] = float(words[1])
    for wire in loom.wires:
        if wire.name not in opened:
            ohms.append((at.get(wire.a, wire.a), at.get(wire.b, wire.b), WIRE_OHM))
    for part in loom.components:
        if part.name in gone:
            continue
        pins = {name: at.get(end, end) for name, end in part.terminals}
        stated = values.get(part.name, part.resistance_ohm)
        if part.kind is ComponentKind.DIODE:
            a, k = pins["A"], pins["K"]
            diodes.append((k, a) if part.name in turned else (a, k))
        elif part.kind is ComponentKind.RELAY:
            ohms.append((pins["85"], pins["86"], COIL_OHM if stated is None else stated))
            ohms.append((pins["30"], pins["87a"], CLOSED_OHM))
        elif part.kind is not ComponentKind.CAPACITOR:
            other = COIL_OHM if part.kind is ComponentKind.COIL else UNKNOWN_OHM
            ohms.append((pins["1"], pins["2"], other if stated is None else stated))
    return Truth(tuple(ohms), tuple(diodes))


def resistances(loom: Loom, truth: Truth, diode_ohm: float = DIODE_OHM) -> np.ndarray:
    """Return what is read from each cavity to each, Ω: rows are sources; over range is 1e11."""
    nodes = {end: k for k, end in enumerate(end for c in loom.connectors for end in c.ends)}
    plain = np.zeros((len(nodes), len(nodes)))
    for a, b, ohm in truth.ohms:
        _join(plain, nodes[a], nodes[b], 1 / ohm)
    count = len(loom.cavities)
    cavities = [nodes[end] for end in loom.cavities]
    turns = [(nodes[a], nodes[k]) for a, k in truth.diodes if a != k]
    found = np.zeros((count, count))
    inverses: dict[frozenset[int], np.ndarray] = {}

    def inverse(on: frozenset[int]) -> np.ndarray:
        if on not in inverses:
            matrix = plain.copy()
            for k in on:
                _join(matrix, *turns[k], 1 / diode_ohm)
            matrix += OPEN_S * (np.eye(len(nodes)) - 1.0 / len(nodes))
            inverses[on] = np.linalg.pinv(matrix, hermitian=True, rcond=1e-17)
        return inverses[on]

    for i, source in enumerate(cavities):
        for j, sink in enumerate(cavities):
            if i == j:
                continue
            on = frozenset(range(len(turns)))
            for _ in range(20):
                g = inverse(on)
                volts = g[:, source] - g[:, sink]
                now = frozenset(k for k, (a, c) in enumerate(turns) if volts[a] - volts[c] > 1e-9)
                if now == on:
                    break
                on = now
            found[i, j] = volts[source] - volts[sink]
    return np.minimum(found, 1e8)


def _join(matrix: np.ndarray, a: int, b: int, siemens: float) -> None:
    if a != b:
        matrix[[a, b], [a, b]] += siemens
        matrix[[a, b], [b, a]] -= siemens


def shows(case: Case, top_ohm: float = 1e6) -> bool:
    """Whether any pair of cavities reads clearly otherwise than it should, one way round or the other."""
    sound = truth_of(case.loom)
    most, least = (
        np.minimum(resistances(case.loom, sound, ohm), top_ohm) for ohm in (DIODE_OHM, DIODE_LEAST_OHM)
    )
    real = np.minimum(resistances(case.loom, truth_of(case.loom, case.faults)), top_ohm)
    high = (real - most > SHOWS_OHM) & (real > SHOWS_RATIO * most + SHOWS_OHM)
    low = (least - real > SHOWS_OHM) & (least > SHOWS_RATIO * real + SHOWS_OHM)
    return bool((high | low).any())


def nets_of(loom: Loom) -> dict[End, int]:
    """Return the conductor of each end: what wires, closed contacts and parts of an ohm at most join."""
    net = {end: k for k, end in enumerate(end for plug in loom.connectors for end in plug.ends)}
    joins = [wire.ends for wire in loom.wires]
    for part in loom.components:
        ends = dict(part.terminals)
        if part.kind is ComponentKind.RELAY:
            joins.append((ends["30"], ends["87a"]))
        elif part.resistance_ohm is not None and part.resistance_ohm <= 1.0:
            joins.append((part.ends[0], part.ends[1]))
    for a, b in joins:
        kept, gone = net[a], net[b]
        net = {end: kept if k == gone else k for end, k in net.items()}
    return net


def told_by_name(case: Case, names: Sequence[str]) -> bool:
    """Whether parts named as untold couple the nets of each fault, are at fault or lie beside it."""
    net = nets_of(case.loom)
    ends = {str(end): end for end in case.loom.cavities}
    parts = {part.name: part for part in case.loom.components}
    wires = {wire.name: wire for wire in case.loom.wires}

    def coupled(name: str) -> set[int]:
        terminals = dict(parts[name].terminals)
        coil = [terminals[t] for t in ("85", "86") if t in terminals]
        return {net[end] for end in coil or parts[name].ends}

    for fault in case.faults:
        words = fault.split()
        at: set[int] = set()
        for word in words[1:]:
            if word in ends:
                at.add(net[ends[word]])
            elif word in parts:
                at |= coupled(word)
            elif word in wires:
                at |= {net[end] for end in wires[word].ends}
        if not any(coupled(name) <= at or (len(at) == 1 and at <= coupled(name)) for name in names):
            return False
    return True
