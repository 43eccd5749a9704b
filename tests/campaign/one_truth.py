"""What page, terminal and JSON say of random looms with random faults: verdict, findings, figures, sentences.

    python -m tests.campaign one_truth [--short] [--seed 20]

Each loom is proved by the button of its page, on a simulator in this process; the checks are those of
`tests/web/one_truth.py`. Exits with 1 where two of the three differ.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from tests.results import table_file
from tests.web.one_truth import CHECKS, gathered

LOOMS, SHORT = 20, 4


def main(argv: Sequence[str] | None = None) -> int:
    """Prove, compare, show the table, and say whether all agree."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=20)
    parser.add_argument("--short", action="store_true", help=f"{SHORT} looms instead of {LOOMS}")
    options = parser.parse_args(argv)
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as place:
        said = gathered(SHORT if options.short else LOOMS, options.seed, Path(place))
    rows = ["| what is compared | result |", "| --- | --- |"]
    differ = 0
    for check in CHECKS:
        try:
            check(said)
            rows.append(f"| {check.__name__.replace('_', ' ')} | agree |")
        except AssertionError as error:
            differ += 1
            rows.append(f"| {check.__name__.replace('_', ' ')} | **differ**: {str(error)[:200]!r} |")
    verdicts = Counter(each.data["verdict"] for each in said)
    findings = sum(len(each.data["findings"]) for each in said)
    told = ", ".join(f"{count} {verdict}" for verdict, count in sorted(verdicts.items()))
    head = [f"{len(said)} looms ({told}) with {findings} findings, seed {options.seed}.", ""]
    table_file("campaign", "one_truth", [*head, *rows], time.monotonic() - begun, short=options.short)
    return 1 if differ else 0


if __name__ == "__main__":
    sys.exit(main())
