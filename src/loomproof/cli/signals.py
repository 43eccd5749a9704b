"""Turns orders to stop into one interruption, so that every way out releases the bench."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

_NAMES = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")


@contextmanager
def stopping(*, until_the_end: bool = False) -> Iterator[None]:
    """While this block runs, Ctrl-C, SIGTERM, SIGHUP or Ctrl-Break raises `KeyboardInterrupt` in it, once.

    Once the way out has begun, more of them are ignored: releasing the bench is not broken off by an
    impatient second and third Ctrl-C. They count again when the block is left, or, ``until_the_end``, never:
    for a process that leaves the block only to end, with the code that it has. A signal that is ignored
    already, as under ``nohup``, stays ignored. To be used in the main thread.
    """
    numbers = [getattr(signal, name) for name in _NAMES if hasattr(signal, name)]
    before = {number: signal.getsignal(number) for number in numbers}
    heeded = [number for number, handler in before.items() if handler is not signal.SIG_IGN]

    def stop(number: int, _frame: FrameType | None) -> None:
        for each in heeded:
            signal.signal(each, signal.SIG_IGN)
        raise KeyboardInterrupt(signal.Signals(number).name)

    for number in heeded:
        signal.signal(number, stop)
    try:
        yield
    finally:
        for number in heeded:
            signal.signal(number, signal.SIG_IGN if until_the_end else before[number])
