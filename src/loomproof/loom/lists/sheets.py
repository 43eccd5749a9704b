"""Files of lists as sheets of plain text: CSV, Markdown tables, workbooks.

Nothing is judged here. What a cell lost (a formula, a date) is kept beside it, for only a column that is
used needs its cells. Cells that a workbook merges downwards all hold the text of the first.
"""

from __future__ import annotations

import csv
import html
import io
import posixpath
import re
import warnings
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree

from loomproof.errors import DescriptionError, Problem
from loomproof.loom import tables, workbook
from loomproof.loom.text import LONGEST

if TYPE_CHECKING:
    from openpyxl.cell import Cell, MergedCell
    from openpyxl.cell.read_only import ReadOnlyCell

MARKDOWN = (".md", ".markdown")
WORKBOOKS = (".xlsx", ".xlsm")
TEXTS = (".csv", ".tsv", ".txt")
ENDINGS = (*TEXTS, *MARKDOWN, *WORKBOOKS)
"""Endings of the names of files that may hold a list."""

MOST_ROWS = 200_000
MOST_COLUMNS = 500

Row = tuple[int, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Sheet:
    """Rows of text with the numbers that a person sees, cells stripped, rows without text left out.

    ``lost`` says by (row, column from 0) what a cell held that could not be read; ``retyped`` are columns
    that hold numbers where text was expected, with the first such row; ``merged`` the cells (row, column)
    that stand under a merge; ``hidden`` where a workbook does not show it, ``hidden_rows`` those of its rows
    that it does not show.
    """

    title: str
    rows: tuple[Row, ...]
    lost: Mapping[tuple[int, int], str] = field(default_factory=dict)
    retyped: Mapping[int, tuple[int, str]] = field(default_factory=dict)
    merged: frozenset[tuple[int, int]] = frozenset()
    hidden: bool = False
    hidden_rows: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Source:
    """The sheets of one file, and what is to be said about how it was read."""

    file: str
    sheets: tuple[Sheet, ...]
    notes: tuple[Problem, ...] = ()


def read(data: bytes, file: str) -> Source:
    """Read the bytes of a list by the ending of its name. Raises `DescriptionError` with place and cure."""
    ending = posixpath.splitext(file.casefold())[1]
    if ending in WORKBOOKS:
        return Source(file, _workbook(data, file))
    text, notes = _text(data, file)
    if ending in MARKDOWN:
        found, stray = _markdown(text, file)
        return Source(file, found, (*notes, *stray))
    return Source(file, (_csv(text, file),), notes)


def _refused(file: str, message: str, row: int | None = None, cure: str = "", sheet: str = "") -> Exception:
    problem = Problem(message, file, sheet, row, cure=cure)
    return DescriptionError(f"{file}: the list cannot be read", problems=[problem])


def _text(data: bytes, file: str) -> tuple[str, tuple[Problem, ...]]:
    if problem := tables.not_text(data, file):
        raise DescriptionError(f"{file}: the list cannot be read", problems=[problem])
    text, problem = tables.decoded(data, file)
    if not problem:
        return text, ()
    if data[:2] in tables.UTF_16:
        raise DescriptionError(f"{file}: the list cannot be read", problems=[problem])
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError:
        raise DescriptionError(f"{file}: the list cannot be read", problems=[problem]) from None
    message = "it is not UTF-8 and was read as Windows-1252"
    cure = "Look at its umlauts and signs; saved again as 'CSV UTF-8' there is no doubt."
    return text, (Problem(message, file, row=problem.row, cure=cure, severity="warning"),)


def _csv(text: str, file: str) -> Sheet:
    csv.field_size_limit(4 * LONGEST)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text), strict=True)
    rows: list[Row] = []
    line = 1
    try:
        for cells in reader:
            rows.append((line, tuple(_cell(text) for text in cells)))
            line = reader.line_num + 1
    except csv.Error as error:
        if "field limit" in str(error):
            cure = f"A cell holds {LONGEST} at most. Is a double quote left open, or is this file no table?"
            message = f"a cell is longer than {csv.field_size_limit()} characters"
            raise _refused(file, message, line, cure) from None
        cure = "A cell that holds a double quote stands in double quotes, the quote within it doubled."
        raise _refused(file, f"the line cannot be read as CSV ({error})", line, cure) from None
    return _sheet("", rows, file)


def _delimiter(text: str) -> str:
    """Return the mark that most of the first lines hold equally often."""
    lines: list[str] = []
    for line in io.StringIO(text, newline=None):
        if line.strip():
            lines.append("".join(line.split('"')[::2]))
        if len(lines) == 40:
            break

    def agreed(mark: str) -> tuple[int, int]:
        counts = [line.count(mark) for line in lines]
        most = max(((counts.count(n), n) for n in set(counts) if n), default=(0, 0))
        return most[0] * min(most[1], 20), int(mark == ",")

    return max(",;\t|", key=agreed)


_UNSEEN: dict[int, int | None] = {
    ord(mark): None for mark in "\xad\u200b\u200c\u200d\u200e\u200f\u2060\ufeff"
}
_WIDE: dict[int, int | None] = {code: code - 0xFEE0 for code in range(0xFF01, 0xFF5F)}
"""Full-width forms of Unicode (FF01 to FF5E): ASCII as East Asian keyboards write it."""


def _cell(text: str) -> str:
    """Return a cell's text: blanks at its ends off, a line break within it kept as one.

    Marks that nobody sees (soft hyphen, zero width) are dropped, and full-width letters and digits are
    written as others write them: a name that looks the same is the same.
    """
    bare = text.translate(_UNSEEN | _WIDE)
    lines = [" ".join(line.replace("\xa0", " ").split()) for line in re.split(r"[\r\n]+", bare)]
    return "\n".join(line for line in lines if line)


def _sheet(title: str, rows: Sequence[Row], file: str) -> Sheet:
    if len(rows) > MOST_ROWS:
        raise _refused(file, f"it holds {len(rows)} rows; at most {MOST_ROWS} are read", sheet=title)
    kept: list[Row] = []
    for number, cells in rows:
        last = max((i for i, text in enumerate(cells, 1) if text), default=0)
        if last > MOST_COLUMNS:
            raise _refused(file, f"it has {last} columns; at most {MOST_COLUMNS} are read", number)
        if last:
            kept.append((number, cells[:last]))
    return Sheet(title, tuple(kept))


_HEAD = re.compile(r"\s{0,3}#{1,6}\s+(.*?)\s*#*\s*")


def _markdown(text: str, file: str) -> tuple[tuple[Sheet, ...], tuple[Problem, ...]]:
    """Return each table of a Markdown text, titled by the heading above it, and rows in no table."""
    found: list[Sheet] = []
    stray: list[Problem] = []
    title, titles = "", set[str]()
    lines = text.splitlines()
    i = 0
    while i < len(lines):
        if match := _HEAD.fullmatch(lines[i]):
            title = match[1]
        if "|" in lines[i] and i + 1 < len(lines) and _is_rule(lines[i + 1]):
            rows: list[Row] = [(i + 1, _piped(lines[i]))]
            i += 2
            while i < len(lines) and "|" in lines[i]:
                rows.append((i + 1, _piped(lines[i])))
                i += 1
            name, n = title or "table", 1
            while name in titles:
                n += 1
                name = f"{title or 'table'} ({n})"
            titles.add(name)
            found.append(_sheet(name, rows, file))
            continue
        if lines[i].strip().startswith("|") or lines[i].rstrip().endswith("|"):
            cure = "A cell holds no line break: write <br>, or mend the table."
            message = "it looks like the row of a table and stands in none: not read"
            stray.append(Problem(message, file, row=i + 1, cure=cure, severity="warning"))
        i += 1
    if not found:
        raise _refused(file, "it holds no table", cure="A Markdown table has a row of headings and a rule.")
    return tuple(found), tuple(stray)


def _is_rule(line: str) -> bool:
    """Whether a line is the rule under a table's headings."""
    cells = line.strip().strip("|").split("|")
    return "-" in line and all(cell.strip().strip(":").strip("-") == "" and "-" in cell for cell in cells)


def _piped(line: str) -> tuple[str, ...]:
    bare = line.strip()
    bare = bare.removeprefix("|")
    bare = bare[:-1] if bare.endswith("|") and not bare.endswith("\\|") else bare
    cells = re.split(r"(?<!\\)\|", bare)
    return tuple(
        _cell(_plain(re.sub(r"<br\s*/?>", "\n", cell, flags=re.IGNORECASE).replace("\\|", "|")))
        for cell in cells
    )


_EMPHASIS = re.compile(r"(\*\*|__)(?=\S)(.+?)(?<=\S)\1")
_ALL_OF_IT = re.compile(r"([*_])(?=[^\s*_])(.+)(?<=[^\s*_])\1")


_LINK = re.compile(r"!?\[([^\[\]]*)\]\([^()\s]*\)")
_STRUCK = re.compile(r"</?(?:s|del|strike)\s*>", re.IGNORECASE)
_TAG = re.compile(r"</?(?:b|i|u|em|strong|code|kbd|span|font|small)(?:\s[^<>]*)?>", re.IGNORECASE)


def _plain(cell: str) -> str:
    """Return the text of a cell of Markdown: emphasis, code and links are none of it; struck stays struck."""
    text = _STRUCK.sub("~~", _TAG.sub("", _LINK.sub(r"\1", cell)))
    text = re.sub(
        r"<sup>.*?</sup>", "†", text, flags=re.IGNORECASE
    )  # A footnote's number is no digit of a name.
    text = _EMPHASIS.sub(r"\2", html.unescape(text).replace("`", "")).strip()
    whole = _ALL_OF_IT.fullmatch(text)
    return re.sub(r"\\([*_#<>])", r"\1", whole[2] if whole else text)


def _workbook(data: bytes, file: str) -> tuple[Sheet, ...]:
    if problem := workbook.refusal(data, file):
        raise DescriptionError(f"{file}: the list cannot be read", problems=[problem])
    import openpyxl

    found: list[Sheet] = []
    try:
        marks = _marks(data)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # About styles and extensions, of which nothing is read.
            opened = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=False)
            for sheet in opened.worksheets:
                sheet.reset_dimensions()
                merges, unseen = marks.get(sheet.title, ((), frozenset()))
                cells = _filled(_cells(sheet.iter_rows(), sheet.title, file), merges)
                shown = sheet.sheet_state == "visible"
                found.append(replace(cells, hidden=not shown, hidden_rows=unseen))
    except DescriptionError:
        raise
    except Exception as error:  # The library fails on a damaged file in too many ways to name them.
        text = f"it cannot be read as a workbook ({type(error).__name__}: {error})"
        raise _refused(file, " ".join(text.split()), cure=workbook.CURE) from None
    if not found:
        raise _refused(file, "it holds no sheet")
    return tuple(found)


def _cells(rows: Any, title: str, file: str) -> Sheet:
    read: list[Row] = []
    lost: dict[tuple[int, int], str] = {}
    retyped: dict[int, tuple[int, str]] = {}
    count = 0
    for number, row in enumerate(rows, 1):
        count += 1 + len(row)
        if count > workbook.MOST_CELLS:
            raise _refused(file, f"it holds more than {workbook.MOST_CELLS} cells", number, sheet=title)
        texts: list[str] = []
        for i, cell in enumerate(row):
            text, what = _value(cell)
            if text and cell.has_style and cell.font is not None and cell.font.strike:
                text = f"~~{text}~~"
            if what == "number":
                retyped.setdefault(i, (number, text))
            elif what:
                lost[number, i] = what
            texts.append(_cell(text))
        if any(texts) or any((number, i) in lost for i in range(len(texts))):
            read.append((number, tuple(texts)))
    sheet = _sheet(title, read, file)
    return replace(sheet, lost=lost, retyped=retyped)


def _value(cell: Cell | MergedCell | ReadOnlyCell) -> tuple[str, str]:
    """Return a cell's text, and ``number`` or what it lost."""
    value: Any = cell.value
    if value is None:
        return "", ""
    if isinstance(value, bool):
        return str(value).upper(), "number"
    if isinstance(value, str) and cell.data_type == "s":
        return workbook.unescaped_controls(value), ""
    if isinstance(value, int | float) and cell.data_type == "n":
        number_format = str(cell.number_format)
        return workbook.shown(value, number_format), "" if number_format[:1] == "0" else "number"
    kinds = {"d": "a date", "f": "a formula", "e": "an error value"}
    return "", kinds.get(cell.data_type, "not text")


_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_REL = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_CELL = re.compile(r"([A-Z]{1,3})(\d{1,7})(?::([A-Z]{1,3})(\d{1,7}))?")


_HIDDEN_ROW = re.compile(rb"<(?:\w+:)?row\s(?=[^>]*?\bhidden=\"(?:1|true)\")[^>]*?\br=\"(\d+)\"")


def _marks(data: bytes) -> dict[str, tuple[tuple[str, ...], frozenset[int]]]:
    """Return by title of a sheet its merged ranges as they are written (``A2:A4``) and its hidden rows."""
    found: dict[str, tuple[tuple[str, ...], frozenset[int]]] = {}
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        names = set(archive.namelist())
        if not {"xl/workbook.xml", "xl/_rels/workbook.xml.rels"} <= names:
            return found
        links = {
            link.get("Id", ""): link.get("Target", "")
            for link in ElementTree.fromstring(archive.read("xl/_rels/workbook.xml.rels"))
        }
        for sheet in ElementTree.fromstring(archive.read("xl/workbook.xml")).iter(f"{_MAIN}sheet"):
            target = links.get(sheet.get(_REL, ""), "")
            path = target.lstrip("/") if target.startswith("/") else posixpath.normpath(f"xl/{target}")
            if path not in names:
                continue
            written = archive.read(path)
            marks = re.findall(rb"<(?:\w+:)?mergeCell\s[^>]*?ref=\"([A-Z0-9:]+)\"", written)
            merges = tuple(mark.decode() for mark in marks[:10_000])
            found[sheet.get("name", "")] = merges, frozenset(map(int, _HIDDEN_ROW.findall(written)))
    return found


def _number(letters: str) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number - 1


def _filled(sheet: Sheet, ranges: Sequence[str]) -> Sheet:
    """Write the text of each merge into the cells below its first; a merge to the right says nothing new."""
    rows = {number: list(cells) for number, cells in sheet.rows}
    merged: set[tuple[int, int]] = set()
    for mark in ranges:
        match = _CELL.fullmatch(mark)
        if not match or not match[3]:
            continue
        left, top, bottom = _number(match[1]), int(match[2]), int(match[4])
        text = rows[top][left] if top in rows and left < len(rows[top]) else ""
        for number in range(top + 1, min(bottom, top + MOST_ROWS) + 1):
            if number not in rows or not text:
                continue
            cells = rows[number]
            cells += [""] * (left + 1 - len(cells))
            if not cells[left]:
                cells[left] = text
                merged.add((number, left))
    filled = tuple((number, tuple(cells)) for number, cells in rows.items())
    return replace(sheet, rows=filled, merged=frozenset(merged))
