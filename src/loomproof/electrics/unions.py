"""Disjoint sets."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator
from typing import Generic, TypeVar

T = TypeVar("T", bound=Hashable)


class Unions(Generic[T]):
    """Disjoint sets of items; joining and finding take nearly constant time (by size, path halving)."""

    def __init__(self, items: Iterable[T]) -> None:
        self._leader = {item: item for item in items}
        self._size = dict.fromkeys(self._leader, 1)

    def __iter__(self) -> Iterator[T]:
        return iter(self._leader)

    def root(self, item: T) -> T:
        """Return the item that stands for this item's set."""
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
