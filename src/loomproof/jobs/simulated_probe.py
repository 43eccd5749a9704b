"""A simulated bench with a probe that is held by a call: a process of its own while a job runs on it."""

from __future__ import annotations

import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TypeAlias

from loomproof.bench.address import SimAddress, parse_address
from loomproof.bench.simulation import Simulation
from loomproof.loom.model import End, Loom
from loomproof.loom.writing import write_folder

Probe: TypeAlias = Callable[[End | None], str]
"""Holds the probe on an end, or takes it off; returns what the simulator says to that."""


def probe_of(simulation: Simulation) -> Probe:
    """Return the hand that holds a simulator's probe; from any thread."""
    lock = threading.Lock()

    def hold(end: End | None) -> str:
        with lock:
            return simulation.tell("lift" if end is None else f"touch {end}")

    return hold


@contextmanager
def with_a_probe(
    address: str, loom_path: Path, bare: Loom | None = None
) -> Iterator[tuple[str, Probe | None]]:
    """Yield the address of a bench on which somebody can touch, and what holds its probe, if a call can.

    A ``sim:`` is started as a process of its own, which ends with the block: with the loom at ``loom_path``
    on it, or with the leads of ``bare`` alone, its wires and parts taken off. Any other address stays what
    it is, and a person holds the probe. Raises `UsageError` for an address that can't be meant.
    """
    where = parse_address(address)
    if not isinstance(where, SimAddress):
        yield address, None
        return
    with tempfile.TemporaryDirectory() as folder:
        if bare is not None:
            loom_path = Path(folder) / "leads"
            write_folder(replace(bare, wires=(), components=(), circuits=(), bundles=()), loom_path)
        simulation = Simulation(loom_path, where.arguments)
        try:
            yield str(simulation.address), probe_of(simulation)
        finally:
            simulation.end()
