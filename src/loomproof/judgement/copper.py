"""What sound copper, joints and contacts of nets have, and how far they may be off it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from loomproof.electrics.expectation import Expectation
from loomproof.electrics.joints import contact_ohm, usual_ohm, wire_joint_ohm
from loomproof.electrics.nets import Net
from loomproof.locating.shorts import Copper
from loomproof.loom.model import End

LAY_RATIO = 0.008
TEMPERATURE_RATIO = 0.006
"""Standard uncertainties of copper per metre: of each wire its lay, anything from 1.05 to 1.08 (common
practice; 0.03 / 1.065 / √12 is 0.8 %); of all alike 1.5 K between loom and thermometer (0.393 % a kelvin, IEC
publication 28: 0.6 %). What the meter's gain leaves open comes on top, by its own limits of error."""


def copper_of(
    expectation: Expectation, nets: Sequence[Net], lead_u_ohm: Mapping[End, float], gain_ratio: float
) -> Copper:
    """Return what copper, joints and contacts of these nets have; a joint anything within `USUAL_SHARES`.

    ``gain_ratio`` is the standard uncertainty of the meter's gain. A joint's is the width of its shares over
    √12 (JCGM 100:2008, 4.3.7).
    """
    loom = expectation.loom
    runs: dict[str, float] = {}
    joints: dict[tuple[str, End], tuple[float, float]] = {}
    contacts: dict[End, tuple[float, float]] = {}
    for net in nets:
        for a, b, conductor in expectation.conductors.get(net.index, ()):
            runs[conductor.name] = conductor.nominal_ohm - conductor.joints_ohm
            wire = loom.wire_by_name.get(conductor.name)
            for end in (a, b):
                greatest = wire_joint_ohm(loom, wire, end) if wire and conductor.kind == "wire" else 0.0
                joints[conductor.name, end] = usual_ohm(greatest)
        for end in net.cavities:
            contacts[end] = usual_ohm(contact_ohm(loom, end))
    shared_ratio = math.hypot(TEMPERATURE_RATIO, gain_ratio)
    return Copper(runs, joints, contacts, lead_u_ohm, shared_ratio, LAY_RATIO)
