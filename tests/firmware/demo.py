"""The demo loom proved on the emulated board: 127 cavities on 64 points, hook-up by hook-up.

    python -m tests.firmware.demo [--seed N]

The compiled firmware in a process of its own, the ordinary serial driver, the ordinary job; a stand-in for
the person puts the plugs on. The same run then goes over a simulated scanner that is able to what the board
is; the exit code says whether verdict and findings are the same.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from loomproof.bench.adapter import Adapter, Lead, write_adapter
from loomproof.bench.simulation import Simulation
from loomproof.jobs.demo import FAULTS, demo_loom
from loomproof.jobs.events import Unattended
from loomproof.jobs.gate import Assured
from loomproof.jobs.job import Job
from loomproof.jobs.keep import Keeping, Kept
from loomproof.loom.reading import load
from loomproof.planning.hookup_plan import HookUp
from tests.firmware.building import missing
from tests.firmware.processes import Emulation

LIKE_THE_BOARD = "sim:?points=64&line=352&no-ohms&no-diode&no-volts&driver=1042.857&pulls=4"


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


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    if missing():
        print(missing())
        return 1
    path = demo_loom()
    loom = load(path).loom
    told = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        emulation = Emulation(path, ["--seed", str(asked.seed)])
        try:
            for fault in FAULTS:
                assert emulation.tell(f"fault {fault}").startswith("ok")
            began = time.monotonic()
            operator = Plugging(True, emulation, folder)
            where = Keeping(folder / "board", str(folder / "board.db"))
            kept = Job(loom, str(emulation.address), operator=operator, where=where).hook_ups().run()
            told.append(tell(kept, time.monotonic() - began, "the emulated board"))
        finally:
            emulation.end()
        began = time.monotonic()
        faults = "".join(f"&fault={fault.replace(' ', '%20')}" for fault in FAULTS)
        where = Keeping(folder / "sim", str(folder / "sim.db"))
        like = LIKE_THE_BOARD + faults
        assured = Assured(meter_v=0.0)
        job = Job(loom, like, loom_path=path, operator=Plugging(True), where=where, assured=assured)
        told.append(tell(job.hook_ups().run(), time.monotonic() - began, "a simulated scanner like it"))
    print("the same" if told[0] == told[1] else "NOT the same")
    return 0 if told[0] == told[1] else 1


if __name__ == "__main__":
    sys.exit(main())
