"""Proofs by the thousand over lines that do harm; shows the share that finished for each noise rate.

    python -m tests.campaign.line_noise [--short] [--seed N]

The whole run keeps its table in ``results/line_noise.md``. Exit code 1 if a single answer was wrong.
Everything runs in memory on a clock of its own, so the ten seconds of a dead line cost nothing.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import Counter
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from tests.bench.noise import Harm
from tests.bench.torture import HARMS, torture

LOOMS = ("tail_lamp", "hillclimb_engine")
RATES = (0.0, 1e-5, 3e-5, 1e-4, 3e-4, 1e-3, 2e-3, 3e-3, 1e-2)
COUNT = 100
SHORT = 8
RESULTS = Path(__file__).parent / "results" / "line_noise.md"


@dataclass(frozen=True)
class Row:
    """What came of the proofs of one loom over one kind of line."""

    loom: str
    harm: str
    proofs: int
    right: int
    errors: int
    wrong: tuple[str, ...]
    abandoned: int
    longest_wait_s: float


def measure(name: str, label: str, harm: Harm, count: int, seed: int) -> Row:
    """Prove so many times, each time with another seed and other faults in the loom."""
    results = [torture(name, harm, seed + i) for i in range(count)]
    ends = Counter(result.end for result in results)
    return Row(
        name,
        label,
        count,
        ends["right"],
        ends["error"],
        tuple(f"seed {seed + i}: {r.text}" for i, r in enumerate(results) if r.end == "wrong"),
        sum(result.abandoned for result in results),
        max(result.waited_s for result in results),
    )


def main(arguments: list[str] | None = None) -> int:
    """Run the campaign and print its table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--short", action="store_true", help=f"{SHORT} proofs a row in place of {COUNT}")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--count", type=int, default=COUNT, help="proofs a row")
    given = parser.parse_args(arguments)
    count = SHORT if given.short else given.count
    kinds = [(f"bits flipped {rate:g}", Harm(flip=rate)) for rate in RATES] + list(HARMS.items())
    began = time.monotonic()
    proofs = 0
    wrong: list[str] = []
    table = [
        "| loom | line | proofs | finished | link errors | wrong | batches shrunk | longest wait, s |",
        "|---|---|---|---|---|---|---|---|",
    ]
    print("\n".join(table))
    for name in LOOMS:
        for label, harm in kinds:
            row = measure(name, label, harm, count, given.seed)
            proofs += row.proofs
            wrong += [f"{name}, {label}, {text}" for text in row.wrong]
            table.append(
                f"| {row.loom} | {row.harm} | {row.proofs} | {row.right / row.proofs:.0%} | {row.errors} "
                f"| {len(row.wrong)} | {row.abandoned} | {row.longest_wait_s:.1f} |"
            )
            print(table[-1], flush=True)
    total = f"{proofs} proofs, {len(wrong)} wrong, seed {given.seed}, {time.monotonic() - began:.0f} s"
    print(total)
    if not given.short:
        command = f"python -m tests.campaign.line_noise --seed {given.seed} --count {count}"
        head = f"{datetime.now(UTC):%Y-%m-%d}, `{command}`, {os.cpu_count()} cores: {total}."
        RESULTS.parent.mkdir(exist_ok=True)
        RESULTS.write_text(
            "\n".join(["# Proofs over lines that do harm", "", head, "", *table, ""]), encoding="utf-8"
        )
    for text in wrong:
        print(text)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
