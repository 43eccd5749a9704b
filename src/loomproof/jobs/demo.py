"""A simulated bench with a loom on it that has faults, to be mended under the bench's hands."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from loomproof.bench.simulation import Simulation


@dataclass(frozen=True)
class FaultyBench:
    """A simulated scanner in a process of its own, at ``address``."""

    address: str
    process_id: int
    simulation: Simulation

    def mend(self) -> str:
        """Mend all faults of the loom on it; return what the simulator says to that."""
        return self.simulation.tell("mend")


@contextmanager
def faulty_bench(loom_path: Path, faults: Sequence[str]) -> Iterator[FaultyBench]:
    """Run a simulated scanner with this loom and these faults until the block is left."""
    simulation = Simulation(loom_path, [word for fault in faults for word in ("--fault", fault)])
    try:
        yield FaultyBench(str(simulation.address), simulation.process_id, simulation)
    finally:
        simulation.end()
