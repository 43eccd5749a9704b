"""What each kind of component is to direct current and to a meter: the table that the other rooms ask.

A part is one or several paths between its terminals. What a path is, `Path` says, and whoever decides by it
matches all of them; what a kind adds to that stands in `Facts`. What a kind is as a thing (its terminals,
whether it is seated, what it is called) stands below, in `loomproof.loom.component_kinds`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import NamedTuple, assert_never

from loomproof.loom.model import Component, ComponentKind, End

JOINS_OHM = 1.0
"""A resistor or coil stated at no more joins its two nets: behind leads and contacts one reading can't tell
it from a wire. Its own limits are judged all the same. A convention of this project."""


class Path(StrEnum):
    """What lies between two ends of a part, and so what a reading of it is.

    ``resistive``: ohms within its tolerance. ``diode``: a forward voltage one way, nothing the other way.
    ``capacitor``: nothing once it is charged. ``contact``: next to no ohms where it is closed.
    """

    RESISTIVE = "resistive"
    DIODE = "diode"
    CAPACITOR = "capacitor"
    CONTACT = "contact"


class Closed(StrEnum):
    """When a path is there: always, or as a relay's contact only at rest or only while it is pulled in."""

    ALWAYS = "always"
    AT_REST = "at rest"
    PULLED = "pulled in"


class PartPath(NamedTuple):
    """One path of a part; where it conducts one way only, from ``a`` to ``b``."""

    path: Path
    a: End
    b: End
    closed: Closed = Closed.ALWAYS


@dataclass(frozen=True, slots=True)
class Facts:
    """What a kind is to direct current between its two terminals (of a relay: those of its coil).

    ``tolerance_pct`` is its tolerance where the description states none, ``least_ohm`` and ``most_ohm``
    bound a sound part of which no ohms are stated. ``copper``: its ohms grow with temperature as copper's.
    ``shunts``: of no more than `JOINS_OHM` it makes one net of its ends. Of what has no ohms to be within,
    the figures say nothing. All of them are common practice, no source: an ignition coil's primary winding
    reads 0.3 Ω or more, the coil of a plug-in relay some tens of ohms and that of a contactor a few; a
    resistor of less than 0.3 Ω is a shunt, whose ohms must be stated, and it may have any more.
    """

    path: Path
    tolerance_pct: float = 0.0
    least_ohm: float = 0.0
    most_ohm: float = math.inf
    copper: bool = False
    shunts: bool = False


def _facts(kind: ComponentKind) -> Facts:
    match kind:
        case ComponentKind.FUSE | ComponentKind.LINK:
            return Facts(Path.CONTACT)
        case ComponentKind.RELAY:
            return Facts(Path.RESISTIVE, tolerance_pct=15.0, least_ohm=2.0, most_ohm=1e4, copper=True)
        case ComponentKind.DIODE:
            return Facts(Path.DIODE)
        case ComponentKind.RESISTOR:
            return Facts(Path.RESISTIVE, tolerance_pct=5.0, least_ohm=0.3, shunts=True)
        case ComponentKind.CAPACITOR:
            return Facts(Path.CAPACITOR)
        case ComponentKind.COIL:
            return Facts(
                Path.RESISTIVE, tolerance_pct=15.0, least_ohm=0.3, most_ohm=1e4, copper=True, shunts=True
            )
        case _:
            assert_never(kind)


FACTS: Mapping[ComponentKind, Facts] = {kind: _facts(kind) for kind in ComponentKind}
"""The facts of each kind; one without is named by the type checker, and by the import of this module."""

_CONTACTS = (("30", ("87", "87a", "87b")), ("88", ("88a", "88b")))
"""Common terminal and what it meets (DIN 72552): 87a at rest, the others while the relay is pulled in."""


def paths_of(part: Component) -> tuple[PartPath, ...]:
    """Return the paths of a part, in place or not; none where it has fewer than two terminals.

    A relay has its coil from 86 to 85, and its contacts. Where none of its pins is named after DIN 72552,
    its first two are taken for the coil.
    """
    if len(part.ends) < 2:
        return ()
    path = FACTS[part.kind].path
    at = dict(part.terminals)
    one, other = part.form.terminals
    match part.kind:
        case ComponentKind.FUSE | ComponentKind.LINK:
            return tuple(PartPath(path, a, b) for a, b in pairwise(part.ends))
        case ComponentKind.RESISTOR | ComponentKind.COIL | ComponentKind.CAPACITOR | ComponentKind.DIODE:
            a, b = part.ends[:2]
            return (PartPath(path, at.get(one, a), at.get(other, b)),)
        case ComponentKind.RELAY:
            coil = (PartPath(path, at[other], at[one]),) if one in at and other in at else ()
            contacts = tuple(
                PartPath(Path.CONTACT, at[common], at[pin], Closed.AT_REST if pin == "87a" else Closed.PULLED)
                for common, pins in _CONTACTS
                for pin in pins
                if common in at and pin in at
            )
            if not coil and not any(common in at for common, _ in _CONTACTS):
                coil = (PartPath(path, part.ends[0], part.ends[1]),)
            return (*coil, *contacts)
        case _:
            assert_never(part.kind)


def joins(part: Component, path: PartPath) -> bool:
    """Whether a path of a part in place makes one net of its ends: a closed contact, or so few ohms."""
    match path.path:
        case Path.CONTACT:
            return path.closed is not Closed.PULLED
        case Path.RESISTIVE:
            return FACTS[part.kind].shunts and (
                part.resistance_ohm is not None and part.resistance_ohm <= JOINS_OHM
            )
        case Path.DIODE | Path.CAPACITOR:
            return False
        case _:
            assert_never(path.path)


def joined_ends(part: Component) -> tuple[tuple[End, End], ...]:
    """Return the pairs of ends that a part makes one net of; none where it is not fitted."""
    return tuple((path.a, path.b) for path in paths_of(part) if part.fitted and joins(part, path))


def lasting_ends(part: Component) -> tuple[tuple[End, End], ...]:
    """Return the pairs of ends that a part, fitted or not, joins with next to no ohms in any state."""
    paths = paths_of(part)
    return tuple((p.a, p.b) for p in paths if p.path is Path.CONTACT and p.closed is Closed.ALWAYS)


def resting_contacts(part: Component) -> tuple[tuple[End, End], ...]:
    """Return the pairs of ends that a part in place joins with next to no ohms while nothing is driven."""
    paths = paths_of(part) if part.fitted else ()
    return tuple((p.a, p.b) for p in paths if p.path is Path.CONTACT and p.closed is not Closed.PULLED)


def carrying_ends(part: Component) -> tuple[tuple[End, End], ...]:
    """Return the pairs of ends that a part at work joins to carry load current: relays are pulled in."""
    paths = paths_of(part)
    return tuple((p.a, p.b) for p in paths if p.path is Path.CONTACT and p.closed is not Closed.AT_REST)


def conducting_ends(part: Component) -> tuple[tuple[End, End], ...]:
    """Return the pairs of ends between which a part in place passes direct current, a diode from a to b."""
    return tuple(
        (path.a, path.b)
        for path in paths_of(part)
        if part.fitted and path.closed is not Closed.PULLED and path.path is not Path.CAPACITOR
    )
