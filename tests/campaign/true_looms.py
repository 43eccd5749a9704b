"""From a description and faults to exact ohms and junctions: the loom that stands on the bench.

The terminals' moves are the injector's (a graph of terminals and places); ohms are drawn from a seed. A sound
wire has copper between solid and a lay factor of 1.065, joints and contacts 30 to 80 % of their allowances,
parts 60 % of their tolerance: a sound loom reads like one.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

from loomproof.loom.model import Component, ComponentKind, Loom, Wire
from tests.campaign.truth import Circuitry, Edge, Junction
from tests.diagnosis.injector import Injected, Node, inside, place
from tests.diagnosis.nodal import COPPER_OHM_MM2_PER_M, sitting
from tests.joints import blade_ohm, joint_ohm, mated_ohm

TEMPERATURE_C = 21.5
COPPER_PER_K = 0.00393
WARM = 1.0 + COPPER_PER_K * (TEMPERATURE_C - 20.0)
"""Copper at the bench's temperature (IEC publication 28)."""

SHORT_OHM = 0.05
REST_OHM = 0.03
"""Strands that touch; a relay contact at rest (assumptions)."""

UNSTATED_OHM = 60.0
"""What a part has of which the description states no ohms (coils of relays: common practice)."""

SILICON_V, LED_V = 0.6, 1.9

HIGH = ("high", "slight")
GONE = ("missing", "fuse")


def circuitry_of(loom: Loom, faults: Sequence[Injected], seed: str) -> Circuitry:
    """Return the exact network of a loom with these faults in it. The same seed draws the same sound loom."""
    return _Making(loom, faults, seed).made()


class _Making:
    def __init__(self, loom: Loom, faults: Sequence[Injected], seed: str) -> None:
        self.loom, self.faults, self.seed = loom, faults, seed
        self.edges: list[Edge] = []
        self.junctions: list[Junction] = []

    def share(self, *what: object) -> float:
        """Return a number from 0 to 1 that belongs to one thing of this loom."""
        text = f"{self.seed}/{'/'.join(map(str, what))}"
        return int.from_bytes(hashlib.blake2b(text.encode(), digest_size=7).digest()) / 2**56

    def joint(self, allowance_ohm: float, *what: object) -> float:
        return allowance_ohm * (0.3 + 0.5 * self.share(*what))

    def ends(self, *kinds: str) -> dict[object, float]:
        return {fault.ends[0]: fault.ohm for fault in self.faults if fault.kind in kinds}

    def named(self, *kinds: str) -> dict[str, float]:
        return {
            name: fault.ohm
            for fault in self.faults
            if fault.kind in kinds
            for name in (*fault.wires, *fault.parts)
        }

    def made(self) -> Circuitry:
        for wire in self.loom.wires:
            self._wire(wire)
        for part in self.loom.components:
            if part.fitted and part.name not in self.named(*GONE):
                self._part(part)
        for fault in self.faults:
            if fault.kind in ("short", "added", "leak", "part"):
                a, b = fault.ends
                self.edges.append((inside(a), inside(b), fault.ohm or SHORT_OHM))
            elif fault.kind in ("diode", "led"):
                a, b = fault.ends
                volts = LED_V if fault.kind == "led" else SILICON_V
                self.junctions.append(Junction(inside(a), inside(b), volts))
        dead, high = self.ends("contact"), self.ends("high contact")
        for end, at in sitting(self.loom, self.faults).items():
            if at is not None and end not in dead:
                ohm = self.joint(mated_ohm(self.loom, end), "contact", end) + high.get(end, 0.0)
                self.edges.append((inside(end), place(at), ohm))
        return Circuitry(tuple(self.edges), tuple(self.junctions), self.loom.cavities)

    def _wire(self, wire: Wire) -> None:
        if wire.name in self.named("open"):
            return
        settings = self.loom.settings
        assert wire.csa_mm2 is not None
        assert wire.length_m is not None
        ohm = COPPER_OHM_MM2_PER_M * WARM * wire.length_m / wire.csa_mm2
        ohm *= 1.01 + 0.05 * self.share("wire", wire.name)
        ohm += self.named(*HIGH).get(wire.name, 0.0)
        nodes: list[Node] = []
        for side, end in enumerate(wire.ends):
            allowance = joint_ohm(settings, wire, end)
            ohm += (
                self.joint(allowance, "joint", wire.name, side) + self.ends("high splice").get(end, 0.0) / 2
            )
            nodes.append(("end", wire.name, "ab"[side]) if end in self.ends("splice") else inside(end))
        self.edges.append((nodes[0], nodes[1], ohm))

    def _part(self, part: Component) -> None:
        at = {name: inside(end) for name, end in part.terminals}
        ohm = part.resistance_ohm if part.resistance_ohm is not None else UNSTATED_OHM
        ohm *= 1.0 + 0.6 * (2 * self.share("part", part.name) - 1) * (part.tolerance_pct or 0.0) / 100
        ohm = self.named("value").get(part.name, ohm)
        shorted = part.name in self.named("shorted")
        match part.kind:
            case ComponentKind.DIODE:
                a, k = at["A"], at["K"]
                if part.name in self.named("reversed"):
                    a, k = k, a
                volts = (part.forward_v or SILICON_V) * (0.95 + 0.1 * self.share("volts", part.name))
                if not shorted:
                    self.junctions.append(Junction(a, k, volts))
                one, two = a, k
            case ComponentKind.RELAY:
                one, two = at["85"], at["86"]
                if not shorted:
                    self.edges.append((one, two, ohm))
                if "87a" in at:
                    rest = self.joint(2 * REST_OHM, "rest", part.name)
                    self.edges.append((at["30"], at["87a"], rest))
            case ComponentKind.FUSE | ComponentKind.LINK:
                one, two = at["1"], at["2"]
                blades = sum(
                    self.joint(blade_ohm(self.loom.settings, part.rating_a), "blade", part.name, n)
                    for n in (1, 2)
                )
                self.edges.append((one, two, (part.resistance_ohm or 0.0) + blades))
            case ComponentKind.CAPACITOR:
                one, two = at["1"], at["2"]
            case _:
                one, two = at["1"], at["2"]
                if not shorted:
                    self.edges.append((one, two, ohm))
        if shorted:
            self.edges.append((one, two, SHORT_OHM))
