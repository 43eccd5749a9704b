"""A simulated bench with a loom on it that has faults, to be mended under the bench's hands."""

from __future__ import annotations

from collections.abc import Generator, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from loomproof.bench.adapter import Adapter, in_order
from loomproof.bench.simulation import Simulation
from loomproof.jobs.bench_tests import zero
from loomproof.jobs.operator import Unattended
from loomproof.jobs.simulated_probe import Probe, probe_of
from loomproof.loom.model import End
from loomproof.measuring.events import Event
from loomproof.records.data_folder import home

FAULTS = (
    "open W45",
    "short ECU-A:21 ECU-A:22",
    "swap ECU-B:8 ECU-B:9",
    "high 4.7 W27 at BULK:4",
)
"""Hidden in the demo loom: an open, a short of neighbours, two crossed wires, a corroded joint."""


def demo_loom() -> Path:
    """Return the demo loom's folder: beside the package once installed, in the checkout before."""
    packaged = Path(str(resources.files("loomproof"))) / "fixtures" / "hillclimb_engine"
    checkout = Path(__file__).parents[3] / "fixtures" / "hillclimb_engine"
    return packaged if packaged.is_dir() else checkout


CAPACITANCE = "1e-11:0.02"
"""What the demo's bench reads capacitance within, F and as a ratio, so that its open is placed."""


def zeroed_leads(cavities: Sequence[End]) -> Generator[Event, None, Adapter]:
    """Return the demo's adapter with its leads zeroed twice: a plug over all ends, and nothing on them."""
    plugged = yield from zero(in_order(cavities), "sim:", Unattended())
    address = f"sim:?cap={CAPACITANCE}"
    unplugged = yield from zero(plugged.adapter, address, Unattended(), unplugged=True)
    return unplugged.adapter


def demo_store() -> str:
    """Return where the demo's records go: a store of its own in the data folder, apart from all others."""
    return str(home() / "demo.db")


@dataclass(frozen=True)
class FaultyBench:
    """A simulated scanner in a process of its own, at ``address``."""

    address: str
    process_id: int
    simulation: Simulation

    @property
    def probe(self) -> Probe:
        """What holds the probe on an end of the loom, or takes it off."""
        return probe_of(self.simulation)

    def mend(self) -> str:
        """Mend all faults of the loom on it; return what the simulator says to that."""
        return self.simulation.tell("mend")


@contextmanager
def faulty_bench(loom_path: Path, faults: Sequence[str]) -> Iterator[FaultyBench]:
    """Run a simulated scanner with this loom and these faults until the block is left."""
    told = [word for fault in faults for word in ("--fault", fault)]
    simulation = Simulation(loom_path, [*told, "--cap", CAPACITANCE])
    try:
        yield FaultyBench(str(simulation.address), simulation.process_id, simulation)
    finally:
        simulation.end()
