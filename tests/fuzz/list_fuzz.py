"""Feed damaged lists of wires, nets and pins to their reader: read or refused by place, never a traceback.

    python -m tests.fuzz list_fuzz [--short] [--seed 1] [--seconds 600]

The lists are those of `tests.loom.list_maker` (every shape, CSV, Markdown, workbook) and the odd ones here.
A find is kept in tests/fuzz/finds/, where `tests/loom/test_fuzz_finds.py` reads it; exits with 1 where there
was one, or where a file took more than five seconds of processor time.
"""

from __future__ import annotations

import random
import sys

from tests.fuzz.damaged_lists import fuzz, mutated_file, mutated_rows
from tests.fuzz.loom_fuzz import LISTS, MARKDOWN, mutated
from tests.loom.list_maker import make


def damaged(rng: random.Random) -> tuple[str, bytes]:
    """Return one damaged list with its name."""
    what = rng.random()
    if what < 0.2:
        return "fuzz.csv", mutated_rows(rng.choice(LISTS), ",", rng)
    if what < 0.3:
        # Named so that no formatter of Markdown looks at a find.
        return "fuzz.markdown", mutated(MARKDOWN, rng)
    made = make(rng.randrange(1_000_000))
    ending = made.file.rpartition(".")[2].replace("md", "markdown")
    return f"fuzz.{ending}", mutated_file(made.data, made.file, rng)


def main(argv: list[str] | None = None) -> int:
    """Fuzz for the time given; return 1 where something was found."""
    return fuzz("list", damaged, argv, __doc__)


if __name__ == "__main__":
    sys.exit(main())
