"""The end of a proof: once all is measured, an order to stop no longer breaks the run off.

Until then one that comes raises `KeyboardInterrupt` (`loomproof.cli.signals`), the bench is released and
nothing is claimed. From then on the run is sealed and its verdict is shown, so that what the words say of it
is true whenever the order came.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

import click

from loomproof.jobs.keep import Orders

_ORDERS = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")


@contextmanager
def held() -> Iterator[Orders]:
    """While this block runs, note an order to stop instead of obeying it; in a thread nothing changes.

    An order that is ignored already, as under ``nohup`` or after a first one, stays ignored.
    """
    orders = Orders()
    if threading.current_thread() is not threading.main_thread():
        yield orders
        return

    def note(_number: int, _frame: FrameType | None) -> None:
        orders.stop = True

    numbers = [getattr(signal, name) for name in _ORDERS if hasattr(signal, name)]
    before = {number: signal.getsignal(number) for number in numbers}
    heeded = [number for number, handler in before.items() if handler is not signal.SIG_IGN]
    try:
        for number in heeded:
            signal.signal(number, note)
        yield orders
    finally:
        for number in heeded:
            signal.signal(number, before[number])


def held_to_the_end() -> Orders:
    """Hold orders to stop until the command that runs has ended, its results shown."""
    context = click.get_current_context(silent=True)
    return Orders() if context is None else context.with_resource(held())
