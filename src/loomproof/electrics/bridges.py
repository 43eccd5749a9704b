"""Which edges of a graph hold it together."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

T = TypeVar("T", bound=Hashable)


@dataclass(frozen=True)
class Partings(Generic[T]):
    """Who is parted from whom when one edge of a graph is taken out. Made by `partings`.

    ``place`` is each item's place in a depth-first walk; ``behind`` gives the first and last place of what
    only that edge leads to, for the edges that part anything at all.
    """

    place: Mapping[T, int]
    behind: Mapping[int, tuple[int, int]]

    def parts(self, edge: int, items: Iterable[T]) -> bool:
        """Whether taking this edge out parts some of the items, which hang together, from the others."""
        if edge not in self.behind:
            return False
        first, last = self.behind[edge]
        return len({first <= self.place[item] <= last for item in items}) == 2


def partings(edges: Sequence[tuple[T, T]]) -> Partings[T]:
    """Find the bridges of a graph, whose edges are named by their index (Tarjan 1974), in linear time."""
    beside: dict[T, list[tuple[T, int]]] = {}
    for k, (a, b) in enumerate(edges):
        beside.setdefault(a, []).append((b, k))
        beside.setdefault(b, []).append((a, k))
    place: dict[T, int] = {}
    low: dict[T, int] = {}
    behind: dict[int, tuple[int, int]] = {}
    for start in beside:
        if start in place:
            continue
        place[start] = low[start] = len(place)
        way = [(start, -1, iter(beside[start]))]
        while way:
            here, came_by, onward = way[-1]
            for there, k in onward:
                if there not in place:
                    place[there] = low[there] = len(place)
                    way.append((there, k, iter(beside[there])))
                    break
                if k != came_by:
                    low[here] = min(low[here], place[there])
            else:
                way.pop()
                if way:
                    before = way[-1][0]
                    low[before] = min(low[before], low[here])
                    if low[here] == place[here]:
                        behind[came_by] = (place[here], len(place) - 1)
    return Partings(place, behind)
