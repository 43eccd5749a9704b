"""What the scanner link costs: wall time of a sensing proof against the time its bytes take on the line.

    python -m tests.figures link_efficiency [--short] [--seed N]

512 points on a real pseudo-terminal, the simulator pacing its answers and our commands as 115 200 baud
would (ten bits a byte). Plan given, link open. The line time is that of the shortest encoding: every drive
set and every answer in its fewest hex digits, in as few frames as the scanner's longest line allows. Fails
where the least wall time is over 1/0.85 of it: what a busy machine adds to the others is not the link's.
"""

from __future__ import annotations

import argparse
import random
import statistics
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from loomproof.bench.adapter import in_order
from loomproof.bench.address import SerialAddress
from loomproof.bench.frames import FRAME_BYTES
from loomproof.bench.opening import open_line
from loomproof.bench.questions import Answer, Question, Sense
from loomproof.bench.scanner import ScannerBench
from loomproof.bench.seam import PointSet
from loomproof.bench.simulation import Simulation
from loomproof.electrics.expectation import expect
from loomproof.loom.reading import load
from loomproof.measuring.events import finish
from loomproof.measuring.run import run_plan
from loomproof.planning.plan import plan_proof
from tests.cleared import cleared
from tests.results import table_file

POINTS = 512
BAUD = 115_200
SHARE = 0.85
RUNS = 25
SETTLE_US = 100


class Recorded(ScannerBench):
    """A scanner that remembers what was sensed."""

    sensed: tuple[tuple[PointSet, PointSet], ...] = ()

    def _answer(self, question: Question) -> Answer:
        answer = super()._answer(question)
        if isinstance(question, Sense) and isinstance(answer, list):
            self.sensed += tuple(zip(question.drives, answer, strict=True))
        return answer


def write_loom(folder: Path, seed: int) -> Path:
    """Write a loom of 256 wires between 512 cavities of eight connectors."""
    rng = random.Random(seed)
    cavities = [(f"C{i}", str(j)) for i in range(1, 9) for j in range(1, 65)]
    rng.shuffle(cavities)
    rows = [
        f"W{i},{a[0]},{a[1]},{b[0]},{b[1]},RD,0.5,1.0"
        for i, (a, b) in enumerate(zip(cavities[::2], cavities[1::2], strict=True), start=1)
    ]
    files = {
        "loom.toml": '[loom]\nname = "512 points"\n',
        "connectors.csv": "connector,kind,cavities,housing,hazard\n"
        + "".join(f"C{i},plug,1-64,H,none\n" for i in range(1, 9)),
        "wires.csv": "wire,from_connector,from_cavity,to_connector,to_cavity,colour,csa_mm2,length_m\n"
        + "\n".join(rows)
        + "\n",
        "components.csv": "component,kind,terminals\n",
        "circuits.csv": "circuit,purpose\n",
    }
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def shortest_s(sensed: Sequence[tuple[PointSet, PointSet]], line_bytes: int) -> tuple[float, int]:
    """Return the line time of the shortest encoding, s, and its frames."""
    head = len("SENS:DRIV? ")
    sets = sum(len(f"#H{drive:X}") for drive, _ in sensed), sum(len(f"#H{low:X}") for _, low in sensed)
    most = max(each + len(sensed) for each in sets)
    frames = -(-most // (line_bytes - FRAME_BYTES - head))
    commas = 2 * (len(sensed) - frames)
    return 10 * (sum(sets) + commas + frames * (2 * FRAME_BYTES + head)) / BAUD, frames


def main(argv: Sequence[str] | None = None) -> int:
    """Measure, print the table, and keep it."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args(argv)
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as name:
        folder = write_loom(Path(name), given.seed)
        loom = load(folder).loom
        simulation = Simulation(folder, ("--paced", f"--points={POINTS}"))
        where = simulation.address
        assert isinstance(where, SerialAddress)
        bench = Recorded(lambda: open_line(where), str(where), on_close=simulation.end).connect()
        with bench:
            able = bench.capabilities()
            expectation = expect(loom)
            plan = plan_proof(expectation, in_order(loom.cavities).point_of, able, None)
            bench.set_settle(max(SETTLE_US, able.settle_min_us))
            walls, before = [], bench.statistics()
            runs = 2 if given.short else RUNS
            for _ in range(runs):
                bench.sensed = ()
                start = time.perf_counter()
                measured = finish(run_plan(plan, expectation, bench, cleared(loom, bench)))
                walls.append(time.perf_counter() - start)
            after = bench.statistics()
            assert measured.complete
            line_bytes = bench.line_bytes
    line_s, frames = shortest_s(bench.sensed, line_bytes)
    trips = (after.round_trips - before.round_trips) / runs
    carried = (after.bytes_sent + after.bytes_received - before.bytes_sent - before.bytes_received) / runs
    wall_s = min(walls)
    lines = [
        "| figure | value |",
        "|---|---|",
        f"| points, nets, sense vectors | {POINTS}, {len(expectation.nets)}, {len(bench.sensed)} |",
        f"| longest line of the scanner, bytes | {line_bytes} |",
        f"| bytes carried a proof | {carried:.0f} |",
        f"| round trips a proof (fewest possible) | {trips:g} ({frames}) |",
        f"| line time of the shortest encoding, ms | {1000 * line_s:.1f} |",
        f"| wall time, ms: least of {runs} (median, largest) "
        f"| {1000 * wall_s:.1f} ({1000 * statistics.median(walls):.1f}, {1000 * max(walls):.1f}) |",
        f"| line time over wall time, least (wanted: {SHARE} or more) | {line_s / wall_s:.3f} |",
        f"| the same by the median | {line_s / statistics.median(walls):.3f} |",
    ]
    table_file("figures", "link_efficiency", lines, time.monotonic() - began, short=given.short)
    return 0 if line_s >= SHARE * wall_s else 1


if __name__ == "__main__":
    sys.exit(main())
