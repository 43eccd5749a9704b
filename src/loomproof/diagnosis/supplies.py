"""Whether a fault joins what the battery feeds with what it must not reach: the cautions that follow."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from enum import StrEnum

from loomproof.loom.designations import TERMINALS, Supply
from loomproof.loom.model import Loom, Wire

FED = frozenset({Supply.PERMANENT, Supply.IGNITION, Supply.START, Supply.SWITCHED, Supply.OUTPUT})
"""What carries battery voltage in use; a circuit with a fuse does as well."""


class Side(StrEnum):
    """What a conductor is, by the circuits of its wires."""

    EARTH = "earth"
    FEED = "feed"
    SIGNAL = "signal"
    UNKNOWN = "unknown"


def side_of(loom: Loom, wires: Iterable[Wire]) -> Side:
    """Return what a conductor of these wires is; unknown where no circuit says anything."""
    known = [loom.circuit_by_name[wire.circuit] for wire in wires if wire.circuit in loom.circuit_by_name]
    supplies = {TERMINALS[c.designation].supply for c in known if c.designation in TERMINALS}
    if Supply.EARTH in supplies:
        return Side.EARTH
    if supplies & FED or any(circuit.fuse for circuit in known):
        return Side.FEED
    return Side.SIGNAL if known else Side.UNKNOWN


def joined_supplies(loom: Loom, conductors: Sequence[Iterable[Wire]]) -> tuple[str, ...]:
    """Return the caution where these conductors are joined and one may be a feed, another earth."""
    sides = {side_of(loom, wires) for wires in conductors}
    if {Side.EARTH, Side.FEED} <= sides:
        return (
            "Do not connect the battery before this is mended: a feed is joined to earth, and the wire "
            "burns where no fuse opens.",
        )
    if Side.UNKNOWN in sides and not sides <= {Side.UNKNOWN, Side.SIGNAL}:
        return (
            "Do not connect the battery before this is mended: a feed may be joined here to what "
            "must not have it.",
        )
    return ()


def swapped_supplies(loom: Loom, conductors: Sequence[Iterable[Wire]]) -> tuple[str, ...]:
    """Return the caution where a feed sits in the place of another conductor, or another in its place."""
    sides = {side_of(loom, wires) for wires in conductors}
    if Side.FEED not in sides or len(sides) < 2:
        return ()
    return (
        "Do not connect the battery or a control unit before this is mended: battery voltage would come "
        "where it does not belong.",
    )
