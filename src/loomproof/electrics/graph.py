"""What hangs together in a graph, and the shortest way through it."""

from __future__ import annotations

import heapq
from collections.abc import Callable, Collection, Hashable, Iterable, Iterator
from itertools import count, pairwise
from typing import Generic, TypeVar

T = TypeVar("T", bound=Hashable)
S = TypeVar("S")


class DisjointSets(Generic[T]):
    """Disjoint sets of items; joining and finding take nearly constant time (by size, path halving).

    The items of each of ``groups`` are in one set from the start.
    """

    def __init__(self, items: Iterable[T], groups: Iterable[Iterable[T]] = ()) -> None:
        self._leader = {item: item for item in items}
        self._size = dict.fromkeys(self._leader, 1)
        for group in groups:
            for a, b in pairwise(group):
                self.join(a, b)

    def root(self, item: T) -> T:
        """Return the item that stands for this item's set. Raises `KeyError` for one that is in none."""
        leader = self._leader
        while leader[item] != item:
            leader[item] = leader[leader[item]]
            item = leader[item]
        return item

    def join(self, a: T, b: T) -> bool:
        """Make one set of both items' sets; return whether they were two."""
        high, low = self.root(a), self.root(b)
        if high == low:
            return False
        if self._size[high] < self._size[low]:
            high, low = low, high
        self._leader[low] = high
        self._size[high] += self._size[low]
        return True

    def sets(self) -> list[list[T]]:
        """Return the sets in the order of their first items, each in the order in which items were given."""
        found: dict[T, list[T]] = {}
        for item in self._leader:
            found.setdefault(self.root(item), []).append(item)
        return list(found.values())


def united(groups: Iterable[Collection[T]]) -> list[list[T]]:
    """Return the groups with those joined that share an item, in the order of their first ones."""
    groups = list(groups)
    return DisjointSets((item for group in groups for item in group), groups).sets()


def reached(starts: Iterable[T], onward: Callable[[T], Iterable[T]]) -> list[T]:
    """Return the nodes that lead on from any of ``starts``, those included, nearest first."""
    found = dict.fromkeys(starts)
    queue = list(found)
    for here in queue:
        for there in onward(here):
            if there not in found:
                found[there] = None
                queue.append(there)
    return queue


def reachable(starts: Iterable[T], steps: Iterable[tuple[T, T]]) -> set[T]:
    """Return the nodes that directed steps lead to from any of ``starts``, those included."""
    onward: dict[T, list[T]] = {}
    for here, there in steps:
        onward.setdefault(here, []).append(there)
    return set(reached(starts, lambda node: onward.get(node, ())))


def ways(
    starts: Iterable[T], onward: Callable[[T], Iterable[tuple[T, S]]]
) -> Iterator[tuple[T, tuple[S, ...]]]:
    """Yield each node that ``starts`` lead to, nearest first, with the steps of a shortest way to it.

    ``onward`` gives the nodes beside one, each with the step that leads there.
    """
    way: dict[T, tuple[S, ...]] = dict.fromkeys(starts, ())
    queue = list(way)
    for here in queue:
        yield here, way[here]
        for there, step in onward(here):
            if there not in way:
                way[there] = (*way[here], step)
                queue.append(there)


def distances(starts: Iterable[T], onward: Callable[[T], Iterable[tuple[T, float]]]) -> dict[T, float]:
    """Return how far each node is from the nearest of ``starts``, nearest first (Dijkstra 1959).

    ``onward`` gives the nodes beside one, each with its distance from it, 0 or more.
    """
    found: dict[T, float] = {}
    order = count()
    queue = [(0.0, next(order), start) for start in starts]
    while queue:
        far, _, here = heapq.heappop(queue)
        if here in found:
            continue
        found[here] = far
        for there, step in onward(here):
            if there not in found:
                heapq.heappush(queue, (far + step, next(order), there))
    return found
