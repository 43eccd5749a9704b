"""Proofs of the tail lamp on the emulated board over bad lines: never a wrong answer, nothing left driven.

    python -m tests.campaign.firmware_noise [--kind KIND] [--first N] [--proofs N] [--short]

(Ctrl-C keeps what is done.)

Every line flips one bit in ten thousand. A third of the proofs meet nothing else, a third also lose the
board's power at one line in a hundred, and in a third the host goes away in mid-run (nothing gets through any
more after some twenty to sixty lines). Compared with a simulated scanner of the same abilities over a line
without harm. Five seconds of the board's time after each proof, no pin may be driven; no pin may have been
driven high at any time.
"""

from __future__ import annotations

import argparse
import contextlib
import sys
import time
from collections import Counter
from collections.abc import Sequence

from tests.bench.noise import Harm
from tests.firmware.building import missing
from tests.firmware.kinds import KINDS
from tests.firmware.test_bench import torture
from tests.results import table_file

LINES = ("bits flipped", "bits flipped, power lost", "bits flipped, host gone")
PROOFS, SHORT = 1000, 9


def harm_of(seed: int) -> Harm:
    """Return what befalls the line of this proof."""
    if seed % 3 == 1:
        return Harm(flip=1e-4, reset=0.01)
    if seed % 3 == 2:
        return Harm(flip=1e-4, dead_after=20 + seed % 41)
    return Harm(flip=1e-4)


def main(argv: Sequence[str] | None = None) -> int:
    """Prove, count, keep the table; the exit code says whether anything was wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kind", choices=KINDS, default="pins", help="of reference scanner")
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--proofs", type=int, default=PROOFS)
    parser.add_argument("--short", action="store_true")
    given = parser.parse_args(argv)
    if missing():
        print(f"{missing()}: nothing proved")
        return 0
    began = time.monotonic()
    count = SHORT if given.short else given.proofs
    ends: Counter[tuple[int, str]] = Counter()
    with contextlib.suppress(KeyboardInterrupt):  # what is done is kept
        for seed in range(given.first, given.first + count):
            result = torture(harm_of(seed), seed, KINDS[given.kind])
            ends[seed % 3, result.end] += 1
            if result.end == "wrong":
                print(f"proof {seed}: {result.text}", flush=True)
    lines = ["| line | proofs | right | link error in time | wrong |", "|---|---|---|---|---|"]
    for kind, name in enumerate(LINES):
        row = [ends[kind, end] for end in ("right", "error", "wrong")]
        lines.append(f"| {name} | {sum(row)} | {row[0]} | {row[1]} | {row[2]} |")
    lines += ["", "Driven five seconds after the end of a proof, or high at any time: none."]
    wrong = sum(n for (_, end), n in ends.items() if end == "wrong")
    name = "firmware_noise" if given.kind == "pins" else f"firmware_noise_{given.kind}"
    command = f"python -m tests.campaign firmware_noise --kind {given.kind} --proofs {count}"
    table_file("campaign", name, lines, time.monotonic() - began, short=given.short, command=command)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
