"""Voltage drops and sneak paths of random looms against ngspice, relays in both states.

``python -m tests.figures.spice_fitting [--short] [--seed N]``
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from tests.fitting.test_spice import compared


def main(argv: Sequence[str] | None = None) -> int:
    """Compare, write the table, and say whether all agree."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(argv)
    looms = 5 if options.short else 100
    found = [compared(options.seed * 10_000 + k) for k in range(looms)]
    drops, wrong, ends, unlike = (sum(column) for column in zip(*found, strict=True))
    text = "\n".join(
        [
            "# Fitting against ngspice",
            "",
            f"{datetime.now(UTC):%Y-%m-%d}, `python -m tests.figures.spice_fitting --seed {options.seed}`, "
            f"{os.cpu_count()} cores.",
            "",
            "| what | compared | differ |",
            "|---|---|---|",
            f"| looms | {looms} | |",
            f"| voltage drops at a load (2 %) | {drops} | {wrong} |",
            f"| ends live or not, by feed, over all relay positions | {ends} | {unlike} |",
            "",
        ]
    )
    print(text)
    if not options.short:
        target = Path(__file__).parent / "results" / "spice_fitting.md"
        target.parent.mkdir(exist_ok=True)
        target.write_text(text, encoding="utf-8")
    return 0 if wrong == unlike == 0 and drops and ends else 1


if __name__ == "__main__":
    sys.exit(main())
