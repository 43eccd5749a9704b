"""Traced looms laid on the loom that they are: which connector is which, what is asserted, what is flagged.

    python -m tests.campaign.matching [--looms 500] [--seed 1] [--jobs 2]

A connector is right where it goes to its own, or to one that no net of the whole loom tells from its own.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

from loomproof.matching.match import match
from loomproof.results.matching import Standing
from tests.campaign.match_looms import case_of

RESULTS = Path(__file__).parent / "results" / "matching.md"
LOOMS, SEED = 500, 1


class Row(NamedTuple):
    """One connector: whether it is right, how sure it was said to be, whether the loom has others like it."""

    right: bool
    standing: Standing
    alone: bool


def rows_of(seed: int) -> tuple[list[Row], float]:
    """Return the rows of one loom, and the processor seconds that its match took."""
    case = case_of(seed)
    begun = time.process_time()
    found = match(case.traced, case.known)
    took = time.process_time() - begun
    like = Counter(case.orbits.values())
    rows = []
    for place in found.places:
        own = case.orbits[case.truth[place.traced]]
        right = bool(place.known) and case.orbits[place.known] == own
        rows.append(Row(right, place.standing, like[own] == 1))
    return rows, took


def table(rows: list[Row], slowest_s: float, looms: int, seed: int) -> Iterator[str]:
    """Yield the lines of the table that is kept."""
    count = len(rows)
    alone = [row for row in rows if row.alone]
    flagged = [row for row in alone if row.standing is not Standing.SURE]
    wrong = [row for row in rows if not row.right]
    sure = sum(row.standing is Standing.SURE for row in wrong)
    like = [row for row in rows if not row.alone]
    told = sum(row.standing is not Standing.SURE for row in like)
    yield f"# {looms} random looms, names gone, a tenth of their nets hidden or changed"
    yield ""
    yield f"`python -m tests.campaign.matching --looms {looms} --seed {seed}`, {datetime.now(UTC):%Y-%m-%d}"
    yield ""
    yield "| figure | value |"
    yield "| --- | --- |"
    yield f"| connectors | {count} |"
    yield f"| right, or exchanged with one that no net tells apart | {100 * (1 - len(wrong) / count):.2f} % |"
    yield f"| wrong and said to be sure | {sure} |"
    yield f"| flagged although nothing of the whole loom is like them | {100 * len(flagged) / count:.2f} % |"
    yield f"| look-alikes flagged | {told} of {len(like)} |"
    yield f"| slowest match, processor seconds | {slowest_s:.2f} |"


def main(argv: Sequence[str] | None = None) -> int:
    """Run the campaign, keep its table where it ran in full, and say whether none is wrong and sure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--looms", type=int, default=LOOMS)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--short", action="store_true")
    given = parser.parse_args(argv)
    looms = 20 if given.short else given.looms
    first = given.seed * 1_000_000
    with ProcessPoolExecutor(given.jobs) as pool:
        results = list(pool.map(rows_of, range(first, first + looms), chunksize=4))
    rows = [row for found, _ in results for row in found]
    text = "\n".join(table(rows, max(took for _, took in results), looms, given.seed)) + "\n"
    print(text)
    if (looms, given.seed) == (LOOMS, SEED):
        RESULTS.write_text(text)
    return int(any(not row.right and row.standing is Standing.SURE for row in rows))


if __name__ == "__main__":
    sys.exit(main())
