"""Enter, pressed at the terminal of a program that does something else meanwhile."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Iterator


def presses() -> Iterator[None]:
    """Return what yields each time that Enter is pressed, for a thread; nothing where there is no terminal.

    To be called in the main thread: a program that was sent to the background is not halted for reading, as
    it would be (POSIX, SIGTTIN), but goes on unheard.
    """
    if not sys.stdin.isatty():
        return iter(())
    if hasattr(signal, "SIGTTIN"):
        signal.signal(signal.SIGTTIN, signal.SIG_IGN)
    return _read(sys.stdin.fileno())


def _read(terminal: int) -> Iterator[None]:
    """Read without Python's buffer: a thread that waits holding its lock would break the program's end."""
    try:
        while os.read(terminal, 1024):
            yield None
    except OSError:
        return
