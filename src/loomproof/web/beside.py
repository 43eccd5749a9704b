"""What is wrong or odd in a description, beside the cells that it is said of."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from loomproof.errors import Problem
from loomproof.loom import columns, tables, workbook
from loomproof.loom.reading import WORKBOOKS
from loomproof.loom.tables import Table
from loomproof.loom.text import shortened
from loomproof.web.session import How

MOST_BESIDE = 100
"""So many problems are shown beside their cells; the others are told in a line each."""

CELL = 120
"""So many characters of a cell are shown."""


@dataclass(frozen=True)
class Beside:
    """A problem with the row that it is said of: cells under their headings, and which of them is meant.

    ``rows`` is empty where no table has such a row; ``column`` is "" for the whole row.
    """

    text: str
    error: bool
    place: str
    row: int | None = None
    column: str = ""
    headings: tuple[str, ...] = ()
    cells: tuple[str, ...] = ()

    @property
    def meant(self) -> str:
        """What stands in the cell that is meant."""
        return dict(zip(self.headings, self.cells, strict=False)).get(self.column, "")

    @property
    def others(self) -> tuple[tuple[str, str], ...]:
        """The other cells of the row, each with its heading."""
        pairs = zip(self.headings, self.cells, strict=False)
        return tuple(pair for pair in pairs if pair[0] != self.column)


def shown(problems: Iterable[Problem], path: Path, how: How) -> Iterator[Beside]:
    """Yield each problem beside what stands in its row, in the tables of the loom at ``path``."""
    problems = tuple(problems)
    read = tables_of(path, {(each.file, each.sheet) for each in problems}) if problems else {}
    yield from among(problems, read, how)


def among(problems: Sequence[Problem], read: Mapping[tuple[str, str], Table], how: How) -> Iterator[Beside]:
    """Yield each problem beside what stands in its row, in tables by file and sheet."""
    rows = {place: dict(table.rows) for place, table in read.items()}
    for number, problem in enumerate(problems):
        text = " ".join(filter(None, (_said(problem), how(problem.do))))
        place = (problem.file, problem.sheet)
        cells = rows.get(place, {}).get(problem.row or 0, ())
        if not cells or number >= MOST_BESIDE:
            yield Beside(text, problem.severity == "error", problem.place)
            continue
        headings = read[place].headings
        wrong = next((each for each in headings if each == tables.heading_of(problem.column)), "")
        cut = tuple(shortened(cell, CELL) for cell in cells)
        yield Beside(text, problem.severity == "error", problem.place, problem.row, wrong, headings, cut)


def of_things(problems: Iterable[Problem], path: Path) -> Mapping[tuple[str, str], tuple[str, ...]]:
    """Return what is said of each thing: by table (``wires``) and the thing's name, in words."""
    problems = tuple(each for each in problems if each.row is not None)
    read = tables_of(path, {(each.file, each.sheet) for each in problems}) if problems else {}
    found: dict[tuple[str, str], list[str]] = {}
    for problem in problems:
        table = read.get((problem.file, problem.sheet))
        name = problem.sheet.strip().casefold() or Path(problem.file).stem
        if table is None or name not in columns.TABLES:
            continue
        cells = dict(table.rows).get(problem.row or 0, ())
        named = dict(zip(table.headings, cells, strict=False)).get(columns.TABLES[name][0].name)
        if named:
            found.setdefault((name, named), []).append(_said(problem))
    return {place: tuple(texts) for place, texts in found.items()}


def tables_of(path: Path, wanted: Iterable[tuple[str, str]]) -> dict[tuple[str, str], Table]:
    """Return the tables of a loom that are wanted, by file and sheet, as far as they can be read as text.

    A file is one of a loom's own by its name; a KBL or VEC file has no tables.
    """
    if path.is_dir():
        own = {f"{name}.csv" for name in columns.TABLES}
        read = {file: tables.read_csv(path / file)[0] for file, _ in wanted if file in own}
        return {(file, ""): table for file, table in read.items() if table is not None}
    if path.suffix.casefold() not in WORKBOOKS:
        return {}
    data, _ = tables.read_bytes(path)
    return {} if data is None else tables_in({path.name: data})


def tables_in(files: Mapping[str, bytes]) -> dict[tuple[str, str], Table]:
    """Return the tables of a loom's files, CSV or a workbook, by file and sheet, as far as they are text."""
    found: dict[tuple[str, str], Table] = {}
    for name, data in files.items():
        suffix = PurePosixPath(name).suffix.casefold()
        if suffix in WORKBOOKS:
            book = workbook.read(data, name, columns.SHEETS, {})
            found |= {(name, table.sheet): table for table in book.tables.values()}
        elif suffix == ".csv" and (table := tables.parse_csv(data, name)[0]) is not None:
            found[name, ""] = table
    return found


def _said(problem: Problem) -> str:
    """Return what is wrong and what would be right, without the place, which stands beside it."""
    stop = "" if problem.message.endswith((".", "?", "!", ":")) else "."
    return f"{problem.message}{stop} {problem.cure}".strip()
