"""How long explaining takes: random looms of growing size and growing numbers of faults, one process.

The bound to hold: 2 000 points in 20 connectors with 20 faults in under 1 s. Times are processor seconds, the
best of three, since others use the machine too; the share told stands beside them, so that speed is never
had by explaining less. Looms of many small connectors are harder and stand below.
"""

from __future__ import annotations

import argparse
import random
import time
from collections.abc import Callable
from functools import partial

from loomproof.diagnosis import explain
from loomproof.loom.model import ConnectorKind
from loomproof.results.measured import Measured
from tests.diagnosis.injector import Bench, random_faults, random_loom
from tests.diagnosis.told import is_told
from tests.results import table_file

SIZES = (100, 200, 500, 1000, 2000)
FAULTS = (1, 5, 20, 60)


def main(argv: list[str] | None = None) -> int:
    """Measure and write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--seed", type=int, default=7)
    options = parser.parse_args(argv)
    begun = time.monotonic()
    rows = ["| points | connectors | faults | CPU seconds | told |", "| --- | --- | --- | --- | --- |"]
    held = True
    for wide in (True, False):
        for points in SIZES[:3] if options.short else SIZES:
            for count in FAULTS[:2] if options.short else FAULTS:
                if count * 20 > points:
                    continue  # more faults than sound wiring: another loom
                rng = random.Random(f"{options.seed}/{points}/{count}")
                loom = random_loom(rng, points, (points // 20,)) if wide else random_loom(rng, points)
                faults = random_faults(rng, loom, count)
                bench = Bench(loom)
                measured = Measured(bench.build(), bench.build(faults), complete=True)
                seconds = min(_timed(partial(explain, loom, measured)) for _ in range(3))
                found = explain(loom, measured)
                told = sum(is_told(fault, found, loom) for fault in faults)
                connectors = sum(connector.kind is ConnectorKind.PLUG for connector in loom.connectors)
                rows.append(f"| {points} | {connectors} | {count} | {seconds:.3f} | {told} of {count} |")
                held = held and not (wide and points == 2000 and count == 20 and seconds >= 1.0)
    wrong = random_loom(random.Random(options.seed), 2000)
    ends = list(wrong.cavities)
    random.Random(1).shuffle(ends)
    groups = tuple(frozenset(ends[i : i + 3]) for i in range(0, len(ends), 3))
    measured = Measured(Bench(wrong).build(), groups, complete=True)
    seconds = _timed(partial(explain, wrong, measured))
    causes = ", ".join(finding.cause for finding in explain(wrong, measured))
    rows += ["", f"The wrong loom, 2 000 points: {causes}, in {seconds:.3f} s. Seed {options.seed}."]
    table_file("figures", "diagnosis_speed", rows, time.monotonic() - begun, short=options.short)
    return 0 if held and causes == "wrong_loom" else 1


def _timed(work: Callable[[], object]) -> float:
    begun = time.process_time()
    work()
    return time.process_time() - begun


if __name__ == "__main__":
    raise SystemExit(main())
