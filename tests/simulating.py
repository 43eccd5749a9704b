"""The simulator that a bench starts, in a thread of this process instead of a process of its own."""

from __future__ import annotations

import os
import queue
import threading
from collections.abc import Sequence
from pathlib import Path

from loomproof.bench.simulation import END_TIMEOUT_S, Simulation
from loomproof.errors import LoomproofError
from loomproof.virtual.__main__ import serving


class ThreadedSimulation(Simulation):
    """The same scanner on the same kind of line, with the same options, answering from a thread."""

    def __init__(self, loom_path: Path, arguments: Sequence[str] = (), *, tcp: bool = False) -> None:
        link = ["--tcp", "0"] if tcp else []
        self._server = serving([str(loom_path), *link, *arguments])
        self.address = self._address(self._server.line.address)
        self._answers: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._server.run, args=(self._answers.put,), daemon=True)
        self._thread.start()

    def tell(self, line: str, *, timeout_s: float = 10.0) -> str:
        self._server.order(line)
        return self._answers.get(timeout=timeout_s)

    @property
    def process_id(self) -> int:
        return os.getpid()

    def end(self) -> None:
        self._server.order(None)
        self._thread.join(END_TIMEOUT_S)
        assert not self._thread.is_alive()


def started(loom_path: Path, arguments: Sequence[str] = (), *, tcp: bool = False) -> Simulation:
    """Start one here; what it refuses, the process refuses in its own words."""
    try:
        return ThreadedSimulation(loom_path, arguments, tcp=tcp)
    except LoomproofError:
        return Simulation(loom_path, arguments, tcp=tcp)
