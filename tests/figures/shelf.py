"""Time the search on the shelf of a store with 1 000 looms, as the page asks it.

    python -m tests.figures shelf [--short] [--seed 1]

Each loom has two proofs of 10 wires, sealed one by one. Exits with 1 where a search takes 100 ms or more.
"""

from __future__ import annotations

import argparse
import asyncio
import datetime
import os
import platform
import random
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from loomproof.records.keys import new_signer
from loomproof.records.store import open_store
from loomproof.results.document import Verdict
from loomproof.web import keeping
from loomproof.web.answers import Asked, House
from tests.figures.store_scale import median_ms
from tests.reports.sample import document
from tests.web.asking import client, house

MOST_MS = 100.0
RESULT = Path(__file__).parent / "results" / "shelf.md"
NOW = datetime.datetime(2026, 1, 5, 10, 15, tzinfo=datetime.UTC)
SAID = ("", "loom 77", "L-0500", "fail", "torvald 2026", "nothing of that name")


def main(argv: list[str] | None = None) -> int:
    """Run the measurement, write its table, return 1 where the figure is missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true", help="100 looms instead of 1 000")
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args(argv)
    looms = 100 if arguments.short else 1000
    with tempfile.TemporaryDirectory() as place:
        os.environ["LOOMPROOF_HOME"] = str(Path(place) / "home")
        fill(Path(place), looms, random.Random(arguments.seed))
        lines = [
            "| words | found | found and listed | over HTTP, in process | processor time | seals, once |",
            "| --- | ---: | ---: | ---: | ---: | ---: |",
        ]
        worst = 0.0
        for said in SAID:
            row, whole_ms = timed(house(Path(place)), said)
            lines.append(row)
            worst = max(worst, whole_ms)
    head = f"# Search on a shelf of {looms} looms, {2 * looms} records"
    told = (
        f"{datetime.datetime.now(datetime.UTC):%Y-%m-%d}, {platform.machine()}, Python "
        f"{platform.python_version()}: `python -m tests.figures shelf --seed {arguments.seed}`. Median (and "
        f"most) of 21. {keeping.MOST_LOOMS} looms are shown at most; a seal is checked once, after what is "
        f"found is shown. To be reached: under {MOST_MS:g} ms over HTTP."
    )
    text = "\n\n".join((head, told, "\n".join(lines))) + "\n"
    print(text)
    if not arguments.short:
        RESULT.write_text(text, encoding="utf-8")
    return int(worst >= MOST_MS)


def fill(place: Path, looms: int, rng: random.Random) -> None:
    """Seal two proofs of each loom into the store there."""
    signer = new_signer(NOW)
    with open_store(house(place).workplace.store) as store:
        for number in range(2 * looms):
            made = document(
                run=f"r{number}",
                name=f"loom {number % looms}",
                serial=f"L-{number % looms:04d}",
                wires=10,
                verdict=rng.choice([Verdict.PASS, Verdict.FAIL]),
                person="I. Torvald",
            )
            store.seal_run(made, signer)


def timed(of: House, said: str) -> tuple[str, float]:
    """Return a row of the table for words that are looked for, and the median over HTTP, ms."""
    inside = median_ms(partial(keeping.found, of, Asked(query={"words": said})), 21)
    asked = over_http(of, said)
    whole = median_ms(asked, 21)
    begun = time.process_time()
    for _ in range(10):
        asked()
    used_ms = (time.process_time() - begun) * 1e2
    begun = time.perf_counter()
    _, total = keeping.found_looms(of, said, check=True)
    seals_ms = (time.perf_counter() - begun) * 1e3
    row = (
        f"| {said or '(none)'} | {total} | {inside[0]:.1f} ms (most {inside[1]:.1f}) "
        f"| {whole[0]:.1f} ms (most {whole[1]:.1f}) | {used_ms:.1f} ms | {seals_ms:.0f} ms |"
    )
    return row, whole[0]


def over_http(of: House, said: str) -> Callable[[], None]:
    """Return what asks the page's own address once, as its script does."""

    async def ask() -> int:
        async with client(of) as asks:
            return (await asks.get("/kept", params={"words": said})).status_code

    def asked() -> None:
        assert asyncio.run(ask()) == 200

    return asked


if __name__ == "__main__":
    sys.exit(main())
