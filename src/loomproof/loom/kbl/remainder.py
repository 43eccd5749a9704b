"""What KBL has no place for, carried in a KBL file of our own, so that a loom comes back whole.

The files of a loom's folder that the KBL alone would not give back stand as processing information of the
harness, one for each file. They count only while the KBL says what it said when it was written: once another
program has changed a wire, what was carried may be wrong of it, and is left out and told.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from lxml import etree

from loomproof.errors import DescriptionError
from loomproof.loom import identity
from loomproof.loom.columns import TABLES
from loomproof.loom.described import load_files
from loomproof.loom.kbl.document import Document
from loomproof.loom.kbl.elements import Builder
from loomproof.loom.model import Loom
from loomproof.loom.writing import folder_files

DIGEST = "loomproof digest"
"""The instruction that holds the digest of the loom as the KBL alone gives it."""

FILE = "loomproof file "
"""What the type of an instruction that carries a file begins with; the file's name follows."""

_EMPTY = "\u2205"
"""Stands for a file that the folder does not have, since an empty text is no instruction."""


def lacking(loom: Loom, read_back: Loom) -> dict[str, str]:
    """Return the files of the loom's folder that differ from those of the loom read back, by name."""
    wanted, found = folder_files(loom), folder_files(read_back)
    names = sorted(name for name in wanted.keys() | found.keys() if wanted.get(name) != found.get(name))
    return {name: wanted[name].decode() if name in wanted else _EMPTY for name in names}


def instructions(build: Builder, read_back: Loom, files: Mapping[str, str]) -> list[etree._Element]:
    """Return the processing information that carries these files; none where there are none."""
    if not files:
        return []
    told = [(DIGEST, _digest(read_back)), *((FILE + name, text) for name, text in files.items())]
    return [build.instruction("Processing_information", kind, text) for kind, text in told]


def is_ours(kind: str) -> bool:
    """Whether an instruction of this type is one that this module writes."""
    return kind == DIGEST or kind.startswith(FILE)


def restored(document: Document, loom: Loom) -> Loom:
    """Return the loom with what the file carries of it beside its KBL, where that still belongs to it."""
    carried: dict[str, str] = {}
    digest = ""
    for told in document.harness.iterfind("Processing_information"):
        kind = told.findtext("Instruction_type") or ""
        if kind == DIGEST:
            digest = (told.findtext("Instruction_value") or "").strip()
        elif kind.startswith(FILE):
            carried[kind.removeprefix(FILE)] = told.findtext("Instruction_value") or ""
    if not carried:
        return loom
    files = folder_files(loom)
    files.update({name: text.encode() for name, text in carried.items() if name in _NAMES})
    kept = {name: content for name, content in files.items() if carried.get(name) != _EMPTY}
    if digest == _digest(loom):
        try:
            return load_files(kept, document.name).loom
        except DescriptionError as error:
            document.warn(f"what loomproof had added to this file cannot be read and is left out: {error}")
            return loom
    document.warn(
        f"this file was changed since it was written: {', '.join(sorted(carried))} that it carries may no "
        "longer belong to it, and are left out",
        cure="Take bundles, choices, limits and notes from the loom that it was written from.",
    )
    return loom


def _digest(loom: Loom) -> str:
    """Return the digest of a loom read from KBL, whatever its file is called."""
    return replace(loom, description="").digest


_NAMES = frozenset({identity.FILE, *(f"{table}.csv" for table in TABLES)})
