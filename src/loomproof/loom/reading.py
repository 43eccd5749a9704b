"""Read a loom from whatever describes it: a folder, a workbook, or a file of another kind."""

from __future__ import annotations

from pathlib import Path

from loomproof.errors import DescriptionError
from loomproof.loom import described, harness_file, importers
from loomproof.loom.described import WORKBOOKS, LoadedLoom, load_files, load_workbook

__all__ = ["WORKBOOKS", "LoadedLoom", "load", "load_files", "load_workbook"]


def load(path: Path | str, side_table: Path | str | None = None) -> LoadedLoom:
    """Read a loom folder, an XLSX workbook, a KBL or VEC file (all of its variants at once) with its side
    table, or a file that an installed package reads (`loomproof.loom.importers`).

    Raises `DescriptionError` that carries every problem found, each with its place, and for a side table
    beside anything else.
    """
    path = Path(path)
    if harness_file.is_one(path) and path.is_file():
        return harness_file.read(path, side_table=side_table)
    if side_table is not None:
        raise DescriptionError(f"{path}: a side table goes with a KBL or VEC file", cure="Leave it out.")
    own = path.suffix.casefold() in WORKBOOKS
    if path.is_file() and not own and importers.reads(path):
        return importers.read_other(path)
    return described.load(path)
