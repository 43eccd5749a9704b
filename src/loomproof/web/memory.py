"""What a server remembers while it runs: checked seals, what was brought and is not kept yet, retests."""

from __future__ import annotations

import secrets
import threading
from collections import OrderedDict
from typing import Generic, TypeVar

from loomproof.jobs.bringing import Brought
from loomproof.jobs.loom_shelf import LoomShelf
from loomproof.jobs.retest import Retested
from loomproof.results.document import Document

T = TypeVar("T")

MOST_BROUGHT, MOST_RETESTS = 4, 20
"""So many are remembered; the oldest goes first."""


class Few(Generic[T]):
    """The last few of something, by key."""

    def __init__(self, most: int) -> None:
        self._most, self._lock = most, threading.Lock()
        self._held: OrderedDict[str, T] = OrderedDict()

    def put(self, thing: T, key: str = "") -> str:
        """Remember a thing, under a new key that nobody guesses where none is given; return the key."""
        key = key or secrets.token_urlsafe(16)
        with self._lock:
            self._held.pop(key, None)
            self._held[key] = thing
            while len(self._held) > self._most:
                self._held.popitem(last=False)
        return key

    def get(self, key: str) -> T | None:
        """Return what is remembered under a key; ``None`` for nothing."""
        with self._lock:
            return self._held.get(key)

    def drop(self, key: str) -> None:
        """Forget a thing."""
        with self._lock:
            self._held.pop(key, None)


class Memory:
    """What pages keep between requests. ``retests`` are by the hash of the record that was retested."""

    def __init__(self) -> None:
        self.retests: Few[tuple[Document, Retested]] = Few(MOST_RETESTS)
        self.brought: Few[Brought] = Few(MOST_BROUGHT)
        self._shelves: Few[LoomShelf] = Few(1)

    def shelf(self, store: str | None) -> LoomShelf:
        """Return the shelf of a store's looms."""
        found = self._shelves.get(store or "own")
        if found is None:
            found = LoomShelf(store)
            self._shelves.put(found, store or "own")
        return found
