"""The simulator's own small reader of an adapter table: which point its leads join to which cavity."""

from __future__ import annotations

import csv
from pathlib import Path

from loomproof.errors import AdapterError, Problem, suggestion
from loomproof.loom.model import End, Loom
from loomproof.virtual.build import Hookup

_NEEDED = ("point", "connector", "cavity")


def read_hookup(path: Path, loom: Loom, points: int | None = None) -> Hookup:
    """Read a CSV table of ``point``, ``connector``, ``cavity`` and, where known, ``lead_ohm``.

    ``points`` is how many the scanner has; without it, as many as the table needs. Raises
    `AdapterError` with every problem found.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise AdapterError(f"{path.name} cannot be read: {error}") from None
    reader = csv.DictReader(text.splitlines())
    missing = [name for name in _NEEDED if name not in (reader.fieldnames or ())]
    if missing:
        raise AdapterError(
            f"{path.name}: the column {missing[0]} is missing",
            cure="The columns are point, connector, cavity and, where known, lead_ohm.",
        )
    ends: dict[int, End] = {}
    leads: dict[int, float] = {}
    problems: list[Problem] = []
    known = set(loom.cavities)

    def wrong(row: int, column: str, message: str, cure: str = "") -> None:
        problems.append(Problem(message, file=path.name, row=row, column=column, cure=cure))

    for number, row in enumerate(reader, start=2):
        word = (row["point"] or "").strip()
        connector, cavity = (row["connector"] or "").strip(), (row["cavity"] or "").strip()
        if not connector and not word:
            continue
        if not (word.isascii() and word.isdecimal()) or int(word) < 1:
            wrong(number, "point", f"{word!r} is no point; a number from 1 is expected.")
            continue
        point = int(word)
        if points is not None and point > points:
            wrong(number, "point", f"there is no point {point}; the scanner has {points}.")
        if point in ends:
            wrong(number, "point", f"point {point} joins {ends[point]} already.")
            continue
        end = End(connector, cavity)
        single = loom.by_name[connector].ends if connector in loom.by_name else ()
        if not cavity and len(single) == 1:
            end = single[0]
        if end not in known:
            wrong(number, "cavity", f"there is no cavity {end}.", suggestion(str(end), map(str, known)))
        lead = (row.get("lead_ohm") or "").strip()
        try:
            leads[point] = float(lead) if lead else 0.0
        except ValueError:
            wrong(number, "lead_ohm", f"{lead!r} is no resistance in ohms.")
        ends[point] = end
    if problems:
        raise AdapterError(f"{path.name} does not fit", problems=problems)
    return Hookup(points or max(ends, default=1), ends, leads)
