"""How often the interval of a share of joints that last holds the true one.

    python -m tests.campaign lasting [--short] [--seed=5]

Looms by chance, whose joints wear out at a rate that is the loom's own (gamma, of the variance given)
and are looked at on days by chance; what is seen of each is when it was last good and first lost. The
share that lasts a year is known: (1 + rate times variance times years) ** (-1 / variance). An interval
from joints as if each stood alone is counted beside.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Sequence

import numpy as np

from loomproof.fleet import survival
from loomproof.fleet.survival import Life, surviving
from tests.results import table_file

YEAR = 365
DRAWS = 100
"""Of looms, for each interval: fewer than the program draws, as very many intervals are made."""

RATE = 0.08
"""Joints lost a year."""


def loom(rng: np.random.Generator, joints: int, variance: float) -> list[Life]:
    """Return what is seen of the joints of one loom."""
    looks = [0, *np.cumsum(rng.integers(30, 240, size=rng.integers(2, 9))).tolist()]
    own = rng.gamma(1 / variance, variance) if variance else 1.0
    seen: Counter[tuple[int, int | None]] = Counter()
    for life in rng.exponential(YEAR / (RATE * own), size=joints):
        place = int(np.searchsorted(looks, life))
        seen[looks[place - 1], looks[place] if place < len(looks) else None] += 1
    return [(good, lost, count) for (good, lost), count in seen.items()]


def held(seed: int, times: int, looms: int, joints: int, variance: float) -> tuple[int, int, int, float]:
    """Return how often each kind of interval held the truth, of how many, and the mean share by the truth."""
    rng = np.random.default_rng(seed)
    survival.DRAWS = DRAWS
    true = (1 + RATE * variance) ** (-1 / variance) if variance else float(np.exp(-RATE))
    whole = single = told = 0
    middle = 0.0
    for _ in range(times):
        made = [loom(rng, joints, variance) for _ in range(looms)]
        apart: list[Sequence[Life]] = [
            [(good, lost, 1)] for each in made for good, lost, count in each for _ in range(count)
        ]
        found, other = surviving(made).kept(YEAR), surviving(apart).kept(YEAR)
        if found is None or other is None:
            continue
        told += 1
        whole += found.low <= true <= found.high
        single += other.low <= true <= other.high
        middle += (found.least + found.most) / 2
    return whole, single, told, middle / max(told, 1) - true


def main(argv: list[str] | None = None) -> int:
    """Count, print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--seed", type=int, default=5)
    chosen = parser.parse_args(argv)
    begun = time.monotonic()
    rows = [
        "| looms | joints of each | variance of their rate | held the truth | joints as if alone | off by |",
        "| ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    times = 4 if chosen.short else 40
    for looms, joints, variance in ((10, 20, 1.0), (20, 20, 1.0), (60, 20, 1.0), (60, 20, 0.0)):
        whole, single, told, off = held(chosen.seed, times, looms, joints, variance)
        rows.append(
            f"| {looms} | {joints} | {variance:g} | {whole} of {told} | {single} of {told} | {off:+.4f} |"
        )
    rows += [
        "",
        f"{RATE:.0%} of joints lost a year, looked at every 30 to 240 days; "
        f"{DRAWS} draws for each interval; seed {chosen.seed}.",
    ]
    table_file("campaign", "lasting", rows, time.monotonic() - begun, short=chosen.short)
    return 0


if __name__ == "__main__":
    sys.exit(main())
