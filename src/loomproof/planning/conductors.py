"""The conductors that a bench has points on, and where on them a source may hang."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import combinations

from loomproof.bench.seam import PointSet, points_of
from loomproof.loom.text import first_of


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

    def pairs(self) -> Iterator[tuple[int, int]]:
        """Yield every pair of conductors with a suspect in it, once: those of feed and earth first."""
        supplied = {
            (min(earth, feed), max(earth, feed)): None
            for earth in self.earths
            for feed in self.feeds
            if earth != feed
        }
        yield from supplied
        suspects = self.suspects
        for a, b in combinations(suspects, 2):
            if (pair := (min(a, b), max(a, b))) not in supplied:
                yield pair
        others = sorted(set(range(len(self.nets))).difference(suspects))
        for suspect in suspects:
            yield from ((min(suspect, other), max(suspect, other)) for other in others)

    @property
    def pair_count(self) -> int:
        """How many pairs `pairs` yields."""
        suspects = len(self.suspects)
        return suspects * (suspects - 1) // 2 + suspects * (len(self.nets) - suspects)

    def name(self, point: int) -> str:
        """Return what people call a point: its cavity, or its number."""
        return self.names.get(point, f"point {point}")

    def spot(self, index: int) -> str:
        """Return where a person holds a meter's lead to a conductor."""
        return self.spots[index] if self.spots else self.name(points_of(self.nets[index])[0])

    def named(self, points: PointSet) -> str:
        """Return the names of a set of points; of many, the first."""
        return first_of(self.name(point) for point in points_of(points))
