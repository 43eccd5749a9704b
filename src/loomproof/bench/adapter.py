"""Adapters: which point of the bench goes to which cavity of the loom, and its lead's resistance."""

from __future__ import annotations

import csv
import hashlib
import io
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from pathlib import Path

from loomproof.bench.references import (
    REFERENCE_COLUMNS,
    Reference,
    is_reference,
    read_reference,
    shared_points,
)
from loomproof.errors import AdapterError, Problem, Todo, suggestion
from loomproof.loom import tables
from loomproof.loom.model import End, Loom
from loomproof.loom.text import pointed
from loomproof.loom.writing import write_file

COLUMNS = ("point", "connector", "cavity", "lead_ohm", "lead_u_ohm", "zeroed")
"""The columns of an adapter table. The last three may be left out or empty."""

ZERO_COLUMNS = ("spread_ohm", "meter")
"""What zeroing adds; left out of a table whose leads were never zeroed."""

OPEN_COLUMNS = ("lead_pf", "lead_u_pf", "open_zeroed")
"""What zeroing with nothing on the leads adds: the picofarads that board and lead add to a reading."""

ZERO_DAYS = 1
"""So long a meter's offset counts as the one that was learned: leads are zeroed on the day (common
practice)."""


MOST_LEAD_OHM = 10.0
"""A lead of more is broken, or no lead: metres of thin wire have one ohm. Common practice, no source."""


MOST_LEAD_F = 1e-9
"""A lead of more has something on it: five metres beside others have half as much (100 pF/m, common
practice)."""


@dataclass(frozen=True, slots=True)
class Lead:
    """One lead: a point and the cavity that it goes to.

    ``lead_ohm`` is its resistance with that of the scanner's switch, ``lead_u_ohm`` the expanded uncertainty
    of that (k = 2), ``zeroed`` the date on which both were learned, "" where they were not. What was learned
    holds half of the meter's offset and may be below zero; ``meter`` is who learned it, and ``spread_ohm``
    the standard deviation of its single readings then. ``lead_f`` is what it and its point add to a
    capacitance reading, F, ``lead_u_f`` the expanded uncertainty of that (k = 2), ``open_zeroed`` the date on
    which both were learned, "" where they were not. ``row`` is where it stands in its table, 0 where
    there is none.
    """

    point: int
    end: End
    lead_ohm: float = 0.0
    lead_u_ohm: float = 0.0
    zeroed: str = ""
    spread_ohm: float = 0.0
    meter: str = ""
    row: int = field(default=0, compare=False)
    lead_f: float = 0.0
    lead_u_f: float = 0.0
    open_zeroed: str = ""

    def standard_u_ohm(self, unknown_u_ohm: float) -> float:
        """Return the standard uncertainty of what is taken off for this lead, Ω.

        That of a learned lead was learned with it. A figure that somebody wrote down may be anything from
        nothing to twice itself (rectangular, JCGM 100:2008, 4.3.7), and no lead is known better than
        ``unknown_u_ohm`` by that.
        """
        if self.zeroed or self.lead_u_ohm:
            return self.lead_u_ohm / 2.0
        return max(unknown_u_ohm, self.lead_ohm / math.sqrt(3.0))


@dataclass(frozen=True)
class Adapter:
    """A whole adapter. ``entries`` stand in the order of the points; ``file`` is the table it came from.

    >>> import loomproof as lp
    >>> adapter = lp.Adapter.in_order(lp.load("fixtures/tail_lamp"))
    >>> adapter.point_of[lp.End("LAMP", "2")]
    8
    """

    name: str
    entries: tuple[Lead, ...]
    file: str = field(default="", compare=False)
    references: tuple[Reference, ...] = ()

    @classmethod
    def in_order(cls, loom: Loom) -> Adapter:
        """Return the adapter that takes cavities in the description's order on points 1, 2, 3, …"""
        return in_order(loom.cavities)

    @classmethod
    def read(cls, path: Path | str) -> Adapter:
        """Read an adapter table (CSV). Raises `AdapterError` that names each wrong cell."""
        return read_adapter(Path(path))

    def write(self, path: Path | str) -> None:
        """Write the adapter table. Raises `UsageError` or `StoreError` where it cannot be."""
        write_adapter(self, Path(path))

    @cached_property
    def point_of(self) -> Mapping[End, int]:
        """Points by cavity."""
        return {entry.end: entry.point for entry in self.entries}

    @cached_property
    def end_of(self) -> Mapping[int, End]:
        """Cavities by point."""
        return {entry.point: entry.end for entry in self.entries}

    @property
    def points(self) -> tuple[int, ...]:
        """All points in use, ascending."""
        return tuple(sorted(entry.point for entry in self.entries))

    @property
    def zeroed(self) -> str:
        """The oldest date on which a lead was zeroed; "" where any was not."""
        dates = [entry.zeroed for entry in self.entries]
        return min(dates) if dates and all(dates) else ""

    def offset_spread_ohm(self, meter: str, date: str) -> float | None:
        """Return the standard deviation of a reading where this meter's fixed offset drops out with the
        leads.

        So it does where every lead was zeroed with this ``meter``, not over `ZERO_DAYS` before ``date`` (RFC
        3339) nor after it, and its readings spread at all; else ``None``.
        """
        if not self.entries or any(lead.meter != meter or not lead.zeroed for lead in self.entries):
            return None
        day = datetime.fromisoformat(date).date()
        ages = [(day - datetime.fromisoformat(lead.zeroed).date()).days for lead in self.entries]
        spreads = [lead.spread_ohm for lead in self.entries]
        if not all(0 <= age <= ZERO_DAYS for age in ages) or min(spreads) <= 0.0:
            return None
        return max(spreads)

    @property
    def leads_ohm(self) -> tuple[float, float]:
        """The least and the most that is taken off for a lead, Ω."""
        ohms = [entry.lead_ohm for entry in self.entries]
        return (min(ohms), max(ohms)) if ohms else (0.0, 0.0)

    @property
    def leads_farad(self) -> tuple[float, float]:
        """The least and the most that is taken off a capacitance reading for a lead, F."""
        farads = [entry.lead_f for entry in self.entries]
        return (min(farads), max(farads)) if farads else (0.0, 0.0)

    @property
    def open_zeroed(self) -> str:
        """The oldest date on which what a lead adds to capacitance was learned; "" where any was not."""
        dates = [entry.open_zeroed for entry in self.entries]
        return min(dates) if dates and all(dates) else ""

    @cached_property
    def wiring(self) -> str:
        """SHA-256 over which point goes to which cavity, hex: the same adapter, however it was zeroed."""
        pairs = sorted((entry.point, str(entry.end)) for entry in self.entries)
        return hashlib.sha256(repr(pairs).encode()).hexdigest()

    @cached_property
    def digest(self) -> str:
        """SHA-256 over the table, hex; the name does not count."""
        return hashlib.sha256(table_of(self).encode()).hexdigest()


def in_order(cavities: Sequence[End], name: str = "in order") -> Adapter:
    """Return the adapter that joins point 1 to the first cavity, point 2 to the second, and so on."""
    return Adapter(name, tuple(Lead(i, end) for i, end in enumerate(cavities, start=1)))


def read_adapter(path: Path, *, shared: bool = False) -> Adapter:
    """Read an adapter table (CSV, UTF-8). Raises `AdapterError` with every problem found.

    With ``shared`` it is a table of plugs that are on at different times: leads of two connectors may go to
    one point.
    """
    if path.is_dir():
        raise AdapterError(f"{path} is a folder; an adapter table is one CSV file", do=Todo.NEW_ADAPTER)
    data, unreadable = tables.read_bytes(path)
    if unreadable is not None:
        message = f"the adapter table {path} cannot be read: {unreadable.message}"
        raise AdapterError(message, do=Todo.NEW_ADAPTER)
    if data is None:
        raise AdapterError(f"there is no adapter table {path}", do=Todo.NEW_ADAPTER)
    return _parsed(data, path.stem, path.name, shared=shared)


def parse_adapter(
    text: str | bytes, *, name: str, file: str = "adapter table", shared: bool = False
) -> Adapter:
    """Read an adapter from its table, as text or as the bytes of a file, as `read_adapter` does."""
    return _parsed(text if isinstance(text, bytes) else text.encode(), name, file, shared=shared)


def _parsed(data: bytes, name: str, file: str, *, shared: bool = False) -> Adapter:
    rows, unreadable = tables.csv_rows(data, file)
    if unreadable:
        raise AdapterError(
            f"the adapter table {file} cannot be read",
            problems=unreadable,
            do=Todo.NEW_ADAPTER,
        )
    heads = [head.strip().casefold() for head in rows[0][1]] if rows else []
    problems = [
        Problem(f"the column {column} is missing", file, row=1, cure=f"Columns: {', '.join(COLUMNS)}.")
        for column in COLUMNS[:3]
        if column not in heads
    ]
    problems += [
        Problem(
            f"there is no column {head!r} in an adapter table",
            file,
            row=1,
            cure=suggestion(head, COLUMNS) or f"Columns: {', '.join(COLUMNS)}.",
        )
        for head in heads
        if head not in (*COLUMNS, *ZERO_COLUMNS, *OPEN_COLUMNS, *REFERENCE_COLUMNS)
    ]
    problems += [
        Problem(f"the column {head} stands there twice", file, row=1)
        for head in dict.fromkeys(heads)
        if heads.count(head) > 1
    ]
    leads: list[Lead] = []
    references: list[Reference] = []
    if not problems:
        for number, row in rows[1:]:
            if not any(cell.strip() for cell in row):
                continue
            if len(row) > len(heads):
                problems.append(Problem(f"{len(row)} cells stand under {len(heads)} heads", file, row=number))
                continue
            cells = dict.fromkeys((*COLUMNS, *ZERO_COLUMNS, *OPEN_COLUMNS, *REFERENCE_COLUMNS), "") | dict(
                zip(heads, (cell.strip() for cell in row), strict=False)
            )
            if is_reference(cells):
                reference, found = read_reference(cells, file, number)
                problems += found
                references += [] if reference is None else [reference]
                continue
            lead, found = _lead(cells, file, number)
            problems += found
            if lead is not None:
                problems += _doubles(lead, leads, file, number, shared=shared)
                leads.append(lead)
        problems += [
            Problem(f"point {point} has a reference and something else", file, column="point")
            for point in shared_points(references, [lead.point for lead in leads])
        ]
        if not leads and not (shared and references) and not problems:
            problems.append(Problem("the adapter table has no rows", file))
    if problems:
        raise AdapterError(f"the adapter table {file} is wrong in {places_of(problems)}", problems=problems)
    return Adapter(name, tuple(sorted(leads, key=lambda lead: lead.point)), file, tuple(references))


def table_of(adapter: Adapter) -> str:
    """Return the adapter as the text of its table."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    learned = any(lead.meter or lead.spread_ohm for lead in adapter.entries)
    opened = any(lead.open_zeroed for lead in adapter.entries)
    columns = (*COLUMNS, *(ZERO_COLUMNS if learned else ()), *(OPEN_COLUMNS if opened else ()))
    writer.writerow((*columns, *REFERENCE_COLUMNS) if adapter.references else columns)
    for lead in adapter.entries:
        cells = (
            lead.point,
            lead.end.connector,
            lead.end.cavity,
            _figure(lead.lead_ohm),
            _figure(lead.lead_u_ohm),
            lead.zeroed,
        )
        more: tuple[str, ...] = (_figure(lead.spread_ohm), lead.meter) if learned else ()
        if opened:
            learned_f = (_figure(lead.lead_f * 1e12), _figure(lead.lead_u_f * 1e12), lead.open_zeroed)
            more += learned_f if lead.open_zeroed else ("", "", "")
        writer.writerow((*cells, *more))
    for each in adapter.references:
        blank = ("",) * (len(columns) - 1)
        writer.writerow((each.a, *blank, each.b, _figure(each.ohm), _figure(each.u_ohm)))
    return out.getvalue()


def write_adapter(adapter: Adapter, path: Path) -> None:
    """Write an adapter table, whole or not at all. Raises `UsageError` or `StoreError` where it cannot be."""
    write_file(path, table_of(adapter).encode(), over=True)


def _lead(cells: Mapping[str, str], file: str, row: int) -> tuple[Lead | None, list[Problem]]:
    problems = []
    point = cells["point"]
    if not (point.isascii() and point.isdigit() and int(point) > 0):
        problems.append(
            Problem(
                f"{point!r} is no point",
                file,
                row=row,
                column="point",
                cure="Points are numbered 1, 2, 3 and so on.",
            )
        )
    for column in ("connector", "cavity"):
        if not cells[column]:
            problems.append(Problem("the cell is empty", file, row=row, column=column))
    ohms = []
    for column in ("lead_ohm", "lead_u_ohm", "spread_ohm"):
        try:
            value = float(pointed(cells[column]) or 0.0)
        except ValueError:
            value = math.nan
        # A learned lead holds half of its meter's offset, which may be below zero.
        least_ohm = -MOST_LEAD_OHM if column == "lead_ohm" and cells["zeroed"] and cells["meter"] else 0.0
        if not least_ohm <= value <= MOST_LEAD_OHM:
            found = f"{cells[column]!r} is no resistance of a lead, 0 to {MOST_LEAD_OHM:g} ohm"
            cure = "Write a figure such as 0.12, or have the leads zeroed: that measures it."
            problems.append(Problem(found, file, row=row, column=column, cure=cure))
        ohms.append(value)
    for column in ("zeroed", "open_zeroed"):
        if not _is_date(cells[column]):
            found, cure = f"{cells[column]!r} is no date", "Write 2026-05-04, or nothing where it never was."
            problems.append(Problem(found, file, row=row, column=column, cure=cure))
    farads = []
    for column in ("lead_pf", "lead_u_pf"):
        try:
            farad = float(pointed(cells[column]) or 0.0) * 1e-12
        except ValueError:
            farad = math.nan
        if not abs(farad) <= MOST_LEAD_F:
            found = f"{cells[column]!r} is no capacitance of a lead, at most {MOST_LEAD_F * 1e12:g} pF"
            problems.append(Problem(found, file, row=row, column=column, cure="Have the leads zeroed open."))
        farads.append(farad)
    if problems:
        return None, problems
    end = End(cells["connector"], cells["cavity"])
    learned = (cells["zeroed"], ohms[2], cells["meter"], row, farads[0], farads[1], cells["open_zeroed"])
    return Lead(int(point), end, ohms[0], ohms[1], *learned), []


def _is_date(text: str) -> bool:
    try:
        return not text or bool(datetime.fromisoformat(text))
    except ValueError:
        return False


def _doubles(lead: Lead, leads: Iterable[Lead], file: str, row: int, *, shared: bool) -> list[Problem]:
    problems = []
    for other in leads:
        same_plug = other.end.connector == lead.end.connector
        if other.point == lead.point and (same_plug or not shared):
            problems.append(
                Problem(
                    f"point {lead.point} goes to {other.end} and to {lead.end}",
                    file,
                    row=row,
                    column="point",
                    cure="A point has one lead; give the other one its own.",
                )
            )
        if other.end == lead.end:
            problems.append(
                Problem(
                    f"{lead.end} is reached from point {other.point} and from point {lead.point}",
                    file,
                    row=row,
                    column="cavity",
                    cure="A cavity has one lead; take the other row out.",
                )
            )
    return problems


def _figure(value: float) -> str:
    return f"{value:.6g}"


def places_of(problems: Sequence[Problem]) -> str:
    """Return how many places a table is wrong in, in words."""
    return "one place" if len(problems) == 1 else f"{len(problems)} places"
