"""What the fuzz of lists and of netlists shares: what is damaged and how, and the loop."""

from __future__ import annotations

import argparse
import csv
import io
import random
import time
import traceback
from collections import Counter
from collections.abc import Callable

from tests.fuzz.loom_fuzz import attempt, keep, mutated, mutated_archive
from tests.results import table_file

LONGEST_S = 5.0
"""A file that takes longer counts as a hang."""

Make = Callable[[random.Random], tuple[str, bytes]]
"""Makes the name and the bytes of one damaged file."""

CELLS = (
    "", "-", "NC", "x", "1-999999", "1-16 / 17-32", "A-ZZZ", "3W-3Z", "Z3-A1", "5,6,7", "1/2", "a/b/c/d/e/f",
    "X1:1", "X1.1.1", "X1:", ":1", "S1", "GND", "G1(s)", "From", "Pin", "Connector", "Net", "0.5", "1,5",
    "1e400", "nan",
    "18 ga", "#99", "-3 mm", "²", "٣", "１２", "brown", "BRN", "L/R", "rtws", "BKRDOGYEGNBUVT", "{\"a\": 1}",
    "[1, 2]", "This is a sentence that says what to do with the wire.",
    "a\nb", "a\r\nb", "\t", "\x00", "\x1b[31m",
    "\u202e1", "\u2028", "\ufeff", "A" * 3000, "1" * 400, "=A1", "'1", "\"", "|", "\\|", "<br>",
    "_x0000_", "TRUE",
    "1-Jan", "1E5", "(1)", "1 (2)", "A(B)C", "2 to 4", "5 und 6", "1..3", "1…3", "1–3", "<->", "→",
)  # fmt: skip
"""Cells that readers dislike, for any place of a table."""


def mutated_rows(data: bytes, mark: str, rng: random.Random) -> bytes:
    """Return a table with cells exchanged or overwritten, rows moved, doubled, merged with others or cut."""
    rows = list(csv.reader(io.StringIO(data.decode()), delimiter=mark))
    for _ in range(rng.choice((1, 1, 2, 4, 12))):
        y = rng.randrange(len(rows))
        if not rows[y]:
            continue
        x = rng.randrange(len(rows[y]))
        other = rng.choice(rows)
        match rng.randrange(9):
            case 0 | 1 | 2:
                rows[y][x] = rng.choice(CELLS)
            case 3:
                rows[y][x] += rng.choice(CELLS)
            case 4:
                rows[y][x] = rng.choice(other) if other else ""
            case 5:
                rows.insert(rng.randrange(len(rows) + 1), list(other))
            case 6:
                rows[y] = rows[y][:x] + rows[y][x + 1 :]
            case 7:
                rows[y].insert(x, rng.choice(CELLS))
            case _ if len(rows) > 2:
                del rows[y]
    if rng.random() < 0.1:
        for row in rows:
            row[:1] = row[:1] * 2
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=mark).writerows(rows)
    return out.getvalue().encode(errors="replace")


def mutated_file(data: bytes, name: str, rng: random.Random) -> bytes:
    """Return a list with its cells or bytes damaged, a workbook in one of the files within it."""
    if name.endswith(".xlsx"):
        return mutated_archive(data, rng)
    mark = "\t" if name.endswith(".tsv") else ";" if data.count(b";") > data.count(b",") else ","
    return (
        mutated(data, rng) if rng.random() < 0.25 or name.endswith(".md") else mutated_rows(data, mark, rng)
    )


def fuzz(kind: str, make: Make, argv: list[str] | None, about: str | None) -> int:
    """Damage files of a kind (``list``, ``netlist``) for the time given, and keep the table.

    Returns 1 where one ended otherwise than read or refused, or took more than `LONGEST_S`; it is kept.
    """
    parser = argparse.ArgumentParser(description=about)
    parser.add_argument("--short", action="store_true", help="two hundred files")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=600)
    arguments = parser.parse_args(argv)
    rng = random.Random(arguments.seed)
    ends: Counter[str] = Counter()
    finds: list[str] = []
    longest_s, slowest = 0.0, ""
    begun = time.monotonic()
    while sum(ends.values()) < 200 if arguments.short else time.monotonic() - begun < arguments.seconds:
        name, data = make(rng)
        start = time.process_time()
        try:
            outcome = attempt(kind, name, data)
        except Exception:
            outcome = "found"
            finds.append(f"{keep(kind, name, data).name}\n{traceback.format_exc(limit=-3)}")
        spent_s = time.process_time() - start
        if spent_s > LONGEST_S:
            finds.append(f"{keep(kind, name, data).name}: {spent_s:.1f} s")
        if spent_s > longest_s:
            longest_s, slowest = spent_s, name
        ends[outcome] += 1
    lines = [
        f"{sum(ends.values())} files: {ends['refused']} refused with a message or a question, "
        f"{ends['read']} read, written and read again, {ends['found']} ended otherwise; "
        f"the longest took {longest_s:.2f} s of processor time ({slowest}).",
        *(find.partition("\n")[0] for find in finds),
    ]
    command = f"python -m tests.fuzz.{kind}_fuzz --seed {arguments.seed} --seconds {arguments.seconds:g}"
    table_file(
        "fuzz", f"{kind}_fuzz", lines, time.monotonic() - begun, short=arguments.short, command=command
    )
    for find in finds[:10]:
        print(find)
    return int(bool(finds))
