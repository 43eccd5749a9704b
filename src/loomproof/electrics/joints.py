"""What a sound contact, crimp or splice has at most, by the section that it carries.

A thin wire meets a small signal contact, and the loom's settings say what that has. A thicker one meets a
blade, a ring or a lug, whose figures stand in ``data/joints.csv`` with source and status. What ``loom.toml``
states holds for every section.
"""

from __future__ import annotations

import math

from loomproof.electrics import tables
from loomproof.loom.model import End, Loom, Settings, Wire

SMALL_FUSE_A = 10.0
"""Up to this rating a fuse may have the narrow blades of the small size; with 5 mΩ a seat of a larger one
would lose more than a watt at its rating. Common practice."""


def wire_joint_ohm(loom: Loom, wire: Wire, end: End) -> float:
    """Return the most that a sound crimp or splice joint at one end of a wire has, Ω."""
    settings = loom.settings
    name = "splice_ohm" if loom.is_splice(end) else "crimp_ohm"
    usual = settings.splice_ohm if loom.is_splice(end) else settings.crimp_ohm
    row = None if name in settings.stated else tables.joints_of(_section(wire, settings))
    return usual if row is None else min(usual, row.joint_ohm)


USUAL_SHARES = (0.3, 0.8)
"""A sound contact, crimp or splice has between these shares of the most that it may have (assumption of this
project): one that is worn past it but passes moves the place of a short by its ohms."""


def usual_ohm(greatest_ohm: float) -> tuple[float, float]:
    """Return what a sound joint has that may have so much, Ω, and the standard uncertainty of that.

    Anything within `USUAL_SHARES` is as likely: the width over √12 (JCGM 100:2008, 4.3.7).
    """
    low, high = USUAL_SHARES
    return greatest_ohm * (low + high) / 2, greatest_ohm * (high - low) / math.sqrt(12.0)


def contact_ohm(loom: Loom, end: End) -> float:
    """Return the most that a sound mated contact of a cavity has, Ω; none for a splice.

    The thickest wire in the cavity says what contact sits there.
    """
    if loom.is_splice(end):
        return 0.0
    settings = loom.settings
    thickest = max((_section(wire, settings) for wire in loom.wires_at.get(end, ())), default=0.0)
    row = None if "contact_ohm" in settings.stated else tables.joints_of(thickest)
    return settings.contact_ohm if row is None else min(settings.contact_ohm, row.contact_ohm)


def seat_ohm(settings: Settings, rating_a: float | None) -> float:
    """Return the most that a sound seat of one blade of a fuse has, Ω, by the fuse's size.

    Where no rating is stated the loom's contact counts.
    """
    if rating_a is None or "contact_ohm" in settings.stated:
        return settings.contact_ohm
    like_mm2 = 1.5 if rating_a <= SMALL_FUSE_A else 2.5
    row = tables.joints_of(like_mm2)
    return settings.contact_ohm if row is None else min(settings.contact_ohm, row.contact_ohm)


def _section(wire: Wire, settings: Settings) -> float:
    return settings.wire_csa_mm2 if wire.csa_mm2 is None else wire.csa_mm2
