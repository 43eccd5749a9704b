"""Write a loom as a folder or a workbook from which `loomproof.loom.reading` gives the same loom back.

The bytes depend on the loom alone, so that a written loom diffs in git and writing twice changes nothing.
"""

from __future__ import annotations

import contextlib
import errno
import os
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from loomproof.errors import DescriptionError, LoomproofError, Problem, StoreError, Todo, UsageError
from loomproof.loom import colours, columns, identity, workbook
from loomproof.loom.cavities import write_rows
from loomproof.loom.described import WORKBOOKS
from loomproof.loom.model import Component, Loom, Wire
from loomproof.loom.tables import csv_bytes
from loomproof.loom.text import list_of, quoted

Rows = list[dict[str, str]]
_NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO)


def identity_of(loom: Loom, colour_code: str = colours.IEC_60757) -> identity.Identity:
    """Return what ``loom.toml`` says of a loom."""
    return identity.Identity(
        loom.name,
        loom.serial,
        loom.description,
        colour_code,
        settings=loom.settings,
        choices=loom.choices,
        part_number=loom.part_number,
        revision=loom.revision,
        left_out=loom.left_out,
        learned_from=loom.learned_from,
        traced_in=loom.traced_in,
    )


def tables_of(
    loom: Loom, colour_code: str = colours.IEC_60757
) -> dict[str, tuple[tuple[str, ...], list[list[str]]]]:
    """Return the tables of a loom as headings and rows of text; an optional one only with rows.

    Raises `DescriptionError` naming each wire whose colour the code has no letters for.
    """
    found: dict[str, Rows] = {
        "connectors": _connectors(loom),
        "wires": _wires(loom, colour_code),
        "components": [_component(part) for part in loom.components],
        "circuits": _circuits(loom),
        "cavities": _cavities(loom),
        "bundles": _bundles(loom),
    }
    return {
        name: _table(columns.TABLES[name], rows)
        for name, rows in found.items()
        if rows or name not in columns.OPTIONAL
    }


def _table(known: Sequence[columns.Column], rows: Rows) -> tuple[tuple[str, ...], list[list[str]]]:
    used = {name for row in rows for name, text in row.items() if text}
    left_out = {"awg", "section"} - used
    headings = tuple(column.name for column in known if column.name not in left_out)
    return headings, [[row.get(heading, "") for heading in headings] for row in rows]


def number(value: float | None) -> str:
    """Return a number as the shortest text that reads back as the same number."""
    if value is None:
        return ""
    text = repr(value)
    return text[:-2] if text.endswith(".0") else text


def _yes(value: bool | None) -> str:
    return "" if value is None else "yes" if value else "no"


def _connectors(loom: Loom) -> Rows:
    return [
        {
            "connector": c.name,
            "kind": c.kind,
            "cavities": write_rows(c.rows),
            "housing": c.housing,
            "hazard": c.hazard,
            "location": c.location,
            "description": c.description,
        }
        for c in loom.connectors
    ]


def _wires(loom: Loom, colour_code: str) -> Rows:
    problems: list[Problem] = []
    rows = [_wire(wire, colour_code, problems) for wire in loom.wires]
    if problems:
        raise DescriptionError(
            f"the colours of this loom cannot be written in {colour_code}",
            problems=problems,
            cure=f"Write them in {colours.IEC_60757}.",
        )
    return rows


def _wire(wire: Wire, colour_code: str, problems: list[Problem]) -> dict[str, str]:
    try:
        colour = colours.write(wire.colour, colour_code)
    except ValueError as error:
        problems.append(Problem(f"wire {wire.name}: {error}"))
        colour = ""
    return {
        "wire": wire.name,
        "from_connector": wire.a.connector,
        "from_cavity": wire.a.cavity,
        "to_connector": wire.b.connector,
        "to_cavity": wire.b.cavity,
        "colour": colour,
        "csa_mm2": "" if wire.section else number(wire.csa_mm2),
        "section": wire.section,
        "length_m": number(wire.length_m),
        "circuit": wire.circuit,
        "twisted_with": wire.twisted_with,
        "screened_by": wire.screened_by,
        "bundle": wire.bundle,
        "note": wire.note,
    }


def _component(part: Component) -> dict[str, str]:
    return {
        "component": part.name,
        "kind": part.kind,
        "terminals": " ".join(f"{quoted(name)}={end}" for name, end in part.terminals),
        "resistance_ohm": number(part.resistance_ohm),
        "tolerance_pct": number(part.tolerance_pct),
        "forward_v": number(part.forward_v),
        "capacitance_f": number(part.capacitance_f),
        "rating_a": number(part.rating_a),
        "fitted": _yes(part.fitted),
        "pullable": _yes(part.pullable),
        "circuit": part.circuit,
        "note": part.note,
    }


def _circuits(loom: Loom) -> Rows:
    return [
        {
            "circuit": c.name,
            "purpose": c.purpose,
            "designation": c.designation,
            "load_a": number(c.load_a),
            "fuse": c.fuse,
            "needs": list_of(c.needs),
            "need": c.need,
        }
        for c in loom.circuits
    ]


def _cavities(loom: Loom) -> Rows:
    return [
        {
            "connector": facts.end.connector,
            "cavity": facts.end.cavity,
            "spare": _yes(facts.spare),
            "sealed": _yes(facts.sealed),
            "shared": _yes(facts.shared),
            "note": facts.note,
        }
        for facts in loom.cavity_facts
    ]


def _bundles(loom: Loom) -> Rows:
    return [
        {
            "bundle": bundle.name,
            "length_m": number(bundle.length_m),
            "from_place": bundle.a,
            "to_place": bundle.b,
            "note": bundle.note,
        }
        for bundle in loom.bundles
    ]


def folder_files(loom: Loom, colour_code: str = colours.IEC_60757) -> dict[str, bytes]:
    """Return the files of a loom folder by name."""
    files = {identity.FILE: identity.write(identity_of(loom, colour_code))}
    for name, (headings, rows) in tables_of(loom, colour_code).items():
        files[f"{name}.csv"] = csv_bytes(headings, rows)
    return files


def workbook_bytes(loom: Loom, colour_code: str = colours.IEC_60757) -> bytes:
    """Return a loom as an XLSX workbook; the same loom gives the same bytes."""
    keys, choices = identity.sheets_of(identity_of(loom, colour_code))
    sheets = {
        "loom": _table(columns.LOOM, keys),
        **tables_of(loom, colour_code),
    }
    if choices:
        sheets["choices"] = _table(columns.CHOICES, choices)
    return workbook.write(sheets, columns.SHEETS)


def write_loom(loom: Loom, path: Path, *, over: bool = False) -> None:
    """Write a loom as a workbook where the name ends so, else as a folder. Raises as `write_folder` does."""
    if path.suffix.casefold() in WORKBOOKS:
        write_workbook(loom, path, over=over)
    else:
        write_folder(loom, path, over=over)


def write_folder(loom: Loom, path: Path, colour_code: str = colours.IEC_60757, *, over: bool = False) -> None:
    """Write a loom folder. Raises `UsageError` where it would write over files and ``over`` is not set."""
    files = folder_files(loom, colour_code)
    # A table left from an earlier loom would be read with the new one.
    optional = [f"{name}.csv" for name in columns.TABLES if name in columns.OPTIONAL]
    stale = [path / name for name in optional if name not in files]
    _guard([path / name for name in files] + stale, over)
    write_files(files, path, over=True)
    for left in stale:
        left.unlink(missing_ok=True)


def write_files(files: Mapping[str, bytes], path: Path, *, over: bool = False) -> None:
    """Write files into a folder, made where it is missing. Raises `UsageError` as `write_folder` does."""
    _guard([path / name for name in files], over)
    _written(path, lambda: path.mkdir(parents=True, exist_ok=True))
    for name, content in files.items():
        write_file(path / name, content, over=True)


def write_workbook(
    loom: Loom, path: Path, colour_code: str = colours.IEC_60757, *, over: bool = False
) -> None:
    """Write a loom as a workbook. Raises `UsageError` where it would write over a file."""
    write_file(path, workbook_bytes(loom, colour_code), over=over)


def write_file(path: Path, content: bytes, *, over: bool = False) -> None:
    """Write a whole file or none of it. Raises as `unwritten`; `UsageError` where it would write over one."""
    _guard([path], over)
    _written(path, lambda: put(path, content))


def put(path: Path, content: bytes, *, private: bool = False) -> None:
    """Write a file whole or not at all; ``private`` keeps it from everybody but its owner. Raises `OSError`.

    A symbolic link stays, and what it points to is written. What is no file, such as a pipe, is written into.
    """
    target = Path(os.path.realpath(path))
    if target.is_symlink():
        raise OSError(errno.ELOOP, os.strerror(errno.ELOOP))
    if target.exists() and not target.is_file():
        target.write_bytes(content)
        return
    half = target.with_name(target.name + ".part")
    try:
        half.unlink(missing_ok=True)
        half.touch(mode=0o600 if private else 0o666)
        half.write_bytes(content)
        half.replace(target)
    finally:
        with contextlib.suppress(OSError):
            half.unlink(missing_ok=True)


def unwritten(path: Path, error: OSError) -> LoomproofError:
    """Return what to raise for a file that could not be written.

    `StoreError` where there is no room or the disk fails, whoever writes what; `UsageError` for a name that
    nothing can be written to.
    """
    what = f"{path}: cannot be written: {error.strerror or error}"
    if error.errno in _NO_ROOM:
        return StoreError(what, cure="Make room, or name another file.")
    return UsageError(what, cure="Name another file, in a folder that is there and that you may write to.")


def _guard(paths: Sequence[Path], over: bool) -> None:
    there = [path for path in paths if path.exists() and not (path.is_fifo() or path.is_char_device())]
    if there and not over:
        raise UsageError(
            f"{there[0]} exists already", cure="Name another place, or have it written over.", do=Todo.OVER
        )


def _written(path: Path, write: Callable[[], None]) -> None:
    try:
        write()
    except OSError as error:
        raise unwritten(path, error) from error
