"""What the load of a conductor allows it: the share of the voltage drop that falls to one conductor, as ohms.

A circuit states its load. One wire of the feed side may lose ``wire_drop_v``, one of the earth side
``earth_drop_v`` (settings of the loom, common practice). The share is that over the current; NOTES.md says
how it enters a limit. Where a sound wire already loses more, the description is too weak for its load, and no
measurement can mend that.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

from loomproof.electrics.conductors import wire_conductor
from loomproof.electrics.joints import contact_ohm
from loomproof.loom.designations import is_earth
from loomproof.loom.model import ConnectorKind, Loom, Wire

POWER_A = 5.0
"""From this load a conductor is a power conductor and its limit follows the load; common practice."""

AGED_OHM = 0.010
"""What sound contacts of a power conductor may have gained with age; common practice, no source."""


def load_of_wires(loom: Loom) -> dict[str, float]:
    """Return the current that each wire carries by its circuit's stated load, A, for those that have one.

    Earth wires of one circuit that end at one ring share its load: they are one conductor in several strands.
    """
    found = {}
    for circuit in loom.circuits:
        if not circuit.load_a:
            continue
        own = loom.wires_of.get(circuit.name, ())
        at_ring = Counter(ring for wire in own if (ring := _ring(loom, wire)))
        for wire in own:
            strands = at_ring.get(_ring(loom, wire), 1) if is_earth(circuit.designation) else 1
            found[wire.name] = circuit.load_a / strands
    return found


def _ring(loom: Loom, wire: Wire) -> str:
    rings = [end for end in wire.ends if loom.by_name[end.connector].kind is ConnectorKind.RING]
    return str(rings[0]) if rings else ""


def share_ohms(loom: Loom) -> dict[str, float]:
    """Return what each power conductor may have so that it loses no more than its share of the drop, Ω."""
    loads = load_of_wires(loom)
    return {name: _drop_v(loom, name) / load_a for name, load_a in loads.items() if load_a >= POWER_A}


def _drop_v(loom: Loom, wire: str) -> float:
    circuit = loom.circuit_by_name[loom.wire_by_name[wire].circuit]
    settings = loom.settings
    return settings.earth_drop_v if is_earth(circuit.designation) else settings.wire_drop_v


def too_weak(loom: Loom, carried_a: Mapping[str, float] | None = None) -> dict[str, str]:
    """Return the wires that lose more than their share at their load while sound, and how much.

    Sound is the greatest that a table gives copper, and half of the most that joints and contacts may have.
    ``carried_a`` says by wire what those of branched circuits carry, A; those that it does not name are left
    out, since the stated load does not say how it divides.
    """
    known = carried_a or {}
    loads: Mapping[str, float] = load_of_wires(loom)
    told = {}
    for name, stated_a in loads.items():
        load_a = stated_a
        wire = loom.wire_by_name[name]
        if _is_branch(loom, wire):
            if name not in known:
                continue
            load_a = known[name]
        made = wire_conductor(wire, loom)
        copper_ohm = made.greatest_ohm - made.joints_ohm
        joined_ohm = (made.joints_ohm + sum(contact_ohm(loom, end) for end in wire.ends)) / 2.0
        allowed_v = _drop_v(loom, name)
        if made.defaulted or (copper_ohm + joined_ohm) * load_a <= allowed_v:
            continue
        lost_v = copper_ohm * load_a
        lost = f"{made.length_m:g} m of {wire.csa_mm2:.3g} mm² lose {lost_v:.2f} V at {load_a:.3g} A"
        where = "in copper alone"
        if lost_v <= allowed_v:
            where = f"in copper and {joined_ohm * load_a:.2f} V in sound joints and contacts"
        told[name] = f"{lost} {where}, and one wire may lose {allowed_v:g} V"
    return told


def _is_branch(loom: Loom, wire: Wire) -> bool:
    """Whether a wire is one of several that its circuit goes on in behind a splice or a shared terminal."""
    if is_earth(loom.circuit_by_name[wire.circuit].designation):
        return False
    beside = [
        [other for other in loom.wires_at.get(end, ()) if other.circuit == wire.circuit] for end in wire.ends
    ]
    # Where a terminal of the loom holds two, the car or a part is the third.
    own = [2 if loom.is_splice(end) else 1 for end in wire.ends]
    return any(len(wires) > most for wires, most in zip(beside, own, strict=True))
