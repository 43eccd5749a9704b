"""Read a loom from whatever describes it: a folder, a workbook, or a file of another kind."""

from __future__ import annotations

from pathlib import Path

from loomproof.loom import described, harness_file, importers
from loomproof.loom.described import WORKBOOKS, LoadedLoom, load_files, load_workbook

__all__ = ["WORKBOOKS", "LoadedLoom", "load", "load_files", "load_workbook"]


def load(path: Path | str) -> LoadedLoom:
    """Read a loom folder, an XLSX workbook, or a KBL or VEC file (all of its variants at once), or
    a file that an installed package reads (`loomproof.loom.importers`).

    Raises `DescriptionError` that carries every problem found, each with its place.
    """
    path = Path(path)
    if harness_file.is_one(path) and path.is_file():
        return harness_file.read(path)
    own = path.suffix.casefold() in WORKBOOKS
    if path.is_file() and not own and importers.reads(path):
        return importers.read_other(path)
    return described.load(path)
