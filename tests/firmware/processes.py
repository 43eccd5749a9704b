"""Starts the emulated board as a process of its own, as `loomproof.bench.simulation` starts the simulator."""

from __future__ import annotations

import queue
import subprocess
import sys
import tempfile
import threading
from collections.abc import Sequence
from pathlib import Path

from loomproof.bench.simulation import START_TIMEOUT_S, Simulation, _read_lines

ROOT = Path(__file__).parents[2]


class Emulation(Simulation):
    """The same to its user; what answers is the compiled firmware."""

    def __init__(self, loom_path: Path, arguments: Sequence[str] = (), *, tcp: bool = False) -> None:
        assert not tcp, "a board has a serial port"
        self._errors = tempfile.TemporaryFile()  # noqa: SIM115 (lives as long as the process)
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.firmware.serve", str(loom_path), *arguments],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._errors,
            start_new_session=True,
            text=True,
            encoding="utf-8",
            cwd=ROOT,
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


def emulated(loom_path: Path, arguments: Sequence[str] = (), *, tcp: bool = False) -> Simulation:
    """Start a board with this loom on it; the simulator's options mean nothing to it."""
    return Emulation(loom_path, ["--any-rate"], tcp=tcp)
