"""The conductors that a bench has points on, and where on them a source may hang."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import combinations

from loomproof.bench.seam import PointSet, points_of
from loomproof.loom.text import first_of

"""So many are named in one sentence."""


@dataclass(frozen=True)
class Conductors:
    """The points in use as the description has them.

    ``nets``: the points of each conductor. ``earths`` and ``feeds``: which of them are, by index; rings and
    other single eyes count as both. ``reach``: by index, which others may pull a conductor low through parts.
    ``names``: what people call a point. ``spots``: by index, where a person best holds a meter's lead to it.
    """

    nets: tuple[PointSet, ...]
    earths: tuple[int, ...] = ()
    feeds: tuple[int, ...] = ()
    reach: tuple[frozenset[int], ...] = ()
    names: Mapping[int, str] = field(default_factory=dict)
    spots: tuple[str, ...] = ()

    @property
    def suspects(self) -> tuple[int, ...]:
        """The conductors that a source is most likely to hang on; all of them where none is known."""
        return tuple(dict.fromkeys((*self.earths, *self.feeds))) or tuple(range(len(self.nets)))

    def pairs(self) -> list[tuple[int, int]]:
        """Every pair of conductors with a suspect in it, once: those of feed and earth first."""
        found = {tuple(sorted(pair)): None for pair in self._pairs() if pair[0] != pair[1]}
        return [(a, b) for a, b in found]

    def _pairs(self) -> Iterator[tuple[int, int]]:
        for earth in self.earths:
            yield from ((earth, feed) for feed in self.feeds)
        yield from combinations(self.suspects, 2)
        for suspect in self.suspects:
            yield from ((suspect, other) for other in range(len(self.nets)))

    def name(self, point: int) -> str:
        """Return what people call a point: its cavity, or its number."""
        return self.names.get(point, f"point {point}")

    def spot(self, index: int) -> str:
        """Return where a person holds a meter's lead to a conductor."""
        return self.spots[index] if self.spots else self.name(points_of(self.nets[index])[0])

    def named(self, points: PointSet) -> str:
        """Return the names of a set of points; of many, the first."""
        return first_of(self.name(point) for point in points_of(points))
