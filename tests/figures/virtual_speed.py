"""How fast the simulated scanner is: building looms, sensing, measuring.

    python -m tests.figures virtual_speed [--short] [--seed 0]

Figures only; it fails where the answers are not those of the loom's connected components.
"""

from __future__ import annotations

import argparse
import random
import sys
import time
from collections.abc import Sequence

from loomproof.virtual.scanner import Scanner
from tests.results import table_file
from tests.virtual.looms import expected_low, groups, random_loom, some_faults

_SETS = 20
_SETTLE_S = 500e-6


def main(argv: Sequence[str] | None = None) -> int:
    """Measure, show the table, and say whether every answer was right."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--short", action="store_true", help="5 looms of each size")
    options = parser.parse_args(argv)
    begun = time.monotonic()
    rows = [
        f"Mean over random looms; {_SETS} sense sets, resistances over every wire between two cavities.",
        "",
        "| cavities | looms | build, ms | first, ms | 20 sets, ms | a reading, µs | 20 sets faulty, ms |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    right = True
    for cavities, looms in ((128, 100), (500, 100), (2048, 20)):
        rng = random.Random(f"{options.seed}/{cavities}")
        timer = [0.0] * 5
        readings = 0
        for _ in range(5 if options.short else looms):
            loom = random_loom(rng, cavities)
            drives = [rng.getrandbits(cavities) for _ in range(_SETS)]
            marks = [time.perf_counter()]
            scanner = Scanner(loom)
            marks.append(time.perf_counter())
            scanner.sense(0, 0.0, _SETTLE_S)
            marks.append(time.perf_counter())
            answers = [scanner.sense(drive, i * 1e-3, _SETTLE_S) for i, drive in enumerate(drives, start=1)]
            marks.append(time.perf_counter())
            readings += _measure(scanner)
            marks.append(time.perf_counter())
            parts = groups(loom)
            right &= answers == [expected_low(parts, drive) for drive in drives]
            faulty = Scanner(loom, faults=some_faults(rng, loom))
            faulty.sense(0, 0.0, _SETTLE_S)
            faulty_from = time.perf_counter()
            for i, drive in enumerate(drives, start=1):
                faulty.sense(drive, i * 1e-3, _SETTLE_S)
            timer[4] += time.perf_counter() - faulty_from
            for i in range(4):
                timer[i] += marks[i + 1] - marks[i]
        count = 5 if options.short else looms
        build, first, sets, _, faulted = (1e3 * spent / count for spent in timer)
        rows.append(
            f"| {cavities} | {count} | {build:.1f} | {first:.2f} | {sets:.2f} "
            f"| {1e6 * timer[3] / max(readings, 1):.0f} | {faulted:.2f} |"
        )
    table_file("figures", "virtual_speed", rows, time.monotonic() - begun, short=options.short)
    return 0 if right else 1


def _measure(scanner: Scanner) -> int:
    number = {end: i for i, end in enumerate(scanner.loom.cavities)}
    pairs = [wire.ends for wire in scanner.loom.wires if all(end in number for end in wire.ends)]
    for a, b in pairs:
        scanner.resistance(1 << number[a], 1 << number[b], 1.0)
    return len(pairs)


if __name__ == "__main__":
    sys.exit(main())
