"""What happens while a job runs, one frozen value each, for whoever shows it."""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass
from typing import TypeVar


@dataclass(frozen=True, slots=True)
class Progress:
    """What is about to be done, and how far the run is (``done`` of ``total`` in this stretch)."""

    what: str
    done: int = 0
    total: int = 0


Event = Progress

T = TypeVar("T")


def finish(steps: Generator[Event, None, T], show: Callable[[Event], None] = lambda _: None) -> T:
    """Run to the end, showing each event, and return what comes of it."""
    while True:
        try:
            show(next(steps))
        except StopIteration as stop:
            value: T = stop.value
            return value
