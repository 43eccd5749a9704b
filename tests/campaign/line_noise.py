"""Proofs by the thousand over lines that do harm; shows the share that finished for each noise rate.

    python -m tests.campaign.line_noise [--short] [--seed N] [--count N] [--real N] [--lines N]

Thousands run in memory, the simulator's own device on a clock of its own, so that the ten seconds of a
dead line cost nothing. Fewer run through a proxy between real ends, the simulator being a process: a
pseudo-terminal and a TCP socket, where waiting takes as long as it takes. The whole run keeps its tables
in ``results/line_noise.md``. Exit code 1 if a single answer was wrong.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from tests.bench.noise import Harm
from tests.bench.real_line import KINDS, REAL_HARMS, prove_all
from tests.bench.torture import CONTRACT_S, HARMS, Result, torture

LOOMS = ("tail_lamp", "hillclimb_engine")
RATES = (0.0, 1e-5, 3e-5, 1e-4, 3e-4, 1e-3, 2e-3, 3e-3, 1e-2)
FLIPS = {f"bits flipped {rate:g}": Harm(flip=rate) for rate in RATES}
TOO_LONG = {("hillclimb_engine", "too slow")}
"""Not run between real ends: a hundred and fifty commands, each answered after its third try."""

COUNT = 100
REAL = 10
LINES = 12
SHORT = 8
SHORT_REAL = 1
RESULTS = Path(__file__).parent / "results" / "line_noise.md"
HEAD = (
    "| ends | loom | line | proofs | finished | link errors | wrong | batches halved | sets a batch "
    "| longest wait, s |\n|---|---|---|---|---|---|---|---|---|---|"
)
NOTES = """
Finished: the verdict, findings and nets of a line without harm. Wrong: anything else that is not a link
error within the contract's time (10 s without progress, and the last try). Batches halved: how often,
over all proofs of the row. Sets a batch: how many sets a sensing command carried on average, first tries
and repeats alike. In memory: bytes take their time on a simulated clock. pty, tcp: through a proxy
between real ends, the simulator a process of its own.
"""


@dataclass(frozen=True)
class Row:
    """What came of the proofs of one loom over one kind of line."""

    ends: str
    loom: str
    harm: str
    results: Sequence[tuple[int, Result]]

    @property
    def wrong(self) -> list[str]:
        """What went wrong, with the seed that shows it again."""
        place = f"{self.ends}, {self.loom}, {self.harm}"
        return [f"{place}, seed {seed}: {r.text}" for seed, r in self.results if r.end == "wrong"]

    def __str__(self) -> str:
        results = [result for _, result in self.results]
        ends = Counter(result.end for result in results)
        sensing = [result.sets_a_batch for result in results if result.sets_a_batch]
        batch = f"{sum(sensing) / len(sensing):.1f}" if sensing else "none sent"
        share = ends["right"] / len(results)
        return (
            f"| {self.ends} | {self.loom} | {self.harm} | {len(results)} | {share:.0%} "
            f"| {ends['error']} | {len(self.wrong)} | {sum(result.abandoned for result in results)} "
            f"| {batch} | {max(result.waited_s for result in results):.1f} |"
        )


def in_memory(seed: int, count: int) -> list[Row]:
    """Prove so many times for each loom and line, each time with another seed and other faults."""
    rows = []
    print(HEAD)
    for name in LOOMS:
        for label, harm in (FLIPS | HARMS).items():
            seeds = range(seed, seed + count)
            rows.append(Row("memory", name, label, [(each, torture(name, harm, each)) for each in seeds]))
            print(rows[-1], flush=True)
    return rows


def between_real_ends(seed: int, count: int, lines: int) -> list[Row]:
    """Prove through the proxy, over so many lines side by side."""
    rows = []
    for kind in KINDS:
        for name in LOOMS:
            kinds = {k: h for k, h in (FLIPS | REAL_HARMS).items() if (name, k) not in TOO_LONG}
            jobs = {(label, each): kinds[label] for each in range(seed, seed + count) for label in kinds}
            results = prove_all(kind, name, jobs, lines=lines, patience_s=CONTRACT_S)
            for label in kinds:
                found = [(each, result) for (given, each), result in results.items() if given == label]
                rows.append(Row(kind, name, label, found))
                print(rows[-1], flush=True)
    return rows


def main(arguments: list[str] | None = None) -> int:
    """Run the campaign and print its tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--short", action="store_true", help=f"{SHORT} and {SHORT_REAL} proofs a row")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--count", type=int, default=COUNT, help="proofs a row in memory")
    parser.add_argument("--real", type=int, default=REAL, help="proofs a row between real ends")
    parser.add_argument("--lines", type=int, default=LINES, help="real lines side by side")
    given = parser.parse_args(arguments)
    count, real = (SHORT, SHORT_REAL) if given.short else (given.count, given.real)
    began = time.monotonic()
    rows = in_memory(given.seed, count) if count else []
    if real and os.name != "nt":  # which has no pseudo-terminals
        rows += between_real_ends(given.seed, real, given.lines)
    wrong = [text for row in rows for text in row.wrong]
    proofs = sum(len(row.results) for row in rows)
    total = f"{proofs} proofs, {len(wrong)} wrong, seed {given.seed}, {time.monotonic() - began:.0f} s"
    print(total)
    if not given.short:
        options = f"--seed {given.seed} --count {count} --real {real} --lines {given.lines}"
        command = f"python -m tests.campaign.line_noise {options}"
        head = f"{datetime.now(UTC):%Y-%m-%d}, `{command}`, {os.cpu_count()} cores: {total}."
        text = "\n".join(["# Proofs over lines that do harm", "", head, NOTES, HEAD, *map(str, rows), ""])
        RESULTS.parent.mkdir(exist_ok=True)
        RESULTS.write_text(text, encoding="utf-8")
    for line in wrong:
        print(line)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
