"""Sense vectors: what to drive, and what every point must then read.

Groups are point sets that should each be one conductor. ``reach[i]`` names the groups that group i's
points may be pulled low by, through components: both ways for a resistor or coil, from anode to
cathode for a diode. Such readings are left open (neither low nor high is demanded), since a diode
drop has no margin against an input threshold and a resistor shares its pull-ups; the component itself
is measured instead. The proof that a pass excludes every other coupling stands in ``THEORY.md``.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

from loomproof.bench.seam import points_of
from loomproof.planning.drive_codes import antichain_codes
from loomproof.results.codec import Points

if TYPE_CHECKING:
    from pydantic import GetCoreSchemaHandler
    from pydantic_core import CoreSchema


@dataclass(frozen=True, slots=True)
class Vector:
    """Drive ``drive``; then ``must_low`` must read low and ``must_high`` high. The rest is left open."""

    drive: Points
    must_low: Points
    must_high: Points

    def wrong(self, low: int) -> int:
        """Return the points that read other than they must."""
        return (self.must_low & ~low) | (self.must_high & low)


WIDEST_MASK = 8_192
"""Sets of points up to this one are kept as they are; of a loom that no bench holds, as lists of points.

A set that holds point 90 000 takes 11 kB, however few points are in it.
"""


@dataclass(frozen=True, slots=True)
class _Written:
    """How a group stands in a file."""

    points: Points
    head: Points


@dataclass(frozen=True, slots=True, init=False, repr=False)
class Group:
    """Points that should be one conductor; ``head`` (a one-point set) is driven for all of them."""

    _points: int | tuple[int, ...]
    _head: int | tuple[int, ...]

    def __init__(self, points: int, head: int) -> None:
        object.__setattr__(self, "_points", _packed(points))
        object.__setattr__(self, "_head", _packed(head))

    def __repr__(self) -> str:
        return f"Group(points={self.points:#x}, head={self.head:#x})"

    @classmethod
    def __get_pydantic_core_schema__(cls, _: object, handler: GetCoreSchemaHandler) -> CoreSchema:
        from pydantic import AfterValidator, PlainSerializer

        read = AfterValidator(lambda written: cls(written.points, written.head))
        written = PlainSerializer(lambda group: {"points": hex(group.points), "head": hex(group.head)})
        return handler.generate_schema(Annotated[_Written, read, written])

    @property
    def points(self) -> int:
        """The points, as a set."""
        return _unpacked((self._points,))

    @property
    def head(self) -> int:
        """The point that is driven, as a set."""
        return _unpacked((self._head,))

    @classmethod
    def of(cls, points: int) -> Group:
        """Return the group with its lowest point as the head."""
        return cls(points, points & -points)

    @property
    def size(self) -> int:
        """How many points."""
        return self._points.bit_count() if isinstance(self._points, int) else len(self._points)


def _packed(mask: int) -> int | tuple[int, ...]:
    return mask if mask.bit_length() <= WIDEST_MASK else points_of(mask)


def _unpacked(packed: Iterable[int | tuple[int, ...]]) -> int:
    """Return the set of all points of these sets."""
    union = 0
    far: list[int] = []
    for one in packed:
        if isinstance(one, int):
            union |= one
        else:
            far += one
    if far:
        octets = bytearray((max(far) + 7) // 8)
        for point in far:
            octets[(point - 1) >> 3] |= 1 << ((point - 1) & 7)
        union |= int.from_bytes(octets, "little")
    return union


def all_points(groups: Iterable[Group]) -> int:
    """Return the points of all these groups, as a set."""
    return _unpacked(group._points for group in groups)


def sense_vectors(groups: Sequence[Group], reach: Sequence[frozenset[int]] = ()) -> tuple[Vector, ...]:
    """Return the fewest vectors that prove the groups, couplings that conduct one way only excluded as well.

    That takes an antichain of codes. Groups coupled by components take one vector more for each distinct set
    of groups reached, and those of `apart_from_reach`.
    """
    reach = reach or [frozenset()] * len(groups)
    codes = antichain_codes(len(groups))
    length = max((code.bit_length() for code in codes), default=0)
    driven: list[frozenset[int]] = [
        frozenset(i for i, code in enumerate(codes) if code >> bit & 1) for bit in range(length)
    ]
    closures = dict.fromkeys(reach[i] | {i} for i in range(len(groups)) if reach[i])
    driven += [frozenset(range(len(groups))) - closure for closure in closures if len(closure) < len(groups)]
    driven += apart_from_reach(groups, reach, range(len(groups)), driven)
    return tuple(vector(groups, reach, nets) for nets in driven)


def apart_from_reach(
    groups: Sequence[Group],
    reach: Sequence[frozenset[int]],
    wanted: Iterable[int],
    driven: Sequence[frozenset[int]],
) -> list[frozenset[int]]:
    """Return what to drive besides ``driven`` so that components stand in for no wire of a wanted group.

    A point that lost its conductor can still be pulled low through components by another group that is
    driven. So each group of several points is driven once with nothing that reaches it.
    """
    more: list[set[int]] = []
    for i in wanted:
        if groups[i].size < 2 or not reach[i] or any(i in d and d.isdisjoint(reach[i]) for d in driven):
            continue
        for together in more:
            if together.isdisjoint(reach[i]) and all(i not in reach[j] for j in together):
                together.add(i)
                break
        else:
            more.append({i})
    return [frozenset(together) for together in more]


def vector(groups: Sequence[Group], reach: Sequence[frozenset[int]], driven: frozenset[int]) -> Vector:
    """Return the vector that drives the heads of these groups, with what must read low and high."""
    low = all_points(groups[i] for i in driven)
    high = all_points(
        group
        for i, group in enumerate(groups)
        if i not in driven and (not reach or reach[i].isdisjoint(driven))
    )
    return Vector(_unpacked(groups[i]._head for i in driven), low, high)


def empty_vector(groups: Iterable[Group]) -> Vector:
    """Return the vector that drives nothing: all must read high, or an input or the loom is held low."""
    return Vector(0, 0, all_points(groups))
