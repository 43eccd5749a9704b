"""Random looms with lengths and bundles, and in each one fault at a place that the drawing knows.

Three plugs meet in one fork, or two plugs lie on one trunk. The place of a touch is drawn along the bundle
that both wires run through, and the tails beyond the bundles' ends are drawn for each wire, so that slack is
honest. Nothing of the rooms that place faults is used here.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace

from loomproof.loom.bundles import Bundle
from loomproof.loom.model import (
    Component,
    ComponentKind,
    Connector,
    ConnectorKind,
    End,
    Hazard,
    Loom,
    Settings,
    Wire,
)

SECTIONS_MM2 = (0.35, 0.5, 0.75, 1.0, 1.5, 2.5)
LEAST_M, MOST_M = 0.3, 6.0
LEGS = {"A": "trunk", "B": "left", "C": "right"}
TOUCH_OHM = (0.02, 2.0)
BESIDE = " + "
"""Stands between the faults of a loom that has several."""


@dataclass(frozen=True)
class Truth:
    """Where the fault is: at ``ends`` (contact, or two cavities of one plug), or ``places_m`` on wires.

    ``places_m`` are metres from each wire's own ``a``.
    """

    kind: str
    ends: tuple[End, ...] = ()
    places_m: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class Case:
    """A loom, the fault as the simulator is told it ("" for none), and where it is."""

    loom: Loom
    fault: str
    truth: Truth


@dataclass
class Drawing:
    """A loom being drawn: its cavities, its wires, and where bundles begin on each, m from its ``a``."""

    rng: random.Random
    section_mm2: float | None = None
    length_m: float | None = None

    def __post_init__(self) -> None:
        rng = self.rng
        self.forked = self.length_m is None and rng.random() < 0.7
        whole_m = self.length_m or LEAST_M * (MOST_M / LEAST_M) ** rng.random()
        share = rng.uniform(0.3, 0.7)
        self.bundle_m = (
            {
                "trunk": whole_m * share,
                "left": whole_m * (1 - share),
                "right": whole_m * rng.uniform(0.1, 0.6),
            }
            if self.forked
            else {"trunk": whole_m}
        )
        self.bundle_m = {name: round(max(length, 0.05), 3) for name, length in self.bundle_m.items()}
        self.tails = 0.0 if self.length_m or rng.random() < 0.5 else rng.uniform(0.0, 0.08)
        self.used: dict[str, int] = {}
        self.wires: list[Wire] = []
        self.starts_m: dict[str, dict[str, tuple[float, bool]]] = {}
        self.splices: list[str] = []

    def end(self, plug: str) -> End:
        self.used[plug] = self.used.get(plug, 0) + 1
        return End(plug, str(self.used[plug]))

    def wire(self, a: End, b: End, way: tuple[tuple[str, bool], ...]) -> str:
        """Run a wire through bundles, each from its own ``a`` (True) or its ``b``."""
        rng, name = self.rng, f"W{len(self.wires) + 1}"
        path_m = sum(self.bundle_m[bundle] for bundle, _ in way)
        tails_m = round(path_m * self.tails * rng.random(), 4)
        at_m = tails_m * rng.random()
        self.starts_m[name] = {}
        for bundle, forward in way:
            self.starts_m[name][bundle] = (at_m, forward)
            at_m += self.bundle_m[bundle]
        section = self.section_mm2 or rng.choice(SECTIONS_MM2)
        self.wires.append(
            Wire(name, a, b, "BU", section, round(path_m + tails_m, 4), bundle=" ".join(n for n, _ in way))
        )
        return name

    def two_ended(self) -> None:
        """Run one wire from plug to plug; in its bundles it goes toward the fork, then from it."""
        if not self.forked:
            self.wire(self.end("A"), self.end("B"), (("trunk", True),))
            return
        one, other = self.rng.sample("ABC", 2)
        self.wire(self.end(one), self.end(other), ((LEGS[one], one == "A"), (LEGS[other], other != "A")))

    def spliced(self) -> None:
        """Three wires from a splice at the fork, one to each plug."""
        self.splices.append(f"S{len(self.splices) + 1}")
        for plug in "ABC":
            self.wire(End(self.splices[-1]), self.end(plug), ((LEGS[plug], plug != "A"),))

    def loom(self, settings: Settings) -> Loom:
        plugs = [
            Connector(plug, ConnectorKind.PLUG, (tuple(map(str, range(1, count + 1))),), hazard=Hazard.NONE)
            for plug, count in sorted(self.used.items())
        ]
        joints = [Connector(name, ConnectorKind.SPLICE) for name in self.splices]
        ends = {"trunk": ("A", "fork"), "left": ("fork", "B"), "right": ("fork", "C")}
        if not self.forked:
            ends = {"trunk": ("A", "B")}
        return Loom(
            "drawn",
            connectors=(*plugs, *joints),
            wires=tuple(self.wires),
            bundles=tuple(Bundle(name, length, *ends[name]) for name, length in self.bundle_m.items()),
            settings=settings,
        )

    def place(self, wire: Wire, place_m: float) -> str:
        """Return a place of a wire as the simulator is told it, from an end that is a cavity or a splice."""
        return f"{wire.name} at {wire.a} {place_m:.5f} m"


def drawing(rng: random.Random, section_mm2: float | None = None, length_m: float | None = None) -> Drawing:
    """Return a drawn loom of 6 to 14 wires; of one section and one length where they are given."""
    made = Drawing(rng, section_mm2, length_m)
    for _ in range(rng.randint(6, 11)):
        made.two_ended()
    if made.forked and rng.random() < 0.6:
        made.spliced()
    return made


def broken(rng: random.Random, length_m: float | None = None, settings: Settings | None = None) -> Case:
    """Return a loom with one break: a contact, or a wire at any place of it, each as likely as the other.

    A contact here, a contact there and the wire are three answers of one likelihood each.
    """
    made = drawing(rng, length_m=length_m)
    loom = made.loom(settings or Settings())
    wire = rng.choice(loom.wires)
    contacts = [end for end in wire.ends if end.cavity]
    if rng.random() < len(contacts) / 3 and length_m is None:
        end = rng.choice(contacts)
        return Case(loom, f"open {end}", Truth("contact", (end,)))
    assert wire.length_m is not None
    place_m = round(rng.uniform(0.0, wire.length_m), 5)
    return Case(loom, f"open {made.place(wire, place_m)}", Truth("wire", (), ((wire.name, place_m),)))


def touching(
    rng: random.Random,
    section_mm2: float | None = None,
    length_m: float | None = None,
    settings: Settings | None = None,
) -> Case:
    """Return a loom in which two conductors touch, in a plug of both or in a bundle that they share."""
    made = drawing(rng, section_mm2, length_m)
    loom = made.loom(settings or Settings())
    touch_ohm = TOUCH_OHM[0] * (TOUCH_OHM[1] / TOUCH_OHM[0]) ** rng.random()
    while True:
        one, other = rng.sample(loom.wires, 2)
        splices = [{end for end in wire.ends if not end.cavity} for wire in (one, other)]
        shared = [name for name in one.bundles if name in other.bundles]
        plugs = [(a, b) for a in one.ends for b in other.ends if a.cavity and a.connector == b.connector]
        if splices[0] & splices[1] or not shared:
            continue
        if length_m is None and plugs and rng.random() < 0.2:
            ends = rng.choice(plugs)
            return Case(loom, f"leak {touch_ohm:.4f} {ends[0]} {ends[1]}", Truth("connector", ends))
        lengths = [made.bundle_m[name] for name in shared]
        bundle = rng.choices(shared, lengths)[0]
        along_m = rng.uniform(0.0, made.bundle_m[bundle])
        places = []
        for wire in (one, other):
            start_m, forward = made.starts_m[wire.name][bundle]
            places.append(
                (wire, round(start_m + (along_m if forward else made.bundle_m[bundle] - along_m), 5))
            )
        told = " ".join(made.place(wire, place_m) for wire, place_m in places)
        truth = Truth("wire", (), tuple((wire.name, place_m) for wire, place_m in places))
        return Case(loom, f"leak {touch_ohm:.4f} {told}", truth)


def unplaceable(rng: random.Random) -> Case:
    """Return a sound loom, or a fault that no place may be told of: why is the truth's kind."""
    made = drawing(rng)
    loom = made.loom(Settings())
    match rng.choice(("sound", "sound", "part", "screen", "leakage", "joint")):
        case "part":
            case = broken(rng)
            loom = case.loom
            wire = _of(loom, case.truth)
            other = next(w for w in loom.wires if not set(w.ends) & set(wire.ends) and w.a.cavity)
            end = next(end for end in wire.ends if end.cavity)
            part = Component("C1", ComponentKind.CAPACITOR, (("1", end), ("2", other.a)), capacitance_f=1e-9)
            return Case(replace(loom, components=(part,)), case.fault, Truth("part"))
        case "screen":
            case = broken(rng)
            wire = _of(case.loom, case.truth)
            by = next(w for w in case.loom.wires if w.name != wire.name and not set(w.ends) & set(wire.ends))
            wires = tuple(replace(w, screened_by=by.name) if w is wire else w for w in case.loom.wires)
            return Case(replace(case.loom, wires=wires), case.fault, Truth("screen"))
        case "leakage":
            one, other = rng.sample(loom.wires, 2)
            ohm = round(10 ** rng.uniform(3.0, 5.0))
            ends = [next(end for end in wire.ends if end.cavity) for wire in (one, other)]
            return Case(loom, f"leak {ohm} {ends[0]} {ends[1]}", Truth("leakage"))
        case "joint":
            return Case(loom, f"high {rng.uniform(3, 40):.2f} {rng.choice(loom.wires).name}", Truth("joint"))
    return Case(loom, "", Truth("sound"))


APART_M = 0.6
"""Faults drawn as not of one place lie at least so far apart in their bundle."""


def together(rng: random.Random) -> tuple[Case, frozenset[str], frozenset[str]]:
    """Return a loom with two to four faults in one bundle, the wires damaged at one place, and those apart.

    One to three faults lie within a centimetre of one place; one more, or none, lies far from it. A fault is
    a cut wire, or in half of the looms once two wires that touch.
    """
    while True:
        made = drawing(rng)
        loom = made.loom(Settings())
        bundle = rng.choice(list(made.bundle_m))
        whole_m = made.bundle_m[bundle]
        wires = [wire for wire in loom.wires if bundle in wire.bundles and wire.a.cavity]
        count = rng.randint(2, 4)
        touching = rng.random() < 0.5
        if whole_m < 2 * APART_M or len(wires) < count + touching:
            continue
        chosen = rng.sample(wires, count + touching)
        faults: list[tuple[Wire, ...]] = [(wire,) for wire in chosen[:count]]
        if touching:  # of equals any may touch: that at the one place, or the lone one
            k = rng.randrange(count)
            faults[k] = (*faults[k], chosen[-1])
        lone = 1 if count == 4 or rng.random() < 0.5 else 0
        places_m = [rng.uniform(0.15, whole_m - 0.15) for _ in range(2)]
        if abs(places_m[0] - places_m[1]) < APART_M:
            continue
        told = []
        for k, fault in enumerate(faults):
            along_m = places_m[1] if k < lone else places_m[0] + rng.uniform(-0.005, 0.005)
            at = []
            for wire in fault:
                start_m, forward = made.starts_m[wire.name][bundle]
                at.append(made.place(wire, start_m + (along_m if forward else whole_m - along_m)))
            ohm = TOUCH_OHM[0] * (TOUCH_OHM[1] / TOUCH_OHM[0]) ** rng.random()
            told.append(f"open {at[0]}" if len(at) == 1 else f"leak {ohm:.4f} {' '.join(at)}")
        case = Case(loom, BESIDE.join(told), Truth("together"))
        damaged = [
            frozenset(wire.name for fault in own for wire in fault) for own in (faults[lone:], faults[:lone])
        ]
        return case, damaged[0], damaged[1]


def joint(rng: random.Random) -> Case:
    """Return a loom with a splice and too many ohms in a contact, a wire or the splice itself."""
    while True:
        made = drawing(rng)
        if not made.splices:
            continue
        loom = made.loom(Settings())
        wire = rng.choice([wire for wire in loom.wires if not wire.a.cavity])
        ohm = 0.3 * (40.0 / 0.3) ** rng.random()
        kind, at = rng.choice((("contact", str(wire.b)), ("wire", wire.name), ("splice", wire.a.connector)))
        ends = (wire.a,) if kind == "splice" else (wire.a, wire.b)
        return Case(loom, f"high {ohm:.3f} {at}", Truth(kind, ends))


def _of(loom: Loom, truth: Truth) -> Wire:
    """Return the wire that a break is on."""
    if truth.places_m:
        return loom.wire_by_name[truth.places_m[0][0]]
    return next(wire for wire in loom.wires if truth.ends[0] in wire.ends)
