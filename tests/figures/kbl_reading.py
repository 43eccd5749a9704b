"""Time and memory from a KBL file to a checked loom: the open main harness, and looms of growing size.

    python tests/figures/kbl_reading.py [--short] [--seed 1]

Each file is read in processes of their own. The first reading in a process counts for the limit: it
compiles the schema too. Exits with 1 where the 1.8 MB main harness takes more than 1.5 s, or where the
time per wire at the largest size is more than twice that at the smallest.
"""

from __future__ import annotations

import argparse
import datetime
import json
import os
import platform
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.figures.peak import PEAK_MB

ROOT = Path(__file__).resolve().parents[2]
RESULT = Path(__file__).parent / "results" / "kbl_reading.md"
VARIABLE = "LOOMPROOF_OPEN_DATA"
MOST_S = 1.5
MOST_GROWTH = 2.0

CHILD = (
    PEAK_MB
    + """
import json, sys, time
from loomproof.loom import kbl
start = time.perf_counter()
loaded = kbl.read(sys.argv[1])
first = time.perf_counter() - start
start = time.perf_counter()
kbl.read(sys.argv[1])
again = time.perf_counter() - start
print(json.dumps([first, again, peak_mb(), len(loaded.loom.wires)]))
"""
)

MAKER = """
import sys
from pathlib import Path
from loomproof.loom import kbl
from loomproof.loom.reading import load
Path(sys.argv[2]).write_bytes(kbl.write(load(sys.argv[1]).loom).content)
"""


def measure(path: Path, repeats: int) -> tuple[float, float, float, int]:
    """Return the medians of the first and second reading in s, the peak memory in MB, and the wires."""
    found = []
    for _ in range(repeats):
        done = subprocess.run(
            [sys.executable, "-c", CHILD, str(path)], capture_output=True, text=True, check=True, cwd=ROOT
        )
        found.append(json.loads(done.stdout))
    first, again, peak = (statistics.median(one[i] for one in found) for i in range(3))
    return first, again, peak, found[0][3]


def files(place: Path, sizes: tuple[int, ...], seed: int) -> list[tuple[str, Path]]:
    """Return the files to read: the open main harness where it is there, and looms written as KBL."""
    from tests.figures.loom_reading import write_loom

    folder = Path(os.environ.get(VARIABLE) or ROOT.parent / "shared" / "open_data" / "kbl")
    open_file = folder / "main_harness_kbl24.kbl"
    found = [("open main harness", open_file)] if open_file.exists() else []
    for size in sizes:
        write_loom(place / str(size), size, seed)
        path = place / f"{size}.kbl"
        subprocess.run([sys.executable, "-c", MAKER, str(place / str(size)), str(path)], check=True, cwd=ROOT)
        found.append((f"{size} wires", path))
    return found


def main(argv: list[str] | None = None) -> int:
    """Run the measurement, write its table, return 1 where a figure is missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--short", action="store_true", help="only 1 000 wires beside the harness, three times"
    )
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args(argv)
    sizes = (1_000,) if arguments.short else (1_000, 4_000, 16_000)
    rows: list[tuple[str, float, float, float, float, int]] = []
    with tempfile.TemporaryDirectory() as place:
        for name, path in files(Path(place), sizes, arguments.seed):
            first, again, peak, wires = measure(path, 3 if arguments.short else 7)
            rows.append((name, path.stat().st_size / 1e6, first, again, peak, wires))
    lines = [
        "# From KBL to a checked loom",
        "",
        f"{datetime.date.today()}, `python -m tests.figures.kbl_reading "
        f"{'--short ' if arguments.short else ''}--seed {arguments.seed}` "
        f"({os.cpu_count()} cores, Python {platform.python_version()})",
        "",
        "| file | size, MB | wires | first reading, s | second, s | peak memory, MB |",
        "| --- | ---: | ---: | ---: | ---: | ---: |",
        *(f"| {n} | {mb:.2f} | {w} | {f:.3f} | {a:.3f} | {p:.0f} |" for n, mb, f, a, p, w in rows),
        "",
        f"Must reach: the open main harness under {MOST_S} s at its first reading, schema included; time per "
        f"wire grows less than {MOST_GROWTH:g} times.",
    ]
    if rows[0][0] != "open main harness":
        lines += ["", f"The open main harness is not there: {VARIABLE} names its folder."]
    text = "\n".join(lines) + "\n"
    print(text)
    if not arguments.short:
        RESULT.parent.mkdir(exist_ok=True)
        RESULT.write_text(text)
    made = [row for row in rows if row[0] != "open main harness"]
    growth = (made[-1][3] / made[-1][5]) / (made[0][3] / made[0][5])
    slow = any(row[2] > MOST_S for row in rows if row not in made)
    return int(slow or growth > MOST_GROWTH)


if __name__ == "__main__":
    sys.exit(main())
