"""A file of lines that only grows: what is kept of a bench, one JSON value a line, oldest first."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TextIO, TypeVar

from pydantic import ValidationError

from loomproof.errors import InputError, StoreError, Todo
from loomproof.results.codec import fault_of

T = TypeVar("T")


ROOM = "Make room or rights there, or name another data folder in LOOMPROOF_HOME."
ASIDE = "Put that file aside and test the bench again."


def append(path: Path, line: str, what: str, room: str = ROOM) -> None:
    """Add a line to the end, flushed to the disk; ``what`` names what is kept, in the plural.

    ``room`` is what to do where it can't be written. Raises `StoreError`.
    """
    with _opened(path, what, room) as file:
        file.write(line + "\n")
        file.flush()
        os.fsync(file.fileno())


def can_append(path: Path, what: str) -> None:
    """See that a line can be kept before the bench is asked. Raises `StoreError`."""
    _opened(path, what, ROOM).close()


def _opened(path: Path, what: str, room: str) -> TextIO:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        return path.open("a", encoding="utf-8", newline="\n")
    except OSError as error:
        raise StoreError(
            f"{what} cannot be kept in {path}: {error.strerror}",
            cure=room,
        ) from None


def kept_lines(
    path: Path,
    of_line: Callable[[str], T],
    what: str,
    aside: str = ASIDE,
    do: Todo | None = Todo.SELFTEST,
) -> Iterator[T]:
    """Yield what a file holds, oldest first; nothing where there is no file. ``what`` names one, singular.

    ``aside`` and ``do`` say what to do about a file that can't be read. ``of_line`` raises
    pydantic's `ValidationError` for a line that is none. Raises `InputError`.
    """
    if not path.exists():
        return
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            f"the {what}s in {path} cannot be read: {error}",
            cure=aside,
            do=do,
        ) from None
    for number, line in enumerate(text.splitlines(), start=1):
        try:
            yield of_line(line)
        except ValidationError as error:
            raise InputError(
                f"{path}, line {number} is no {what}: {fault_of(error)}",
                cure="Take this line out of the file.",
            ) from None
