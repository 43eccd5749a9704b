"""The demo loom proved on the emulated board, and on a simulated scanner that is able to what the board is.

    python -m tests.firmware.demo [--alone | --ohms] [--seed N]

127 cavities: on eight expanders they have a point each; with ``--alone`` on the board's own 64 points, with
``--ohms`` on the 56 that read resistance as well, hook-up by hook-up, and a stand-in for the person puts the
plugs on. The compiled firmware runs in a process of its own, with the ordinary serial driver and the ordinary
job; with ``--ohms`` in this one, on a clock of its own, since its readings take it a minute. The exit code
says whether verdict and findings are the same on both.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from unittest import mock

from loomproof.bench import opening
from loomproof.bench.adapter import Adapter, Lead, in_order, write_adapter
from loomproof.bench.scanner import ScannerBench
from loomproof.bench.simulation import Simulation
from loomproof.jobs.demo import FAULTS, demo_loom
from loomproof.jobs.events import Unattended
from loomproof.jobs.gate import Assured
from loomproof.jobs.job import Job
from loomproof.jobs.keep import Keeping, Kept
from loomproof.loom.reading import load
from loomproof.planning.hookup_plan import HookUp
from tests.bench.device import Clock
from tests.firmware.building import missing
from tests.firmware.in_memory import board_bench
from tests.firmware.ohming import OhmBoard, usual
from tests.firmware.processes import Emulation
from tests.firmware.tapped import LoomOnTaps

LIKE_THE_BOARD = "sim:?points=64&line=352&no-ohms&no-diode&no-volts&driver=1042.857&pulls=4"
LIKE_EXPANDERS = "sim:?points=128&line=1024&no-ohms&no-diode&no-volts&driver=550"
LIKE_OHMS = "sim:?points=56&line=352&acc=0.002:0.005&driver=1042.857&pulls=4"
LIKE = {"pins": LIKE_THE_BOARD, "expanders": LIKE_EXPANDERS, "ohms": LIKE_OHMS}
SERVED = {"pins": (), "expanders": ("--expanders", "8")}
CANNOT = """It senses: opens, shorts and miswires. It reads no ohms, so that a bad joint under some kilohms
and a part's value do not show; no volts (a meter showed 0 V on the loom); no diode's drop."""


@dataclass(frozen=True)
class Plugging(Unattended):
    """Says yes to the cautions, reads 0 V, and puts the plugs of an emulated board on."""

    emulation: Simulation | None = None
    folder: Path = Path()

    def read_meter(self) -> float | None:
        return 0.0

    def plug(self, hook_up: HookUp, number: int) -> bool:
        assert self.emulation is not None
        table = self.folder / f"plugged-{number}.csv"
        table.unlink(missing_ok=True)
        write_adapter(Adapter("plugged", tuple(Lead(p, e) for e, p in hook_up.point_of.items())), table)
        return self.emulation.tell(f"plug {table}").startswith("ok")


def tell(kept: Kept, seconds: float, where: str) -> tuple[str, list[str]]:
    """Print what a proof came to, and return what must be the same on both."""
    document = kept.document
    print(f"{where}: {document.verdict}, {seconds:.0f} s")
    for finding in document.findings:
        print(f"  {finding.title}")
    return document.verdict, sorted(finding.key for finding in document.findings)


def _in_its_own(
    loom_path: Path, faults: Sequence[str], where: Keeping, served: Sequence[str], seed: int
) -> Kept:
    """Prove on a board in a process of its own, its port a pseudo-terminal, its time the wall's."""
    loom = load(loom_path).loom
    hooked_up = "--expanders" not in served
    emulation = Emulation(loom_path, [*served, "--seed", str(seed)])
    try:
        for fault in faults:
            assert emulation.tell(f"fault {fault}").startswith("ok")
        operator = Plugging(True, emulation, where.out)
        where.out.mkdir(parents=True, exist_ok=True)
        leads = None if hooked_up else in_order(loom.cavities)
        job = Job(loom, str(emulation.address), leads, operator=operator, where=where)
        return (job.hook_ups() if hooked_up else job.prove_and_keep()).run()
    finally:
        emulation.end()


@dataclass(frozen=True)
class PluggingHere(Unattended):
    """As `Plugging`, on a board in this process."""

    plugged: Callable[[HookUp], None] = lambda hook_up: None

    def read_meter(self) -> float | None:
        return 0.0

    def plug(self, hook_up: HookUp, number: int) -> bool:
        self.plugged(hook_up)
        return True


def _in_this_process(loom_path: Path, faults: Sequence[str], where: Keeping, seed: int) -> Kept:
    """Prove on a board with converter and taps, its time its own: what is waited for has happened."""
    circuit = LoomOnTaps(seed, loom_path, tuple(faults))
    board = OhmBoard(circuit, seed, eeprom=usual(seed))
    clock = Clock()

    @contextmanager
    def opened(address: str, **_: object) -> Iterator[ScannerBench]:
        with board_bench(board, clock=clock) as bench:
            yield bench

    def plug(hook_up: HookUp) -> None:
        circuit.hook_up({point: end for end, point in hook_up.point_of.items()})
        board.touch()

    with mock.patch.object(opening, "open_bench", opened):
        operator = PluggingHere(True, plug)
        return Job(load(loom_path).loom, "serial:emulated", operator=operator, where=where).hook_ups().run()


def both(loom_path: Path, faults: Sequence[str], *, kind: str, seed: int) -> list[tuple[str, list[str]]]:
    """Prove a loom with these faults on the emulated board and on a simulated scanner like it."""
    loom = load(loom_path).loom
    hooked_up = kind != "expanders"
    told = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        where = Keeping(folder / "board", str(folder / "board.db"))
        began = time.monotonic()
        if kind == "ohms":
            kept = _in_this_process(loom_path, faults, where, seed)
        else:
            kept = _in_its_own(loom_path, faults, where, SERVED[kind], seed)
        told.append(tell(kept, time.monotonic() - began, "the emulated board"))
        began = time.monotonic()
        like = LIKE[kind] + "".join(f"&fault={fault.replace(' ', '%20')}" for fault in faults)
        where = Keeping(folder / "sim", str(folder / "sim.db"))
        assured = Assured(meter_v=0.0)
        job = Job(loom, like, loom_path=loom_path, operator=Plugging(True), where=where, assured=assured)
        kept = (job.hook_ups() if hooked_up else job.prove_and_keep()).run()
        told.append(tell(kept, time.monotonic() - began, "a simulated scanner like it"))
    return told


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    which = parser.add_mutually_exclusive_group()
    which.add_argument("--alone", action="store_true", help="no expanders: 64 points, in hook-ups")
    which.add_argument("--ohms", action="store_true", help="converter and taps: 56 points, in hook-ups")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    if missing():
        print(missing())
        return 1
    kind = "pins" if asked.alone else "ohms" if asked.ohms else "expanders"
    told = both(demo_loom(), FAULTS, kind=kind, seed=asked.seed)
    if kind != "ohms":
        print(CANNOT)
    print("the same" if told[0] == told[1] else "NOT the same")
    return 0 if told[0] == told[1] else 1


if __name__ == "__main__":
    sys.exit(main())
