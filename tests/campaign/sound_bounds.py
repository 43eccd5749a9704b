"""The circuitry of a sound loom at its bounds: what its description allows at least, and at most.

Shares no code with the tool.
"""

from __future__ import annotations

from collections.abc import Sequence

from loomproof.loom.model import Component, ComponentKind, End, Loom
from tests.campaign.true_looms import WARM
from tests.campaign.truth import Circuitry, Edge, Junction
from tests.diagnosis.injector import inside, place
from tests.diagnosis.nodal import CLASS_5_OHM_PER_M
from tests.joints import blade_ohm, joints_ohm, mated_ohm

REST_MOST_OHM = 0.1
"""The most that a relay's resting contact has in place (common practice, no source)."""

UNSTATED_LEAST_OHM = 0.3
"""Below this a part of unstated ohms does not look like one."""


Coupled = tuple[Component, End, End]


def sound_circuitry(
    loom: Loom, couplings: Sequence[Coupled], shunts: Sequence[Component], *, most: bool, diodes: bool = True
) -> Circuitry:
    """Return the loom with everything at its least, or at the most that is sound.

    ``couplings`` are the parts between nets that are in, ``shunts`` those beside copper; without ``diodes``
    none of these is.
    """
    settings = loom.settings
    edges: list[Edge] = []
    junctions: list[Junction] = []
    for wire in loom.wires:
        assert wire.csa_mm2 is not None
        assert wire.length_m is not None
        joints = joints_ohm(settings, wire)
        ohm = CLASS_5_OHM_PER_M[wire.csa_mm2] * WARM * wire.length_m + joints
        edges.append((inside(wire.a), inside(wire.b), ohm if most else ohm / 3))
    for end in loom.cavities:
        edges.append((inside(end), place(end), mated_ohm(loom, end) * (1.0 if most else 0.1)))
    for part in loom.components:
        if part.fitted and part.kind in (ComponentKind.FUSE, ComponentKind.LINK):
            ohm = 2 * (part.resistance_ohm or 0.0) + 2 * blade_ohm(settings, part.rating_a)
            one, two = (inside(end) for end in part.ends)
            edges.append((one, two, ohm if most else ohm / 8))
    beside: list[Coupled] = [(shunt, shunt.ends[0], shunt.ends[1]) for shunt in shunts]
    for part, a, b in (*beside, *couplings):
        one, two = inside(a), inside(b)
        if part.kind is ComponentKind.DIODE:
            at = dict(part.terminals)
            volts, ohm = (part.forward_v or 0.6) * (1.5 if most else 0.5), (30.0 if most else 0.1)
            if diodes:
                junctions.append(Junction(inside(at["A"]), inside(at["K"]), volts, ohm))
        elif part.kind is ComponentKind.RELAY and a == dict(part.terminals)["30"]:
            edges.append((one, two, REST_MOST_OHM if most else 0.001))
        elif part.kind is not ComponentKind.CAPACITOR:
            spread = (part.tolerance_pct or 0.0) / 100 * (1 if most else -1)
            if part.resistance_ohm is not None:
                edges.append((one, two, part.resistance_ohm * (1 + spread)))
            elif not most:
                edges.append((one, two, UNSTATED_LEAST_OHM))
    return Circuitry(tuple(edges), tuple(junctions), loom.cavities)
