"""The files that a job leaves, and the names and times of runs."""

from __future__ import annotations

import re
import secrets
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from loomproof.errors import Todo, UsageError
from loomproof.loom import writing

if TYPE_CHECKING:
    from loomproof.results.document import Document


def now() -> datetime:
    """Return the time, with its zone."""
    return datetime.now(UTC)


def rfc3339(moment: datetime) -> str:
    """Return a time in UTC as RFC 3339 text, to the millisecond."""
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def rfc3339_seconds(moment: datetime) -> str:
    """Return a time with its zone as RFC 3339 text, to the second."""
    return moment.isoformat(timespec="seconds")


def run_name(moment: datetime) -> str:
    """Return a name for a run that sorts by time and is unique."""
    return f"{moment:%Y%m%d-%H%M%S}-{secrets.token_hex(3)}"


def name_of(run: str, loom: str, serial: str = "") -> str:
    """Return what the files of a run that go from hand to hand begin with: its name, the loom's, the serial.

    Whatever characters those have; names are cut at `_MOST` letters.
    """
    kept = (
        "".join(mark if mark.isalnum() or mark in "-_" else "-" for mark in text) for text in (loom, serial)
    )
    short = (re.sub("-+", "-", text).strip("-")[:_MOST] for text in kept)
    safe = "".join(mark if mark.isalnum() or mark in "-_." else "-" for mark in run).strip(".")
    return "_".join(filter(None, (safe, *short)))


_MOST = 40


def write_file(path: Path, data: bytes, *, private: bool = False) -> None:
    """Write a file as `loomproof.loom.writing.put` does. Raises as `unwritten` there."""
    try:
        writing.put(path, data, private=private)
    except OSError as error:
        raise writing.unwritten(path, error) from error


def ends_in(path: Path, *endings: str) -> None:
    """Refuse a name that promises something else than what will be in the file. Raises `UsageError`.

    What is there and is no file, such as a pipe, has any name.
    """
    if path.suffix.casefold() in endings or (path.exists() and not (path.is_file() or path.is_dir())):
        return
    *first, last = endings
    named = f"{', '.join(first)} or {last}" if first else last
    raise UsageError(
        f"{path}: a name that ends in {named} is expected", cure=f"Name it {path.stem}{endings[0]}."
    )


_OF_FILES = re.compile(r"\.(kbl|vec|pdf|csv|tsv|md|xlsx?|xlsm|ods|json|svg|png|jpg|zip)")
"""Endings that nobody gives a folder."""


def folder_or(path: Path, *endings: str) -> None:
    """Refuse a new folder of a name that promises a file, unless it ends so. Raises `UsageError`."""
    suffix = path.suffix.casefold()
    if _OF_FILES.fullmatch(suffix) and suffix not in endings and not path.is_dir():
        expected = " or ".join(("a folder", *endings[:1]))
        raise UsageError(f"{path}: {expected} is expected", cure=f"Name it {path.stem}.")


def folder_for(out: Path) -> None:
    """Make the folder that results go to. Raises `UsageError` where it cannot be made."""
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(
            f"the folder {out} cannot be made: {error.strerror}", cure="Name another one.", do=Todo.OUT
        ) from None


def json_of(document: Document) -> bytes:
    """Return the results document as people and programs read it."""
    from pydantic import TypeAdapter  # Python's own writer takes ten times as long where it indents

    return TypeAdapter(object).dump_json(document.plain(), indent=2) + b"\n"
