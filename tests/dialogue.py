"""A command on a pseudo-terminal, as a person has it: what is shown is awaited, answers are typed."""

from __future__ import annotations

import os
import re
import select
import signal
import struct
import subprocess
import sys
import time
from pathlib import Path
from typing import Any, ClassVar

import pytest

_NONE = "this system has no terminals of the kind that these tests drive"
fcntl: Any = pytest.importorskip("fcntl", reason=_NONE)
pty: Any = pytest.importorskip("pty", reason=_NONE, exc_type=ImportError)
termios: Any = pytest.importorskip("termios", reason=_NONE)

MOST_S = float(os.environ.get("LOOMPROOF_WALK_S", "60"))
"""No step of a walk takes so long; one that does hangs, and fails."""

_STEERING = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]|\a")


class Dialogue:
    """One run of ``loomproof`` with a terminal of so many columns; all of it is in ``shown``."""

    running: ClassVar[list[Dialogue]] = []

    def __init__(self, *words: str | Path, cwd: Path, columns: int = 80) -> None:
        self._near, far = pty.openpty()
        fcntl.ioctl(far, termios.TIOCSWINSZ, struct.pack("HHHH", 50, columns, 0, 0))
        environment = {**os.environ, "COLUMNS": str(columns), "TERM": "xterm", "PYTHONUNBUFFERED": "1"}
        self._process = subprocess.Popen(
            [sys.executable, "-m", "loomproof", *map(str, words)],
            stdin=far,
            stdout=far,
            stderr=far,
            cwd=cwd,
            env=environment,
            start_new_session=True,
        )
        os.close(far)
        self.shown = ""
        self._read_to = 0
        Dialogue.running.append(self)

    def sees(self, pattern: str) -> str:
        """Wait until this is shown behind what was seen before; return it."""
        until = time.monotonic() + MOST_S
        while True:
            found = re.compile(pattern).search(self.shown, self._read_to)
            if found:
                self._read_to = found.end()
                return found[0]
            left = until - time.monotonic()
            assert left > 0, f"{pattern!r} never came; shown:\n{self.shown}"
            if not self._more(left):
                assert self._process.poll() is None, f"it ended before {pattern!r}; shown:\n{self.shown}"

    def says(self, text: str = "") -> None:
        """Type a line."""
        os.write(self._near, f"{text}\n".encode())

    def presses(self, keys: str) -> None:
        """Press keys, without Enter."""
        os.write(self._near, keys.encode())

    def hangs_up(self) -> None:
        """Close the terminal's window."""
        os.close(self._near)
        self._near = -1
        self._process.send_signal(signal.SIGHUP)

    def ended(self) -> int:
        """Wait until it has ended whose terminal is gone, and return the exit code."""
        return self._process.wait(MOST_S)

    def resizes(self, columns: int) -> None:
        """Make the window so many columns wide, as a person drags it."""
        fcntl.ioctl(self._near, termios.TIOCSWINSZ, struct.pack("HHHH", 50, columns, 0, 0))
        self._process.send_signal(signal.SIGWINCH)

    def modes(self) -> list[Any]:
        """Return how the terminal is set, as `termios.tcgetattr` does."""
        found: list[Any] = termios.tcgetattr(self._near)
        return found

    def waits(self) -> int:
        """Wait for the end with the window open, and return the exit code."""
        while self._more(0.0):
            pass
        return self._process.wait(MOST_S)

    def lines(self) -> list[str]:
        """Return what was shown, line by line; what was written over counts as a line of its own."""
        return self.shown.split("\n")

    def interrupts(self) -> None:
        """Press Ctrl-C."""
        self._process.send_signal(signal.SIGINT)

    def ends(self) -> int:
        """Read to the end and return the exit code."""
        until = time.monotonic() + MOST_S
        while self._more(until - time.monotonic()):
            assert time.monotonic() < until, self.shown
        code = self._process.wait(MOST_S)
        os.close(self._near)
        assert "Traceback" not in self.shown, self.shown
        return code

    @classmethod
    def stop_all(cls) -> None:
        """End whatever still runs: a walk that failed leaves no process behind."""
        for one in cls.running:
            if one._process.poll() is None:
                one._process.kill()
                one._process.wait(MOST_S)
        cls.running.clear()

    def _more(self, left_s: float) -> bool:
        ready, _, _ = select.select([self._near], [], [], max(left_s, 0.0))
        try:
            data = os.read(self._near, 65536) if ready else b""
        except OSError:  # the other side of a terminal that was closed
            data = b""
        self.shown += (
            _STEERING.sub("", data.decode("utf-8", "replace")).replace("\r\n", "\n").replace("\r", "\n")
        )
        return bool(data)
