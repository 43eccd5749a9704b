"""The simulator's own small reader of an adapter table: which point its leads join to which cavity."""

from __future__ import annotations

from pathlib import Path

from loomproof.errors import AdapterError, Problem, suggestion
from loomproof.loom import tables
from loomproof.loom.model import End, Loom
from loomproof.virtual.build import Hookup

_NEEDED = ("point", "connector", "cavity")
_COLUMNS = "It is a CSV file with the columns point, connector, cavity and, where known, lead_ohm."


def read_hookup(path: Path, loom: Loom, points: int | None = None) -> Hookup:
    """Read a CSV table of ``point``, ``connector``, ``cavity`` and, where known, ``lead_ohm``.

    ``points`` is how many the scanner has; without it, as many as the table needs. Raises
    `AdapterError` with every problem found.
    """
    data, unreadable = tables.read_bytes(path)
    if data is None:
        why = unreadable.message if unreadable else "there is no such file"
        raise AdapterError(f"{path.name} cannot be read: {why}", cure=_COLUMNS)
    rows, unread = tables.csv_rows(data, path.name)
    if unread:
        raise AdapterError(f"{path.name} cannot be read", problems=unread, cure=_COLUMNS)
    headings = [heading.strip().casefold() for heading in rows[0][1]] if rows else []
    missing = [name for name in _NEEDED if name not in headings]
    if missing:
        raise AdapterError(f"{path.name}: the column {missing[0]} is missing", cure=_COLUMNS)
    ends: dict[int, End] = {}
    leads: dict[int, float] = {}
    references: dict[tuple[int, int], float] = {}
    problems: list[Problem] = []
    known = set(loom.cavities)

    def wrong(row: int, column: str, message: str, cure: str = "") -> None:
        problems.append(Problem(message, file=path.name, row=row, column=column, cure=cure))

    for number, cells in rows[1:]:
        row = dict.fromkeys((*_NEEDED, "lead_ohm", "reference_to", "reference_ohm"), "") | dict(
            zip(headings, cells, strict=False)
        )
        word = row["point"].strip()
        connector, cavity = row["connector"].strip(), row["cavity"].strip()
        if not connector and not word:
            continue
        if not (word.isascii() and word.isdecimal()) or int(word) < 1:
            wrong(number, "point", f"{word!r} is no point; a number from 1 is expected.")
            continue
        point = int(word)
        if points is not None and point > points:
            wrong(number, "point", f"there is no point {point}; the scanner has {points}.")
        if row["reference_to"].strip():
            try:
                references[point, int(row["reference_to"])] = float(row["reference_ohm"])
            except ValueError:
                wrong(number, "reference_ohm", "a reference has a point at its other end, and ohms.")
            continue
        if point in ends:
            wrong(number, "point", f"point {point} joins {ends[point]} already.")
            continue
        end = End(connector, cavity)
        single = loom.by_name[connector].ends if connector in loom.by_name else ()
        if not cavity and len(single) == 1:
            end = single[0]
        if end not in known:
            wrong(number, "cavity", f"there is no cavity {end}.", suggestion(str(end), map(str, known)))
        lead = row["lead_ohm"].strip()
        try:
            leads[point] = float(lead) if lead else 0.0
        except ValueError:
            wrong(number, "lead_ohm", f"{lead!r} is no resistance in ohms.")
        ends[point] = end
    if problems:
        raise AdapterError(f"{path.name} does not fit", problems=problems)
    used = max((*ends, *(point for pair in references for point in pair)), default=1)
    return Hookup(points or used, ends, leads, references)
