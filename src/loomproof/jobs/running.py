"""A job that runs: its events one by one, or to its end."""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator
from typing import Generic, TypeVar

from loomproof.measuring.events import Event, finish

T = TypeVar("T")


class Running(Generic[T]):
    """A job that runs as its events are taken, once; ``result`` is there when they have ended."""

    def __init__(self, job: Generator[Event, None, T]) -> None:
        self._job = job
        self._result: list[T] = []

    def __iter__(self) -> Iterator[Event]:
        self._result.append((yield from self._job))

    def run(self, show: Callable[[Event], None] = lambda _: None) -> T:
        """Run to the end, showing each event, and return the result."""
        self._result.append(finish(self._job, show))
        return self.result

    @property
    def result(self) -> T:
        """What came of it. Raises `LookupError` before its events have ended."""
        if not self._result:
            raise LookupError("the job has not ended: take all of its events, or run it")
        return self._result[0]
