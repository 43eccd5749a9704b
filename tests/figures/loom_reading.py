"""Time and memory from CSV tables to a validated loom, for 1 000, 10 000 and 50 000 wires.

    python tests/figures/loom_reading.py [--short] [--seed 1]

Each size is read in a process of its own, five times; the median and that process's peak memory count.
Exits with 1 where 10 000 wires take more than 1.5 s or 400 MB, or where the time per wire at the
largest size is more than twice that at 10 000 (growth that is not linear).
"""

from __future__ import annotations

import argparse
import datetime
import json
import os
import platform
import random
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.figures.peak import PEAK_MB

ROOT = Path(__file__).resolve().parents[2]
RESULT = Path(__file__).parent / "results" / "loom_reading.md"
MOST_S = 1.5
MOST_MB = 400
MOST_GROWTH = 2.0

CHILD = (
    PEAK_MB
    + """
import json, sys, time
from loomproof.loom.reading import load
times = []
for _ in range(int(sys.argv[2])):
    start = time.perf_counter()
    loaded = load(sys.argv[1])
    times.append(time.perf_counter() - start)
print(json.dumps([times, peak_mb(), len(loaded.loom.wires)]))
"""
)


def write_loom(folder: Path, wires: int, seed: int) -> None:
    """Write a loom of so many wires between plugs of 48 ways, with splices, circuits, colours and bundles."""
    rng = random.Random(seed)
    plugs = wires * 2 // 48 + 2
    ends = [(f"C{n}", str(k)) for n in range(plugs) for k in range(1, 49)]
    rng.shuffle(ends)
    colours = ("RD", "BK/WH", "GN", "BN", "YE/BU", "VT", "GY/RD", "WH")
    splices = max(1, wires // 20)
    lines = [
        "wire,from_connector,from_cavity,to_connector,to_cavity,colour,csa_mm2,length_m,circuit,bundle,note"
    ]
    for n in range(wires):
        a = ends.pop()
        b = (f"S{rng.randrange(splices)}", "") if n % 10 == 0 else ends.pop()
        fields = (f"W{n}", *a, *b, rng.choice(colours), rng.choice(("0.5", "0.75", "1.5")))
        more = (f"{rng.uniform(0.1, 4):.2f}", f"circuit-{n % 200}", f"B{n % 40} B{n % 7}", "")
        lines.append(",".join((*fields, *more)))
    connectors = ["connector,kind,cavities,hazard"]
    connectors += [f"C{n},plug,1-24 / 25-48,none" for n in range(plugs)]
    connectors += [f"S{n},splice,," for n in range(splices)]
    circuits = ["circuit,purpose,fuse", *(f"circuit-{n},job {n},5 A" for n in range(200))]
    folder.mkdir(parents=True)
    (folder / "loom.toml").write_text('[loom]\nname = "big"\n')
    (folder / "components.csv").write_text("component,kind,terminals\n")
    for name, rows in (("wires", lines), ("connectors", connectors), ("circuits", circuits)):
        (folder / f"{name}.csv").write_text("\n".join(rows) + "\n")


def measure(folder: Path, repeats: int) -> tuple[float, float]:
    """Return the median time in s and the peak memory in MB of reading the loom in a fresh process."""
    command = [sys.executable, "-c", CHILD, str(folder), str(repeats)]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=ROOT)
    times, peak_mb, _ = json.loads(done.stdout)
    return statistics.median(times), float(peak_mb)


def main(argv: list[str] | None = None) -> int:
    """Run the measurement, write its table, return 1 where a figure is missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true", help="only 1 000 and 10 000 wires, three times each")
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args(argv)
    sizes = (1_000, 10_000) if arguments.short else (1_000, 10_000, 50_000)
    found: dict[int, tuple[float, float]] = {}
    with tempfile.TemporaryDirectory() as place:
        for size in sizes:
            folder = Path(place) / str(size)
            write_loom(folder, size, arguments.seed)
            found[size] = measure(folder, 3 if arguments.short else 5)
    lines = [
        "# From CSV tables to a validated loom",
        "",
        f"{datetime.date.today()}, `python -m tests.figures.loom_reading "
        f"{'--short ' if arguments.short else ''}--seed {arguments.seed}` "
        f"({os.cpu_count()} cores, Python {platform.python_version()})",
        "",
        "| wires | time, s | per wire, µs | peak memory, MB |",
        "| ---: | ---: | ---: | ---: |",
        *(f"| {n} | {s:.3f} | {s / n * 1e6:.1f} | {mb:.0f} |" for n, (s, mb) in found.items()),
        "",
        f"Must reach: 10 000 wires under {MOST_S} s and {MOST_MB} MB; "
        f"time per wire grows less than {MOST_GROWTH:g} times.",
    ]
    text = "\n".join(lines) + "\n"
    print(text)
    if not arguments.short:
        RESULT.parent.mkdir(exist_ok=True)
        RESULT.write_text(text)
    time_s, memory_mb = found[10_000]
    growth = (found[sizes[-1]][0] / sizes[-1]) / (time_s / 10_000)
    return int(time_s > MOST_S or memory_mb > MOST_MB or growth > MOST_GROWTH)


if __name__ == "__main__":
    sys.exit(main())
