"""A terminal as one whole screen: drawn anew when something changes or its size does, keys as they come.

Letters and keys are read without waiting for Enter. Whatever ends the use of it, the terminal is left as it
was: echo, cursor, and what stood there before.
"""

from __future__ import annotations

import codecs
import contextlib
import os
import re
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import TracebackType
from typing import Any, Self

from loomproof.errors import BrokenOffError, UsageError
from loomproof.jobs.naming import Key, Letters

_SEQUENCE = re.compile(rb"\x1b(?:\[[0-9;?]*[ -/]*[@-~]|O[@-~]|[ -NP-Z\\-~])")
_ENDS_EARLY = re.compile(rb"\x1b(?:\[[0-9;?]*[ -/]*|O)?")

KEYS: Mapping[bytes, Key] = {
    b"\r": Key.ENTER,
    b"\n": Key.ENTER,
    b"\t": Key.COMPLETE,
    b"\x7f": Key.ERASE,
    b"\x08": Key.ERASE,
    b"\x17": Key.ERASE_WORD,
    b"\x15": Key.CLEAR,
    b"\x1b": Key.CLEAR,
    b"\x01": Key.FIRST,
    b"\x05": Key.LAST,
    b"\x0e": Key.NEXT,
    b"\x10": Key.PREVIOUS,
    b"\x1a": Key.UNDO,
    b"\x04": Key.STOP,
    b"\x1b[A": Key.OTHER_END_BACK,
    b"\x1b[B": Key.OTHER_END,
    b"\x1b[C": Key.RIGHT,
    b"\x1b[D": Key.LEFT,
    b"\x1bOA": Key.OTHER_END_BACK,
    b"\x1bOB": Key.OTHER_END,
    b"\x1bOC": Key.RIGHT,
    b"\x1bOD": Key.LEFT,
    b"\x1b[H": Key.FIRST,
    b"\x1b[F": Key.LAST,
    b"\x1bOH": Key.FIRST,
    b"\x1bOF": Key.LAST,
    b"\x1b[1~": Key.FIRST,
    b"\x1b[4~": Key.LAST,
    b"\x1b[5~": Key.PREVIOUS,
    b"\x1b[6~": Key.NEXT,
}
"""What a terminal sends, by ECMA-48 and as xterm has it (its control sequences), and what it means here."""

ESCAPE_S = 0.05
"""Nothing behind an Esc for so long: it is the key and no sequence. Common practice."""


@dataclass(frozen=True, slots=True)
class Frame:
    """What stands on a screen: its lines, and where the cursor is (line and column from 0)."""

    lines: tuple[str, ...]
    line: int
    column: int


def keys_of(data: bytes, *, more: bool) -> tuple[list[Key | bytes], bytes]:
    """Return keys and runs of letters in what a terminal sent, and what is left of a sequence cut short.

    ``more``: the rest of a sequence may still come; else an Esc is the key. Ctrl-L means nothing: the whole
    is drawn anew all the same.
    """
    found: list[Key | bytes] = []
    while data:
        if data[0] == 0x1B:
            whole = _SEQUENCE.match(data)
            if whole is None:
                early = _ENDS_EARLY.match(data)
                if early is not None and early.end() == len(data) and more:
                    return found, data
                found.append(Key.CLEAR)
                data = data[1:]
                continue
            found.append(KEYS.get(whole[0], Key.UNKNOWN))
            data = data[whole.end() :]
        elif data[:1] in KEYS:
            found.append(KEYS[data[:1]])
            data = data[1:]
        elif data[0] < 0x20:
            if data[0] != 0x0C:
                found.append(Key.UNKNOWN)
            data = data[1:]
        else:
            run = re.match(rb"[^\x00-\x1f\x7f]+", data)
            assert run is not None
            found.append(run[0])
            data = data[run.end() :]
    return found, b""


class FullScreen:
    """The terminal of standard input and error; a context manager. ``draw`` makes lines for any size.

    Raises `UsageError` where either is no terminal.
    """

    def __init__(self) -> None:
        if not (sys.stdin.isatty() and sys.stderr.isatty()):
            raise UsageError(
                "this is done at a terminal, key by key, and here is none",
                cure="Run it in a terminal window, with nothing piped in or out.",
            )
        self._in, self._out = sys.stdin.fileno(), sys.stderr.fileno()
        self._decoder = codecs.getincrementaldecoder("utf-8")("replace")
        self._left = b""
        self._draw: Callable[[int, int], Frame] | None = None
        self._size = (0, 0)
        self._before: Any = None
        self._open = False

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def show(self, draw: Callable[[int, int], Frame], *, bell: bool = False) -> None:
        """Draw this from now on; what stood there before the first time comes back at the end."""
        self._begin()
        self._draw = draw
        self._paint(b"\a" if bell else b"")

    def pressed(self, wait_s: float) -> Sequence[Key | Letters]:
        """Return what was pressed, waiting so long at most, s; draws anew where the size has changed.

        Raises `BrokenOffError` where the terminal is gone.
        """
        self._begin()
        if self._draw is not None and self._measured() != self._size:
            self._paint()
        data = self._read(wait_s)
        if self._left and not data:
            data = self._read(ESCAPE_S)
        found, self._left = keys_of(self._left + data, more=bool(data))
        pressed: list[Key | Letters] = []
        for each in found:
            if isinstance(each, Key):
                pressed.append(each)
            elif text := self._decoder.decode(each):
                pressed.append(Letters(text))
        return pressed

    def close(self) -> None:
        """Give the terminal back as it was. Safe any number of times, and where it is gone."""
        if not self._open:
            return
        self._open = False
        try:
            self._write(b"\x1b[?2004l\x1b[?25h\x1b[?1049l")
        except OSError:
            pass
        finally:
            self._cooked()

    # -- the terminal itself ---------------------------------------------------------------------

    def _begin(self) -> None:
        if self._open:
            return
        self._raw()
        self._open = True
        self._write(b"\x1b[?1049h")

    def _paint(self, head: bytes = b"") -> None:
        assert self._draw is not None
        self._size = width, height = self._measured()
        frame = self._draw(width, height)
        encoding = sys.stderr.encoding or "utf-8"
        lines = [line.encode(encoding, "replace") + b"\x1b[K" for line in frame.lines[:height]]
        cursor = f"\x1b[{frame.line + 1};{frame.column + 1}H".encode()
        whole = b"\x1b[?25l\x1b[H" + b"\r\n".join(lines) + b"\x1b[J" + cursor + b"\x1b[?25h"
        self._write(head + whole)

    def _measured(self) -> tuple[int, int]:
        try:
            size = os.get_terminal_size(self._out)
        except OSError:
            return self._size if self._size[0] else (80, 24)
        # Some lines have no size at all, and say nought.
        return size.columns or 80, size.lines or 24

    def _write(self, data: bytes) -> None:
        while data:
            data = data[os.write(self._out, data) :]

    def _read(self, wait_s: float) -> bytes:
        if sys.platform == "win32":
            import msvcrt
            import time

            until = time.monotonic() + wait_s
            while not msvcrt.kbhit():
                if time.monotonic() >= until:
                    return b""
                time.sleep(0.005)
            return _windows_key(msvcrt.getwch(), msvcrt.getwch)
        import select

        ready, _, _ = select.select([self._in], [], [], wait_s)
        if not ready:
            return b""
        try:
            data = os.read(self._in, 4096)
        except OSError:
            data = b""
        if not data:
            raise BrokenOffError("the terminal is gone", cure="Open another one.")
        return data

    def _raw(self) -> None:
        """Take keys one by one and unseen. Ctrl-C stays the order to stop; Ctrl-Z and Ctrl-S are keys."""
        if sys.platform == "win32":
            os.system("")  # has a console of Windows 10 heed control sequences
            return
        import termios

        self._before = termios.tcgetattr(self._in)
        mode = termios.tcgetattr(self._in)
        mode[0] &= ~(termios.IXON | termios.ICRNL)
        mode[3] &= ~(termios.ECHO | termios.ICANON | termios.IEXTEN)
        controls = mode[6]
        off = os.fpathconf(self._in, "PC_VDISABLE")
        controls[termios.VSUSP] = bytes([off])
        controls[termios.VQUIT] = bytes([off])
        controls[termios.VMIN], controls[termios.VTIME] = 1, 0
        termios.tcsetattr(self._in, termios.TCSAFLUSH, mode)

    def _cooked(self) -> None:
        if sys.platform == "win32" or self._before is None:
            return
        import termios

        with contextlib.suppress(termios.error, OSError):  # it may be gone
            termios.tcsetattr(self._in, termios.TCSADRAIN, self._before)


def _windows_key(mark: str, following: Callable[[], str]) -> bytes:
    """Return what a key of a Windows console is as a terminal would send it."""
    if mark in ("\x00", "\xe0"):
        return {
            "H": b"\x1b[A",
            "P": b"\x1b[B",
            "M": b"\x1b[C",
            "K": b"\x1b[D",
            "G": b"\x1b[H",
            "O": b"\x1b[F",
            "I": b"\x1b[5~",
            "Q": b"\x1b[6~",
        }.get(following(), b"\x1b[99~")
    return mark.encode()
