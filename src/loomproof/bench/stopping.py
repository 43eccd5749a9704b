"""Turns an order to stop into an error, so that every ``with`` block on the way out releases the bench."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

from loomproof.errors import BrokenOffError

_NAMES = ("SIGTERM", "SIGHUP", "SIGBREAK")


@contextmanager
def stopping() -> Iterator[None]:
    """While this block runs, SIGTERM (and SIGHUP, or Ctrl-Break) raises `BrokenOffError` in the main thread.

    Only the first: once the way out has begun, more of them are ignored until the block is left. To be
    used in the main thread, around the block that holds the bench.
    """
    numbers = [getattr(signal, name) for name in _NAMES if hasattr(signal, name)]

    def stop(number: int, _frame: FrameType | None) -> None:
        for each in numbers:
            signal.signal(each, signal.SIG_IGN)
        raise BrokenOffError(
            f"the run was stopped by {signal.Signals(number).name}; nothing is claimed from it",
            cure="Start it again.",
        )

    before = {number: signal.signal(number, stop) for number in numbers}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
