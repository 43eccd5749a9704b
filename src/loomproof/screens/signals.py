"""Orders to stop: one interruption while something is measured, held back once it is sealed.

Until all is measured an order raises `KeyboardInterrupt`, once, so that every way out releases the bench, and
nothing is claimed. From then on the run is sealed and its verdict is shown, so that what the words say of it
is true whenever the order came.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from loomproof.jobs.keep import Orders

_NAMES = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")

_Handler = Callable[[int, FrameType | None], object]


@contextmanager
def _answered(answer: Callable[[list[int]], _Handler], *, until_the_end: bool = False) -> Iterator[None]:
    """While this block runs, have orders to stop answered so; one that is ignored already stays ignored."""
    numbers = [getattr(signal, name) for name in _NAMES if hasattr(signal, name)]
    before = {number: signal.getsignal(number) for number in numbers}
    heeded = [number for number, handler in before.items() if handler is not signal.SIG_IGN]
    try:
        for number in heeded:
            signal.signal(number, answer(heeded))
        yield
    finally:
        for number in heeded:
            signal.signal(number, signal.SIG_IGN if until_the_end else before[number])


@contextmanager
def stopping(*, until_the_end: bool = False) -> Iterator[None]:
    """While this block runs, Ctrl-C, SIGTERM, SIGHUP or Ctrl-Break raises `KeyboardInterrupt` in it, once.

    Once the way out has begun, more of them are ignored: releasing the bench is not broken off by an
    impatient second and third Ctrl-C. They count again when the block is left, or, ``until_the_end``, never:
    for a process that leaves the block only to end, with the code that it has. A signal that is ignored
    already, as under ``nohup``, stays ignored. To be used in the main thread.
    """

    def stop(heeded: list[int]) -> _Handler:
        def stopped(number: int, _frame: FrameType | None) -> None:
            for each in heeded:
                signal.signal(each, signal.SIG_IGN)
            raise KeyboardInterrupt(signal.Signals(number).name)

        return stopped

    with _answered(stop, until_the_end=until_the_end):
        yield


@contextmanager
def held() -> Iterator[Orders]:
    """While this block runs, note an order to stop instead of obeying it; in a thread nothing changes.

    An order that is ignored already, as under ``nohup`` or after a first one, stays ignored.
    """
    from loomproof.jobs.keep import Orders

    orders = Orders()
    if threading.current_thread() is not threading.main_thread():
        yield orders
        return

    def note(_number: int, _frame: FrameType | None) -> None:
        orders.stop = True

    with _answered(lambda _: note):
        yield orders
