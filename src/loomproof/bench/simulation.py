"""Starts the simulated scanner as a process of its own, and ends it."""

from __future__ import annotations

import contextlib
import queue
import subprocess
import sys
import tempfile
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import IO

from loomproof.bench.address import Address, SerialAddress, TcpAddress, parse_address
from loomproof.errors import NoBenchError, UsageError

START_TIMEOUT_S = 120.0
"""A simulator that ends by itself is noticed at once; this is for one that lives and has not said anything
yet, as on a machine that is busy with much else."""

TELL_TIMEOUT_S = 60.0
END_TIMEOUT_S = 5.0


class Simulation:
    """A running simulator. ``address`` is where it answers; `tell` changes the loom under it."""

    def __init__(self, loom_path: Path, arguments: Sequence[str] = (), *, tcp: bool = False) -> None:
        self._errors = tempfile.TemporaryFile()  # noqa: SIM115 (lives as long as the process)
        link = ["--tcp", "0"] if tcp else []  # else as the system can: a pseudo-terminal or TCP
        self._process = subprocess.Popen(
            # It ends with its standard input: with us, whatever ends us.
            # What is said both ways is UTF-8, whatever the system's own code page.
            [sys.executable, "-X", "utf8", "-m", "loomproof.virtual", str(loom_path), *link, *arguments],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._errors,
            # Ctrl-C at the terminal reaches the host alone, which then releases and ends it in good order.
            start_new_session=True,  # POSIX; Windows knows the next
            creationflags=getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0),
            encoding="utf-8",
        )
        self._lines: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._reader = threading.Thread(
            target=_read_lines, args=(self._process.stdout, self._lines), daemon=True
        )
        self._reader.start()
        try:
            self.address = self._address(self._line(START_TIMEOUT_S))
        except BaseException:
            self.end()
            raise

    def tell(self, line: str, *, timeout_s: float = TELL_TIMEOUT_S) -> str:
        """Send one line to the simulator (``mend``, ``fault open W12``) and return its answer."""
        assert self._process.stdin is not None
        try:
            self._process.stdin.write(line.rstrip("\n") + "\n")
            self._process.stdin.flush()
        except (OSError, ValueError) as error:
            raise NoBenchError(f"the simulator has ended: {self._said()}") from error
        return self._line(timeout_s)

    @property
    def process_id(self) -> int:
        """The simulator's process id."""
        return self._process.pid

    def end(self) -> None:
        """End the process. Safe to call any number of times."""
        if self._process.stdin is not None:
            with contextlib.suppress(OSError):
                self._process.stdin.close()
        if self._process.poll() is None:
            self._process.terminate()
            try:
                self._process.wait(END_TIMEOUT_S)
            except subprocess.TimeoutExpired:
                self._process.kill()
                self._process.wait()
        self._reader.join(END_TIMEOUT_S)
        if self._process.stdout is not None:
            self._process.stdout.close()
        self._errors.close()

    def _line(self, timeout_s: float) -> str:
        try:
            line = self._lines.get(timeout=timeout_s)
        except queue.Empty:
            raise NoBenchError(f"the simulator said nothing for {timeout_s:g} s: {self._said()}") from None
        if not line:
            code = self._process.wait()
            said = self._said()
            if code == 2:
                raise UsageError(f"the simulator refused its orders: {said}")
            raise NoBenchError(f"the simulator ended with code {code}: {said}")
        return line.rstrip("\n")

    def _address(self, line: str) -> Address:
        found = parse_address(line)
        if not isinstance(found, SerialAddress | TcpAddress):
            raise NoBenchError(f"the simulator gave {line!r}; an address was expected")
        return found

    def _said(self) -> str:
        self._errors.seek(0)
        return self._errors.read().decode("utf-8", "replace").strip() or "it gave no reason"


def _read_lines(stream: IO[str] | None, lines: queue.SimpleQueue[str]) -> None:
    assert stream is not None
    with contextlib.suppress(OSError, ValueError):
        for line in stream:
            lines.put(line)
    lines.put("")
