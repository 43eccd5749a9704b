"""Read a loom from its folder or its workbook, with all that is wrong with it at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from loomproof.errors import DescriptionError, Problem
from loomproof.loom import building, checking, columns, identity, suspicions, tables
from loomproof.loom.model import Loom


@dataclass(frozen=True, slots=True)
class LoadedLoom:
    """A loom whose description holds together, and what about it is legal and suspicious."""

    loom: Loom
    warnings: tuple[Problem, ...] = ()


def load(path: Path | str) -> LoadedLoom:
    """Read a loom folder or an XLSX workbook.

    Raises `DescriptionError` that carries every problem found, each with file, sheet, row and column.
    """
    path = Path(path)
    if path.is_dir():
        found, told, problems = _folder(path)
    else:
        raise DescriptionError(
            f"{path}: there is no loom folder of this name",
            cure="A loom is a folder with loom.toml and its tables, or one .xlsx workbook.",
        )
    return _joined(str(path), found, told, problems)


def _folder(path: Path) -> tuple[dict[str, tables.Table], identity.Identity | None, list[Problem]]:
    problems: list[Problem] = []
    told: identity.Identity | None = None
    try:
        told, problems = identity.parse((path / identity.FILE).read_bytes())
    except FileNotFoundError:
        cure = 'It says at least: [loom] and name = "…".'
        problems = [Problem("the file is missing", identity.FILE, cure=cure)]
    except OSError as error:
        problems = [Problem(f"it cannot be read: {error.strerror or error}", identity.FILE)]
    found: dict[str, tables.Table] = {}
    for name in columns.TABLES:
        file = path / f"{name}.csv"
        if not file.exists():
            if name not in columns.OPTIONAL:
                problems.append(_missing(name, file.name))
            continue
        table, wrong = tables.read_csv(file)
        problems += wrong
        if table is not None:
            found[name] = table
    return found, told, problems


def _missing(name: str, file: str, sheet: str = "") -> Problem:
    headings = ",".join(column.name for column in columns.TABLES[name] if column.needed)
    cure = f"Where there is nothing to list, it still holds its headings: {headings}"
    return Problem("the table is missing", file, sheet, cure=cure)


def _joined(
    path: str, found: Mapping[str, tables.Table], told: identity.Identity | None, problems: list[Problem]
) -> LoadedLoom:
    known = told or identity.Identity("unknown")
    built = building.build(found, known.colour_code)
    problems = [*problems, *built.problems]
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
    )
    files = {name: (table.file, table.sheet) for name, table in found.items()}
    places = checking.Places(files, built.rows, _unread(loom, found))
    if found.keys() >= columns.TABLES.keys() - set(columns.OPTIONAL):
        problems += checking.errors(loom, places)
    if problems:
        count = "one problem" if len(problems) == 1 else f"{len(problems)} problems"
        raise DescriptionError(f"{path}: {count} in the description", problems=problems)
    return LoadedLoom(loom, tuple(suspicions.warnings(loom, places)))


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
