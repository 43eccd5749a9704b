"""How long the commands take on big looms, and how much memory each holds, every one in a fresh process.

    python -m tests.figures size [--short] [--seed 1]

The peak of a parent survives a fork, so each command is measured as the only child of a process of its own;
processor time counts the processes that it starts (a simulator, and what sets a large page), the peak is
that of the largest of them. The program is compiled first, as an installation leaves it. Looms have 40-way
plugs, a fifth of their wires on splices of four, ends by chance. Exits with 1 where a figure that must be
reached is missed.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

import loomproof
from loomproof.bench.simulation import Simulation
from tests.loom.kbl_files import MAIN_HARNESS, ROOT, VARIABLE
from tests.results import table_file

CHILD = """
import json, resource, subprocess, sys
done = subprocess.run([sys.executable, "-m", "loomproof", *sys.argv[1:]], capture_output=True, text=True)
used = resource.getrusage(resource.RUSAGE_CHILDREN)
scale = 1024 * 1024 if sys.platform == "darwin" else 1024
told = done.stdout.splitlines() or [""]
print(json.dumps([done.returncode, used.ru_utime + used.ru_stime, used.ru_maxrss / scale, told]))
"""


class Measured(NamedTuple):
    """One command: exit code, processor time in s, peak memory in MB, what it said."""

    code: int
    cpu_s: float
    peak_mb: float
    said: list[str]


def write_loom(folder: Path, wires: int, seed: int) -> None:
    """Write a loom of so many wires between 40-way plugs."""
    rng = random.Random(seed)
    spliced = wires // 5 // 4 * 4
    plugs = -(-(2 * wires - spliced) // 40)
    ends = [(f"C{n}", str(k)) for n in range(1, plugs + 1) for k in range(1, 41)]
    rng.shuffle(ends)
    lines = ["wire,from_connector,from_cavity,to_connector,to_cavity,colour,csa_mm2,length_m"]
    for n in range(wires):
        b = (f"S{n // 4 + 1}", "") if n < spliced else ends.pop()
        facts = (rng.choice(("RD", "BK/WH", "GN")), rng.choice(("0.5", "1.5")), f"{rng.uniform(0.1, 4):.2f}")
        lines.append(",".join((f"W{n + 1}", *ends.pop(), *b, *facts)))
    folder.mkdir(parents=True)
    connectors = ["connector,kind,cavities,hazard"]
    connectors += [f"C{n},plug,1-20 / 21-40,none" for n in range(1, plugs + 1)]
    connectors += [f"S{n},splice,," for n in range(1, spliced // 4 + 1)]
    for name, text in (
        ("loom.toml", '[loom]\nname = "big"\n'),
        ("wires.csv", "\n".join(lines) + "\n"),
        ("connectors.csv", "\n".join(connectors) + "\n"),
        ("components.csv", "component,kind,terminals\n"),
        ("circuits.csv", "circuit\n"),
    ):
        (folder / name).write_text(text)


def measured(place: Path, *words: str | Path) -> Measured:
    """Run a command in a fresh process with a home of its own."""
    environment = {**os.environ, "HOME": str(place), "XDG_DATA_HOME": str(place / "data")}
    command = [sys.executable, "-c", CHILD, *map(str, words)]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=place, env=environment)
    return Measured(*json.loads(done.stdout))


def until_said(place: Path, *words: str | Path) -> Measured:
    """Run a command in a fresh process until it says its first word on stderr, and end it there."""
    environment = {**os.environ, "HOME": str(place), "XDG_DATA_HOME": str(place / "data")}
    command = [sys.executable, "-m", "loomproof", *map(str, words)]
    with subprocess.Popen(
        command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, cwd=place, env=environment
    ) as process:
        assert process.stderr is not None
        said = process.stderr.readline()
        process.kill()
        _, _, used = os.wait4(process.pid, 0)
        process.returncode = 0
    scale = 1024 * 1024 if sys.platform == "darwin" else 1024
    return Measured(0, used.ru_utime + used.ru_stime, used.ru_maxrss / scale, [said.strip()])


def main(argv: Sequence[str] | None = None) -> int:
    """Measure, show the table, and say whether the figures are reached."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--short", action="store_true", help="a tenth, of which nothing must be reached")
    options = parser.parse_args(argv)
    begun = time.monotonic()
    package = str(Path(loomproof.__file__).parent)
    subprocess.run([sys.executable, "-m", "compileall", "-q", package], check=True)
    share = 10 if options.short else 1
    rows = [
        "| what | exit | processor time, s | peak, MB | must reach |",
        "| --- | ---: | ---: | ---: | --- |",
    ]
    reached = True
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)

        def loom(wires: int) -> Path:
            target = place / f"f{wires}"
            if not target.exists():
                write_loom(target, wires, options.seed)
            return target

        def line(
            what: str,
            words: Sequence[str | Path],
            code: int,
            most_s: float = 0,
            most_mb: float = 0,
            run: Callable[..., Measured] = measured,
        ) -> Measured:
            nonlocal reached
            found = run(place, *words)
            good = found.code == code and found.cpu_s < (most_s or 1e9) and found.peak_mb < (most_mb or 1e9)
            reached &= good or options.short
            must = ", ".join([f"{most_s:g} s"] * bool(most_s) + [f"{most_mb:g} MB"] * bool(most_mb)) or "-"
            rows.append(
                f"| {what} | {found.code} | {found.cpu_s:.1f} | {found.peak_mb:.0f} | "
                f"{must}{'' if good else ' **missed**'} |"
            )
            return found

        hooked = loom(1_000 // share)
        found = line(
            f"plan, {1_000 // share} wires on {512 if share == 1 else 90} points",
            ["plan", hooked, "--points", str(512 if share == 1 else 90)],
            0,
            5,
        )
        rows[-1] = rows[-1].replace("points |", f"points: {found.said[0].split('.')[0]} |", 1)
        open_data = os.environ.get(VARIABLE) or ROOT.parent / "shared" / "open_data" / "kbl"
        harness = Path(open_data) / MAIN_HARNESS
        if harness.is_file() and not options.short:
            for points, code in ((128, 0), (64, 2)):
                found = line(
                    f"plan, the open main harness on {points} points",
                    ["plan", harness, "--points", str(points)],
                    code,
                    5,
                )
                told = next((text for text in found.said if "hook-ups on" in text), "")
                rows[-1] = rows[-1].replace("points |", f"points: {told.split('.')[0]} |", 1)
            first = line(
                "the same until it says that it cannot be done",
                ["plan", harness, "--points", "64"],
                0,
                1,
                0,
                until_said,
            )
            reached &= first.said[0].startswith("Not possible")
        for wires in (1_000, 3_000, 10_000):
            of = loom(wires // share)
            line(f"draw, {wires // share} wires", ["draw", of, "--to", place / f"drawn{wires}"], 0)
        line(f"plan, {50_000 // share} wires", ["plan", loom(50_000 // share)], 0, 0, 600)
        for wires in (10_000, 50_000):
            kbl = place / f"f{wires}.kbl"
            line(f"export as KBL, {wires // share} wires", ["export", loom(wires // share), "--kbl", kbl], 0)
            line(f"import it, {wires // share} wires", ["import", kbl, "--to", place / f"in{wires}"], 0)
        line(f"fit, {10_000 // share} wires", ["fit", loom(10_000 // share)], 0)
        proved: list[str | Path] = ["prove", loom(2_200 // share), "--bench", "sim:", "--out", place / "out"]
        line(
            f"prove with certificate, {2_200 // share} wires, the simulator's process counted",
            proved,
            0,
            0,
            300,
        )
        # A bench does its own work: the proof is what the command takes, and the process that sets its paper.
        simulation = Simulation(loom(2_200 // share))
        try:
            proved = ["prove", loom(2_200 // share), "--bench", str(simulation.address)]
            proved += ["--adapter", "in-order", "--out", place / "apart"]
            line("the same, the simulator started before and not counted", proved, 0, 5, 300)
        finally:
            simulation.end()
        proved = ["prove", loom(3_000 // share * 4), "--bench", "sim:", "--out", place / "more"]
        line(
            f"prove, {3_000 // share * 4} wires, more than the link has points", proved, 0 if share > 1 else 2
        )
    table_file("figures", "size", rows, time.monotonic() - begun, short=options.short)
    return 0 if reached else 1


if __name__ == "__main__":
    sys.exit(main())
