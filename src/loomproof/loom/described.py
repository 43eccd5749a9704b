"""Read a loom from its folder or its workbook, with all that is wrong with it at once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from loomproof.errors import DescriptionError, Do, Problem, Todo
from loomproof.loom import building, checking, columns, identity, suspicions, tables, workbook
from loomproof.loom.model import Loom

WORKBOOKS = (".xlsx", ".xlsm")
"""Endings of the names of workbooks."""

_Tables = dict[str, tables.Table]
_Found = tuple[_Tables, identity.Identity | None, list[Problem]]


@dataclass(frozen=True, slots=True)
class LoadedLoom:
    """A loom whose description holds together, what is odd about it, and what of it is not read.

    ``left_out`` names the columns that a person keeps for themselves: in the tables, not in the loom.
    """

    loom: Loom
    warnings: tuple[Problem, ...] = ()
    left_out: tuple[Problem, ...] = ()


def load(path: Path | str) -> LoadedLoom:
    """Read a loom folder or an XLSX workbook.

    Raises `DescriptionError` that carries every problem found, each with file, sheet, row and column.
    """
    path = Path(path)
    if path.is_dir():
        return _joined(str(path), *_folder(path), [])
    if path.suffix.casefold() in WORKBOOKS and path.is_file():
        data, unreadable = tables.read_bytes(path)
        if data is None:
            problems = [unreadable] if unreadable else []
            raise DescriptionError(f"{path}: it cannot be read", problems=problems)
        return load_workbook(data, path.name)
    what = "this is neither a loom folder nor a workbook" if path.exists() else "there is no such loom"
    cure = "A loom is a folder with loom.toml and its tables, or one .xlsx workbook."
    if path.suffix.casefold() == ".csv":
        raise DescriptionError(f"{path}: {what}", cure=cure, do=Todo.IMPORT)
    raise DescriptionError(f"{path}: {what}", cure=cure)


def load_workbook(data: bytes, file: str) -> LoadedLoom:
    """Read a loom from the bytes of a workbook called ``file``. Raises as `load` does."""
    return _joined(file, *_workbook(data, file), (file, "choices"))


def load_files(files: Mapping[str, bytes], name: str) -> LoadedLoom:
    """Read a loom from the files of a folder called ``name``, by file name. Raises as `load` does."""
    return _joined(name, *_files(files), [])


def _folder(path: Path) -> _Found:
    files: dict[str, bytes] = {}
    problems: list[Problem] = []
    for name in (identity.FILE, *(f"{table}.csv" for table in columns.TABLES)):
        data, problem = tables.read_bytes(path / name)
        if problem:
            problems.append(problem)
            files[name] = b""
        elif data is not None:
            files[name] = data
    failed = {problem.file for problem in problems}
    found, told, wrong = _files(files)
    # What could not be read has been said; that it is empty is not said as well.
    found = {name: table for name, table in found.items() if table.file not in failed}
    return found, told, problems + [problem for problem in wrong if problem.file not in failed]


def _files(files: Mapping[str, bytes]) -> _Found:
    problems: list[Problem] = []
    told: identity.Identity | None = None
    if identity.FILE in files:
        told, problems = identity.parse(files[identity.FILE])
    else:
        cure = 'It says at least: [loom] and name = "Left tail lamp".'
        problems = [Problem("the file is missing", identity.FILE, cure=cure)]
    found: dict[str, tables.Table] = {}
    for name in columns.TABLES:
        file = f"{name}.csv"
        if file not in files:
            if name not in columns.OPTIONAL:
                problems.append(_missing(name, file))
            continue
        table, wrong = tables.parse_csv(files[file], file)
        problems += wrong
        if table is not None:
            found[name] = table
    return found, told, problems


def _workbook(
    data: bytes, file: str
) -> tuple[_Tables, identity.Identity | None, list[Problem], list[Problem]]:
    holds = {name: {column.name: column.holds for column in known} for name, known in columns.SHEETS.items()}
    book = workbook.read(data, file, columns.SHEETS, holds)
    problems = book.problems
    told: identity.Identity | None = None
    if "loom" in book.tables:
        told, wrong = identity.from_sheets(book.tables["loom"], book.tables.get("choices"))
        problems += wrong
    if book.readable:
        problems += [
            _missing(name, file, name)
            for name in columns.SHEETS
            if name not in book.sheets and name not in columns.OPTIONAL
        ]
    found = {name: table for name, table in book.tables.items() if name in columns.TABLES}
    return found, told, problems, book.asked


def _missing(name: str, file: str, sheet: str = "") -> Problem:
    headings = ",".join(column.name for column in columns.SHEETS[name] if column.needed)
    cure = f"Where there is nothing to list, it still holds its headings: {headings}"
    return Problem("the table is missing", file, sheet, cure=cure)


def _nothing(table: tables.Table) -> Problem:
    cure = "List the connectors, and the wires between them."
    found = table.problem("no connector is listed: there is nothing to prove", cure=cure)
    return replace(found, do=Do(Todo.NEW_LOOM))


def _joined(
    path: str,
    found: _Tables,
    told: identity.Identity | None,
    problems: list[Problem],
    asked: list[Problem],
    choices: tuple[str, str] = (identity.FILE, ""),
) -> LoadedLoom:
    known = told or identity.Identity("unknown")
    built = building.build(found, known.colour_code, known.decimal)
    # A cell that the spreadsheet spoilt has been named; what follows from its being empty has not.
    spoilt = {(p.sheet, p.row, p.column) for p in problems if p.row is not None}
    problems = [*problems, *(p for p in built.problems if (p.sheet, p.row, p.column) not in spoilt)]
    loom = Loom(
        known.name,
        known.serial,
        known.description,
        tuple(built.connectors),
        tuple(built.wires),
        tuple(built.components),
        tuple(built.circuits),
        tuple(built.cavity_facts),
        known.choices,
        known.settings,
        known.part_number,
        known.revision,
        known.left_out,
        known.learned_from,
        known.traced_in,
        tuple(built.bundles),
    )
    files = {name: (table.file, table.sheet) for name, table in found.items()} | {"choices": choices}
    places = checking.Places(files, built.rows, _unread(loom, found))
    if found.keys() >= columns.TABLES.keys() - set(columns.OPTIONAL):
        problems += checking.errors(loom, places)
        if not found["connectors"].rows and not problems:
            problems.append(_nothing(found["connectors"]))
    if problems:
        # What a spreadsheet seems to have changed is often why the rest does not fit: told first.
        problems = [*(replace(each, severity="error") for each in built.asked), *problems]
        count = "one problem" if len(problems) == 1 else f"{len(problems)} problems"
        raise DescriptionError(f"{path}: {count} in the description", problems=problems)
    odd = (*asked, *built.asked, *suspicions.warnings(loom, places))
    return LoadedLoom(loom, odd, tuple(_own_columns(found)))


def _own_columns(found: _Tables) -> Iterator[Problem]:
    for table in found.values():
        for heading in table.headings:
            if heading.startswith("#"):
                message = "this column is a person's own and is not part of the loom"
                yield Problem(message, table.file, table.sheet, None, heading, severity="warning")


def _unread(loom: Loom, found: Mapping[str, tables.Table]) -> dict[str, frozenset[str]]:
    built = {
        "connectors": loom.by_name.keys(),
        "wires": loom.wire_by_name.keys(),
        "components": loom.component_by_name.keys(),
        "circuits": loom.circuit_by_name.keys(),
    }
    unread: dict[str, frozenset[str]] = {}
    for name, names in built.items():
        heading = columns.TABLES[name][0].name
        table = found.get(name)
        if table and heading in table.headings:
            place = table.headings.index(heading)
            unread[name] = frozenset(cells[place] for _, cells in table.rows) - names
    return unread
