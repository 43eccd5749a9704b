"""Proofs over a bad line between real ends: a simulator that answers, real sockets, real terminals."""

from __future__ import annotations

import random
import time
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Protocol

from loomproof.bench.opening import open_bench
from loomproof.bench.scanner import ScannerBench
from loomproof.bench.simulation import Simulation
from loomproof.virtual.scanner import Make
from tests.bench.noise import Harm, Noise
from tests.bench.proxy import Kind, Proxy
from tests.bench.torture import FIXTURES, HARMS, LINE_BYTES, Result, loom_of, prove_over, some_faults

KINDS: tuple[Kind, ...] = ("pty", "tcp")
REAL_HARMS: dict[str, Harm] = HARMS | {
    # Here every second that a line waits is one of ours.
    "late lines": replace(HARMS["late lines"], late=0.05),
    "flood": replace(HARMS["flood"], flood=0.2),
    "slow": Harm(slow_s=0.02),
    "too slow": Harm(slow_s=0.6),
    "dead": Harm(dead_after=20),
}


class Start(Protocol):
    """Starts a simulator with a loom on it."""

    def __call__(self, loom_path: Path, arguments: Sequence[str], *, tcp: bool) -> Simulation: ...


class RealLine:
    """One simulator, one proxy before it, and proofs through both, one after the other."""

    def __init__(self, kind: Kind, name: str, simulation: Simulation, proxy: Proxy) -> None:
        self.kind = kind
        self.name = name
        self.simulation = simulation
        self.proxy = proxy

    def prove(
        self,
        harm: Harm,
        seed: int,
        patience_s: float = 10.0,
        make: Make | None = None,
        meter_v: float | None = None,
    ) -> Result:
        """Prove the loom with faults of this seed; harm begins once the link is open."""
        faults = some_faults(self.name, random.Random(f"{seed}/faults"))
        self.simulation.tell("mend")
        for fault in faults:
            assert self.simulation.tell(f"fault {fault}").startswith("ok")
        noise = self.proxy.noise = Noise(Harm(), seed)
        bench = open_bench(self.proxy.address, patience_s=patience_s)
        assert isinstance(bench, ScannerBench)
        with bench:
            if harm.stale:
                # Replies of an earlier connection, to be thrown in later.
                bench.sense([0, 1, 3])
                bench.reconnect()
            noise.batches.clear()
            noise.harm = harm
            try:
                return prove_over(
                    self.name, faults, bench, time.monotonic, noise, patience_s, make=make, meter_v=meter_v
                )
            finally:
                noise.harm = Harm()


@contextmanager
def real_line(kind: Kind, name: str, start: Start = Simulation) -> Iterator[RealLine]:
    """Start a simulator with this loom and a proxy before it, both of this kind."""
    points = len(loom_of(name).cavities)
    simulation = start(
        FIXTURES / name, ["--points", str(points), "--line", str(LINE_BYTES)], tcp=kind == "tcp"
    )
    try:
        with (
            TemporaryDirectory() as folder,
            Proxy(
                kind, simulation.address, Noise(Harm()), Path(folder), lambda: simulation.tell("reset")
            ) as proxy,
        ):
            yield RealLine(kind, name, simulation, proxy)
    finally:
        simulation.end()


def prove_all(
    kind: Kind,
    name: str,
    jobs: Mapping[tuple[str, int], Harm],
    *,
    lines: int,
    patience_s: float,
    start: Start = Simulation,
) -> dict[tuple[str, int], Result]:
    """Prove once for each (label, seed), over so many lines side by side: most of the time is waiting."""

    def work(part: Sequence[tuple[tuple[str, int], Harm]]) -> list[tuple[tuple[str, int], Result]]:
        with real_line(kind, name, start) as line:
            return [(key, line.prove(harm, key[1], patience_s)) for key, harm in part]

    items = list(jobs.items())
    with ThreadPoolExecutor(lines) as pool:
        parts = pool.map(work, [items[i::lines] for i in range(lines)])
        return dict(entry for part in parts for entry in part)
