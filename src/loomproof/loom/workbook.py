"""Sheets of an XLSX workbook as tables of text, and back.

A spreadsheet retypes what is typed into it, so each cell is asked what it is: text stays; a number in a
column of names is taken as it is shown and asked about (its leading zero may be gone); a date, a
formula or an error value among names or numbers is refused, for what was typed is lost.

Written workbooks hold text alone, in cells formatted as text, with fixed dates: the same tables give the
same bytes. Refused on reading: archives that unpack to more than any loom needs, and document types
and entities, which no workbook has.
"""

from __future__ import annotations

import datetime
import io
import re
import warnings
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from loomproof.errors import Problem
from loomproof.loom.columns import Column
from loomproof.loom.tables import BIGGEST_BYTES, NumberedRows, Table, heading_of, table_of

if TYPE_CHECKING:
    from openpyxl.cell import Cell, MergedCell
    from openpyxl.cell.read_only import ReadOnlyCell

MOST_PARTS = 1000
MOST_CELLS = 5_000_000
BIGGEST_RATIO = 300
"""A part that unpacks to more than this many times its packed size is a bomb; sheets reach about 50."""

CURE = "Save it again as an Excel workbook (.xlsx)."
_EPOCH = (1980, 1, 1, 0, 0, 0)
_CHOOSE_TO_ROW = 1000
"""A list to choose from hangs on so many rows."""

_CREATED = datetime.datetime(2000, 1, 1)
_ZEROS = re.compile(r"0+(\.0+)?")
_ESCAPE = re.compile(r"_x([0-9A-Fa-f]{4})_")
_DOCTYPE = re.compile(rb"<\s*!\s*(?:DOCTYPE|ENTITY)", re.IGNORECASE)
_CORE_DATES = re.compile(rb"(<dcterms:(created|modified)[^>]*>)[^<]*(?=<)")


@dataclass(slots=True)
class Book:
    """What a workbook holds: tables by sheet name, sheets seen, what is wrong, what is to be asked about."""

    tables: dict[str, Table] = field(default_factory=dict)
    sheets: set[str] = field(default_factory=set)
    problems: list[Problem] = field(default_factory=list)
    asked: list[Problem] = field(default_factory=list)
    readable: bool = True


def read(data: bytes, file: str, wanted: Iterable[str], holds: Mapping[str, Mapping[str, str]]) -> Book:
    """Read the wanted sheets of a workbook (case and blanks around their names do not matter).

    ``holds`` says by sheet and heading what stands there (``names``, ``numbers`` or ``words``).
    """
    book = Book()
    rows, problem = open_sheets(data, file, tuple(wanted), holds, book)
    if problem:
        return Book(problems=[problem], readable=False)
    for name, (title, found) in rows.items():
        book.tables[name], wrong = table_of(found, file, title)
        book.problems += wrong
    return book


def open_sheets(
    data: bytes,
    file: str,
    wanted: tuple[str, ...],
    holds: Mapping[str, Mapping[str, str]],
    book: Book,
    otherwise: str = "words",
) -> tuple[dict[str, tuple[str, NumberedRows]], Problem | None]:
    """Return the rows of the wanted sheets by name, with their titles; an empty ``wanted`` wants them all.

    ``otherwise`` is what a column holds that ``holds`` does not speak of.
    """
    refused = refusal(data, file)
    if refused:
        return {}, refused
    import openpyxl

    found: dict[str, tuple[str, NumberedRows]] = {}
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # About styles and extensions, of which nothing is read.
            opened = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=False)
            inline = not _has_shared_strings(data)
            for sheet in opened.worksheets:
                name = sheet.title.strip().casefold()
                if wanted and name not in wanted:
                    book.asked.append(_unread(file, sheet.title, wanted))
                    continue
                if name in book.sheets:
                    book.problems.append(Problem("a second sheet has this name", file, sheet.title))
                    continue
                book.sheets.add(name)
                # A workbook's own word on how big a sheet is need not be true.
                sheet.reset_dimensions()
                cells = _Cells(file, sheet.title, holds.get(name, {}), inline, otherwise)
                rows, wrong = cells.rows(sheet.iter_rows())
                book.problems += wrong
                book.asked += cells.asked
                # With cells that could not be read the rest is still worth checking.
                found[name] = sheet.title, rows
    except Exception as error:  # The library fails on a damaged file in too many ways to name them.
        text = f"it cannot be read as a workbook ({type(error).__name__}: {error})"
        return {}, Problem(" ".join(text.split()), file, cure=CURE)
    return found, None


def _unread(file: str, sheet: str, wanted: Sequence[str]) -> Problem:
    cure = f"Read are: {', '.join(wanted)}."
    return Problem("this sheet is not read", file, sheet, cure=cure, severity="warning")


def refusal(data: bytes, file: str) -> Problem | None:
    """Say why an archive is not opened at all, before anything in it is believed."""
    cure = CURE
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = archive.infolist()
            if len(parts) > MOST_PARTS:
                return Problem(f"it holds {len(parts)} parts; at most {MOST_PARTS} are read", file, cure=cure)
            left = BIGGEST_BYTES
            for part in parts:
                too_dense = part.file_size > 1_000_000 and (
                    part.file_size > BIGGEST_RATIO * max(1, part.compress_size)
                )
                if part.file_size > left or too_dense:
                    message = f"it unpacks to far more than a loom needs ({part.filename})"
                    return Problem(message, file, cure=cure)
                if not part.filename.lower().endswith((".xml", ".rels", ".vml")):
                    continue
                # The size told in the archive need not be true, so what comes out is counted.
                content = archive.open(part).read(left + 1)
                left -= len(content)
                if left < 0:
                    return Problem(
                        f"it unpacks to far more than a loom needs ({part.filename})", file, cure=cure
                    )
                if _DOCTYPE.search(content) or _DOCTYPE.search(content.replace(b"\0", b"")):
                    message = (
                        f"it declares a document type or entities ({part.filename}), as no workbook does"
                    )
                    return Problem(message, file, cure=cure)
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError, ValueError) as error:
        return Problem(f"it is not a workbook ({error})", file, cure=cure)
    except Exception as error:  # Decompressors have errors of their own (zlib, lzma).
        return Problem(f"it is a damaged workbook ({type(error).__name__})", file, cure=cure)
    return None


def _has_shared_strings(data: bytes) -> bool:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return any(
            name.lower().endswith("sharedstrings.xml") and b"<si" in archive.read(name)
            for name in archive.namelist()
        )


class _Cells:
    """The cells of one sheet as text; collects what is to be asked about, once for each column."""

    def __init__(self, file: str, sheet: str, holds: Mapping[str, str], inline: bool, otherwise: str) -> None:
        self.file = file
        self.sheet = sheet
        self.holds = holds
        self.inline = inline
        self.otherwise = otherwise
        self.kinds: list[tuple[str, str]] = []
        self.retyped: dict[str, tuple[int, str]] = {}
        self.problems: list[Problem] = []

    def rows(
        self, rows: Iterable[Sequence[Cell | MergedCell | ReadOnlyCell]]
    ) -> tuple[NumberedRows, list[Problem]]:
        """Return the rows that hold text, with their numbers, and what is wrong with cells."""
        read: NumberedRows = []
        count = 0
        for number, row in enumerate(rows, 1):
            count += 1 + len(row)
            if count > MOST_CELLS:
                message = f"it holds more than {MOST_CELLS} cells"
                return [], [Problem(message, self.file, self.sheet, number)]
            texts: list[str] = []
            for i, cell in enumerate(row):
                value: Any = cell.value
                if value is None:
                    texts.append("")
                elif isinstance(value, str) and cell.data_type == "s":
                    texts.append(self._text(value))
                else:
                    texts.append(self._other(value, cell, number, i))
            if any(texts):
                if not self.kinds:
                    headings = [heading_of(text) for text in texts]
                    self.kinds = [(heading, self.holds.get(heading, self.otherwise)) for heading in headings]
                read.append((number, texts))
        return read, self.problems

    @property
    def asked(self) -> list[Problem]:
        """What is to be asked about, one for each column."""
        return [
            Problem(
                f"it holds what is not text, read as shown (first {text}); a leading zero may have been lost",
                self.file,
                self.sheet,
                row,
                column,
                "Format the column as text and look at it once more.",
                "warning",
            )
            for column, (row, text) in self.retyped.items()
        ]

    def _kind(self, i: int) -> tuple[str, str]:
        return self.kinds[i] if i < len(self.kinds) else ("", self.otherwise)

    def _text(self, value: str) -> str:
        if self.inline and "_x" in value:
            return _ESCAPE.sub(lambda match: chr(int(match[1], 16)), value)
        return unescaped_controls(value)

    def _other(self, value: Any, cell: Cell | MergedCell | ReadOnlyCell, row: int, i: int) -> str:
        heading, holds = self._kind(i)
        if isinstance(value, bool) and holds != "names":
            return "yes" if value else "no"
        if isinstance(value, bool):
            self.retyped.setdefault(heading, (row, str(value).upper()))
            return str(value).upper()
        if cell.data_type == "d" and holds == "words":
            return str(value)
        if isinstance(value, int | float) and cell.data_type == "n":
            text = shown(value, str(cell.number_format))
            if holds == "names" and not _ZEROS.fullmatch(str(cell.number_format)):
                self.retyped.setdefault(heading, (row, text))
            return repr(value) if holds == "numbers" else text
        what, cure = {
            "d": ("a date", "Format the cell as text and write again what it should say."),
            "f": ("a formula", "Paste its value as text."),
            "e": ("an error value", "Write what it should say."),
        }.get(cell.data_type, ("not text", "Write it as text."))
        found = "" if cell.data_type == "f" else f" ({value})"
        lost = "; what was typed is lost" if what == "a date" else ""
        message = f"the cell holds {what}{found}{lost}"
        self.problems.append(Problem(message, self.file, self.sheet, row, heading, cure))
        return ""


def unescaped_controls(value: str) -> str:
    """Return a shared string with the control characters (a line break in a cell) that it writes as escapes.

    The library has taken the escape's own escape away already; what else is of this form, a person typed.
    """
    if "_x" not in value:
        return value
    return _ESCAPE.sub(lambda m: chr(int(m[1], 16)) if int(m[1], 16) < 32 else m[0], value)


def shown(value: float, number_format: str) -> str:
    """Return a number as the sheet shows it: zeros of its format kept, at most 15 digits."""
    zeros = _ZEROS.fullmatch(number_format)
    if zeros:
        decimals = len(zeros[1]) - 1 if zeros[1] else 0
        width = len(number_format)
        return f"{value:0{width}.{decimals}f}"
    if isinstance(value, int):
        return str(value)
    return f"{value:.15g}"


def write(
    sheets: Mapping[str, tuple[Sequence[str], Sequence[Sequence[str]]]],
    known: Mapping[str, Sequence[Column]] | None = None,
) -> bytes:
    """Return a workbook of the sheets (headings and rows of text); the same sheets give the same bytes.

    ``known`` are columns by sheet: their help is a comment at the heading, their words a list to choose from.
    """
    import openpyxl
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.comments import Comment
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.datavalidation import DataValidation

    book = openpyxl.Workbook(write_only=True)
    book.properties.created = _CREATED
    bold = Font(bold=True)
    for name, (headings, rows) in sheets.items():
        sheet = book.create_sheet(name)
        sheet.freeze_panes = "A2"
        by_name = {column.name: column for column in (known or {}).get(name, ())}
        for i, heading in enumerate(headings):
            column = sheet.column_dimensions[get_column_letter(i + 1)]
            column.number_format = "@"
            longest = max((len(row[i]) for row in rows[:200]), default=0)
            column.width = min(60, max(len(heading), longest) + 2)
            if heading in by_name and by_name[heading].among:
                words = DataValidation("list", formula1=f'"{",".join(by_name[heading].among)}"')
                words.add(f"{get_column_letter(i + 1)}2:{get_column_letter(i + 1)}{_CHOOSE_TO_ROW}")
                sheet.data_validations.append(words)
        for n, row in enumerate((headings, *rows)):
            cells: list[Cell | None] = []
            for text in row:
                if not text:
                    cells.append(None)
                    continue
                cell = WriteOnlyCell(sheet, _ESCAPE.sub(r"_x005F_x\1_", text))
                cell.data_type = "s"  # Text that begins with = or # is still text.
                cell.number_format = "@"
                if n == 0:
                    cell.font = bold
                    if text in by_name:
                        needed = "needed: " if by_name[text].needed else ""
                        cell.comment = Comment(needed + by_name[text].help, "loomproof", 120, 260)
                cells.append(cell)
            sheet.append(cells)
    buffer = io.BytesIO()
    book.save(buffer)
    return _fixed(buffer.getvalue())


def _fixed(data: bytes) -> bytes:
    """Return the archive with its parts in order of name and every date in it fixed."""
    target = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as source, zipfile.ZipFile(target, "w") as archive:
        for name in sorted(source.namelist(), key=lambda name: (name != "[Content_Types].xml", name)):
            content = source.read(name)
            if name == "docProps/core.xml":
                content = _CORE_DATES.sub(rb"\g<1>2000-01-01T00:00:00Z", content)
            info = zipfile.ZipInfo(name, _EPOCH)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = 0o600 << 16
            info.create_system = 3
            archive.writestr(info, content, compresslevel=6)
    return target.getvalue()
