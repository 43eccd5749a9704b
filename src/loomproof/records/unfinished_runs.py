"""Proofs that were started, one line each, so that one that was broken off is not forgotten.

A proof that ends seals its record; one that is stopped, loses its bench or is killed leaves a journal and
nothing in the store. The line written at its start is never taken out: a run whose record is in the store
has ended, any other one was broken off, or still runs. That it was sealed is a line too: where the store has
no record of it, the record is gone, and the run was not broken off. A retest and a trace seal nothing: a line
of their own says that they ended. A line that cannot be read, such as the last one before a power cut, is
passed over.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Annotated
from urllib.parse import urlsplit

from pydantic import AfterValidator, TypeAdapter, ValidationError

from loomproof.errors import StoreError
from loomproof.records.data_folder import home

STARTED = "started.jsonl"
"""The file's name in the person's data folder."""


def _dated(text: str) -> str:
    datetime.fromisoformat(text)
    return text


@dataclass(frozen=True, slots=True)
class Started:
    """A proof that was started: which loom, when (RFC 3339), where its journal and its record were to go.

    ``sealed``: a later line says that it was, whatever the store has of it.
    """

    run: str
    loom: str
    started: Annotated[str, AfterValidator(_dated)]
    journal: str
    serial: str = ""
    digest: str = ""
    store: str = ""
    sealed: bool = False


@dataclass(frozen=True, slots=True)
class _Ended:
    ended: str


@dataclass(frozen=True, slots=True)
class _Sealed:
    sealed: str


_CODEC: TypeAdapter[Started | _Ended | _Sealed] = TypeAdapter(Started | _Ended | _Sealed)


def note_started(
    run: str,
    loom_name: str,
    started: str,
    journal_path: Path,
    *,
    serial: str = "",
    digest: str = "",
    store: str | None = None,
) -> None:
    """Add a proof to the end of the file of those started, flushed to the disk.

    ``store`` is what the command was given, ``None`` for the default one. Raises `StoreError` where the
    file cannot be written.
    """
    noted = Started(run, loom_name, started, str(journal_path.absolute()), serial, digest, place_of(store))
    _add({name: value for name, value in asdict(noted).items() if name != "sealed"})


def note_ended(run: str) -> None:
    """Add that a run which seals nothing, a retest or a trace, came to its end. Raises as `note_started`."""
    _add({"ended": run})


def note_sealed(run: str) -> None:
    """Add that a run was sealed. Raises as `note_started`."""
    _add({"sealed": run})


def _add(value: Mapping[str, str]) -> None:
    path = home() / STARTED
    line = json.dumps(value, ensure_ascii=True) + "\n"
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        with path.open("a+b") as file:
            # A line cut short by a power cut must not take this one with it.
            if file.seek(0, os.SEEK_END):
                file.seek(-1, os.SEEK_END)
                line = line if file.read(1) == b"\n" else f"\n{line}"
            file.write(line.encode())
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise StoreError(
            f"{path}: cannot be written: {error.strerror}",
            cure="Make room or rights there, or name another data folder in LOOMPROOF_HOME.",
        ) from error


def read_started(data: bytes) -> tuple[Started, ...]:
    """Read the lines of such a file, oldest first, but for runs that a line says have ended.

    What is no whole line of it is left out.
    """
    lines = [_line(line) for line in data.split(b"\n")]
    ended = {line.ended for line in lines if isinstance(line, _Ended)}
    sealed = {line.sealed for line in lines if isinstance(line, _Sealed)}
    begun = (line for line in lines if isinstance(line, Started) and line.run not in ended)
    return tuple(replace(line, sealed=line.run in sealed) for line in begun)


def _line(line: bytes) -> Started | _Ended | _Sealed | None:
    try:
        return _CODEC.validate_json(line, strict=True)
    except ValidationError:
        return None


def started_here(
    store: str | None = None,
    loom: str | None = None,
    sealed: Callable[[Collection[str]], Collection[str]] = lambda _: (),
) -> tuple[Started, ...]:
    """Return the proofs started on this person's account for a store, of one loom (as the store finds it).

    ``sealed`` returns those of runs named that the store has: a place where no store stands any more, and
    some of whose runs are here, is where this one was before it was moved. A run that went on later counts
    once, as it was started last. Raises `StoreError` where the file is there and cannot be read.
    """
    path = home() / STARTED
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return ()
    except OSError as error:
        raise StoreError(
            f"{path}: cannot be read: {error.strerror}", cure="Give yourself the right to read it."
        ) from error
    lines = read_started(data)
    places = {place_of(store)}
    for place in {one.store for one in lines} - places:
        if Path(place).is_absolute() and not Path(place).exists():
            places |= {place} if sealed({one.run for one in lines if one.store == place}) else set()
    mine = [one for one in lines if one.store in places]
    mine = [one for one in mine if loom is None or loom in (one.loom, one.serial, one.digest)]
    return tuple({one.run: one for one in mine}.values())


def broken_off(started: Iterable[Started], sealed: Collection[str]) -> tuple[Started, ...]:
    """Return those whose run is not among the sealed ones: broken off, or their record is gone."""
    return tuple(one for one in started if one.run not in sealed)


def place_of(store: str | None) -> str:
    """Return where a store is, the same text however it was named, without user and password."""
    if not store:
        return str((home() / "records.db").absolute())
    if "://" not in store:
        return str(Path(store).absolute())
    try:
        parts = urlsplit(store)
    except ValueError:
        return ""  # no address of a store: opening it says so
    if parts.scheme.partition("+")[0] == "sqlite":
        return str(Path(parts.path[1:]).absolute())
    return parts.netloc.rpartition("@")[2] + parts.path
