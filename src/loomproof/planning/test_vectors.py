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

from loomproof.planning.drive_codes import antichain_codes


@dataclass(frozen=True, slots=True)
class Vector:
    """Drive ``drive``; then ``must_low`` must read low and ``must_high`` high. The rest is left open."""

    drive: int
    must_low: int
    must_high: int

    def wrong(self, low: int) -> int:
        """Return the points that read other than they must."""
        return (self.must_low & ~low) | (self.must_high & low)


@dataclass(frozen=True, slots=True)
class Group:
    """Points that should be one conductor; ``head`` (a one-point set) is driven for all of them."""

    points: int
    head: int

    @classmethod
    def of(cls, points: int) -> Group:
        """Return the group with its lowest point as the head."""
        return cls(points, points & -points)

    @property
    def size(self) -> int:
        """How many points."""
        return self.points.bit_count()


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
    low = _union(groups[i].points for i in driven)
    high = _union(
        group.points
        for i, group in enumerate(groups)
        if i not in driven and (not reach or reach[i].isdisjoint(driven))
    )
    return Vector(_union(groups[i].head for i in driven), low, high)


def empty_vector(groups: Iterable[Group]) -> Vector:
    """Return the vector that drives nothing: all must read high, or an input or the loom is held low."""
    return Vector(0, 0, _union(group.points for group in groups))


def _union(masks: Iterable[int]) -> int:
    union = 0
    for mask in masks:
        union |= mask
    return union
