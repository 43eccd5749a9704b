"""The bench of a job: at an address, opened for the job and closed after it, or open already and left so."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeAlias

from loomproof.bench import opening
from loomproof.bench.address import SimAddress, parse_address, starts_simulator
from loomproof.bench.interface import Bench
from loomproof.bench.journal import JournaledBench
from loomproof.jobs.gate import Assured
from loomproof.jobs.keep import Keeping
from loomproof.jobs.operator import Operator

BenchAt: TypeAlias = Bench | str
"""A bench that is open, or the address of one."""


def starts_its_own(at: BenchAt) -> bool:
    """Whether the bench is a simulator that this process starts, on which a person can plug nothing."""
    return starts_simulator(at) if isinstance(at, str) else isinstance(at, opening.SimulatedBench)


@contextmanager
def reached(at: BenchAt, loom_path: Path | None = None, plugged: Path | None = None) -> Iterator[Bench]:
    """Yield the bench, opened where an address was given; a simulator of our own is plugged by a table.

    ``loom_path`` is the loom that such a simulator carries, ``plugged`` the file of the adapter table. Raises
    as `loomproof.bench.opening.open_bench` does.
    """
    if isinstance(at, str):
        with opening.open_bench(_replugged(at, plugged), loom_path=loom_path) as bench:
            yield bench
        return
    if plugged is not None and isinstance(at, opening.SimulatedBench):
        at.simulation.tell(f"adapter {plugged}")
    yield at


@contextmanager
def journaled(
    bench: Bench,
    path: Path,
    header: Mapping[str, object],
    touch: Callable[[str | None], bool] = lambda _: False,
    clock: Callable[[], float] = time.monotonic,
) -> Iterator[JournaledBench]:
    """Yield the bench with a journal of what it answers; the bench stays open. Raises `JournalError`."""
    written = JournaledBench(bench, path, header, touch=touch, clock=clock)
    try:
        yield written
    finally:
        written.detach()


@dataclass(frozen=True)
class Setup:
    """What a job is done with: the bench, who is asked, where what it leaves goes, what was said beforehand.

    ``loom_path`` is the loom that a simulator of our own carries.
    """

    at: BenchAt
    operator: Operator
    where: Keeping
    loom_path: Path | None = None
    assured: Assured = field(default_factory=Assured)

    @property
    def by_person(self) -> bool:
        """Whether a person plugs, and not a simulator that this process starts."""
        return not starts_its_own(self.at)

    def reached(self, plugged: Path | None = None) -> AbstractContextManager[Bench]:
        """Return the bench, as `reached` does."""
        return reached(self.at, self.loom_path, plugged)


def _replugged(address: str, plugged: Path | None) -> str:
    """Return the address; that of a simulator of our own with this adapter table, which plugs its loom so."""
    where = parse_address(address)
    if plugged is None or not isinstance(where, SimAddress):
        return address
    others = [option for option in where.options if option[0] != "adapter"]
    return str(SimAddress(where.faults, (*others, ("adapter", str(plugged)))))
