"""Tables as text: what a CSV file or a sheet of a workbook holds, before anybody asks what it means.

A `Table` is cells of text under headings, with the row numbers that a person sees. Nothing is retyped.
CSV files are UTF-8 (or UTF-16 where the file says so by its byte order mark); the cells of a line are
parted by the mark that parts the headings: comma, semicolon or tab.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from loomproof.errors import Problem
from loomproof.loom.text import LONGEST, flaw, shortened

BIGGEST_BYTES = 256 * 1024 * 1024
"""A table bigger than this is no loom; it is refused before it is read into memory."""

NumberedRows = list[tuple[int, list[str]]]
"""Rows of text with the numbers that a person sees; the first that holds text is the headings."""

YES = ("yes", "y", "ja", "true", "x", "1")
NO = ("no", "n", "nein", "false", "0")
"""What counts as yes and as no in a cell."""


@dataclass(frozen=True, slots=True)
class Table:
    """Cells of text under headings. ``rows`` holds (row number, cells); rows without text are left out."""

    file: str
    headings: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    sheet: str = ""

    def problem(self, message: str, row: int | None = None, column: str = "", cure: str = "") -> Problem:
        """Return a problem placed in this table."""
        return Problem(shortened(message, 500), self.file, self.sheet, row, shortened(column), cure)


def table_of(rows: NumberedRows, file: str, sheet: str = "") -> tuple[Table, list[Problem]]:
    """Make a table of rows whose first is the headings; says what is wrong with headings and cells."""
    problems: list[Problem] = []
    if not rows:
        table = Table(file, (), (), sheet)
        return table, [table.problem("it is empty", cure="A line of headings is expected first.")]
    heading_row, raw = rows[0]
    headings = tuple(heading_of(text) for text in raw)
    while headings and not headings[-1]:
        headings = headings[:-1]
    width = len(headings)
    table = Table(file, headings, (), sheet)
    for i, heading in enumerate(headings):
        if not heading:
            problems.append(
                table.problem(
                    f"heading {i + 1} is empty", heading_row, cure="Name it, or take the column out."
                )
            )
        elif heading in headings[:i]:
            problems.append(
                table.problem(
                    f"the heading {heading!r} stands there twice", heading_row, heading, "Keep one of them."
                )
            )
    kept: list[tuple[int, tuple[str, ...]]] = []
    blank = ("",) * width
    for row, raw_cells in rows[1:]:
        cells = tuple(text.strip() for text in raw_cells)
        if not any(cells):
            continue
        if len(cells) > width:
            if any(cells[width:]):
                problems.append(
                    table.problem(
                        f"it has {len(cells)} cells under {width} headings",
                        row,
                        cure="Put a text that holds the parting mark in double quotes.",
                    )
                )
            cells = cells[:width]
        elif len(cells) < width:
            cells += blank[len(cells) :]
        if not "".join(cells).isprintable():
            for heading, text in zip(headings, cells, strict=True):
                wrong = flaw(text)
                if wrong:
                    problems.append(
                        table.problem(f"the cell {wrong}", row, heading, "Take it out, or put a blank there.")
                    )
                    break
            else:
                kept.append((row, cells))
            continue
        kept.append((row, cells))
    return Table(file, headings, tuple(kept), sheet), problems


def heading_of(text: str) -> str:
    """Return a heading as it is looked for: small letters, words joined by underscores."""
    return "_".join(text.strip().casefold().replace("_", " ").split())


def read_bytes(path: Path) -> tuple[bytes | None, Problem | None]:
    """Return the bytes of a file (`None` where there is none), or why they cannot be had."""
    try:
        if not path.is_file() and path.exists():
            return None, Problem("it is not a file", path.name)
        size = path.stat().st_size
        if size > BIGGEST_BYTES:
            return None, Problem(f"it holds {size} bytes; at most {BIGGEST_BYTES} are read", path.name)
        return path.read_bytes(), None
    except FileNotFoundError:
        return None, None
    except OSError as error:
        return None, Problem(f"it cannot be read: {error.strerror or error}", path.name)


def read_csv(path: Path) -> tuple[Table | None, list[Problem]]:
    """Read a CSV file as a table, with everything that is wrong with it as text."""
    data, problem = read_bytes(path)
    if data is None:
        return None, [problem or Problem("there is no such file", path.name)]
    return parse_csv(data, path.name)


def parse_csv(data: bytes, file: str) -> tuple[Table | None, list[Problem]]:
    """Read the bytes of a CSV file as a table, with everything that is wrong with it as text."""
    rows, problems = csv_rows(data, file)
    if problems:
        return None, problems
    return table_of(rows, file)


def csv_rows(data: bytes, file: str, heading_row: int = 1) -> tuple[NumberedRows, list[Problem]]:
    """Read the bytes of a CSV file as rows of cells with their line numbers, rows without text left out.

    The line ``heading_row`` (or the first below it that is not empty) says which mark parts cells.
    """
    if problem := not_text(data, file):
        return [], [problem]
    text, problem = decoded(data, file)
    if problem:
        return [], [problem]
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text, heading_row), strict=True)
    rows: NumberedRows = []
    line = 1
    # The module's limit is shared by the whole process; every reader here sets the same one.
    csv.field_size_limit(4 * LONGEST)
    try:
        for cells in reader:
            if any(cells):
                rows.append((line, cells))
            line = reader.line_num + 1
    except csv.Error as error:
        if "field limit" in str(error):
            message = f"a cell is longer than {csv.field_size_limit()} characters"
            cure = f"A cell holds {LONGEST} at most. Is a double quote left open, or is this file no table?"
            return [], [Problem(message, file, row=line, cure=cure)]
        cure = "A cell that holds a double quote stands in double quotes, the quote within it doubled."
        return [], [Problem(f"the line cannot be read as CSV ({error})", file, row=line, cure=cure)]
    return rows, []


_NO_TEXT = (
    (b"PK\x03\x04", "a workbook or another zip file"),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "a workbook of the old kind (.xls)"),
    (b"%PDF-", "a PDF"),
)
"""How files begin that get taken for a table, and what they are."""

_LOOKED_AT_BYTES = 4096

UTF_16 = (b"\xff\xfe", b"\xfe\xff")
"""The byte order marks."""


def not_text(data: bytes, file: str) -> Problem | None:
    """Say that a file is no text at all: a known kind, or one byte in twenty of its start is zero.

    A stray zero byte is left to whoever reads the cell. UTF-16 that says so at its start may hold any.
    """
    what = next((name for mark, name in _NO_TEXT if data.startswith(mark)), "")
    start = data[:_LOOKED_AT_BYTES]
    if not what and start[:2] not in UTF_16 and 20 * start.count(0) > len(start):
        what = "a binary file"
    if not what:
        return None
    return Problem(f"it is {what}, and no CSV", file, cure="Save the table as 'CSV UTF-8'.")


def decoded(data: bytes, file: str) -> tuple[str, Problem | None]:
    """Return the text of a file: UTF-8, or UTF-16 where it says so at its start; else what is wrong."""
    coding = "utf-16" if data[:2] in UTF_16 else "utf-8-sig"
    try:
        return data.decode(coding), None
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        found = data[error.start : error.start + 1].hex().upper()
        return "", Problem(
            f"the byte {found} is not {'UTF-16' if coding == 'utf-16' else 'UTF-8'}",
            file,
            row=line,
            cure="Save it again as 'CSV UTF-8'.",
        )


def _delimiter(text: str, heading_row: int) -> str:
    lines = io.StringIO(text, newline=None)
    head = next((line for n, line in enumerate(lines, 1) if n >= heading_row and line.strip()), "")
    bare = "".join(head.split('"')[::2])
    return max(",;\t", key=lambda mark: (bare.count(mark), mark == ","))


def csv_bytes(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> bytes:
    """Return a table as CSV: UTF-8, commas, a line feed after each line."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(headings)
    writer.writerows(rows)
    return text.getvalue().encode()
