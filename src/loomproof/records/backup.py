"""Backup, restore, and taking in records of another bench.

A backup is a store of its own, one SQLite file, whichever database it was taken from; so it can be opened,
checked and restored to either.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, func, insert, select, text

from loomproof.errors import LoomproofError, RecordError, SealError, StoreError, Todo, UsageError
from loomproof.records.queries import sealed_records
from loomproof.records.schema import IDENTITY, METADATA, MIGRATIONS, REPAIRS, RUNS
from loomproof.records.store import Store, open_store

_ORDER = (
    "looms",
    "benches",
    "runs",
    "records",
    "journals",
    "findings",
    "finding_places",
    "repairs",
    "answers",
    "adapters",
    "bench_checks",
    "certificates",
)
"""Tables in the order in which each finds what it refers to."""

_OWN = (MIGRATIONS.name, IDENTITY.name)
"""Tables that each store has for itself."""


@dataclass(frozen=True, slots=True)
class Taken:
    """What came of taking records in: new ones, ones that were there, and conflicts, each named."""

    added: int
    already: int
    repairs: int
    conflicts: tuple[str, ...]


def backup(store: Store, path: Path) -> int:
    """Write the whole store to one file and return how many runs it holds; `StoreError` if it cannot.

    The file appears under its name when it is complete and on the disk, not before.
    """
    if path.exists():
        raise UsageError(f"{path}: there is a file already", cure="Name another; a backup replaces nothing.")
    temporary = path.with_name(path.name + ".new")
    temporary.unlink(missing_ok=True)
    try:
        with open_store(str(temporary)) as copy:
            runs = _copy(store, copy)
        # One file and no journal beside it, so that it can be carried away.
        connection = sqlite3.connect(temporary)
        try:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            connection.execute("PRAGMA journal_mode = DELETE")
        finally:
            connection.close()
        with temporary.open("rb+") as file:
            os.fsync(file.fileno())
        temporary.replace(path)
    except (OSError, sqlite3.Error) as error:
        if isinstance(error, LoomproofError):
            raise
        raise StoreError(f"{path}: the backup cannot be written: {error}", cure="Make room there.") from error
    finally:
        for tail in ("", "-wal", "-shm"):
            temporary.with_name(temporary.name + tail).unlink(missing_ok=True)
    return runs


def refuse_no_backup(path: Path) -> None:
    """Refuse a file that is no backup, before anything is made for it. Raises `UsageError`."""
    if not path.is_file():
        raise UsageError(f"{path}: there is no such backup", cure="Give a file that a backup was written to.")
    _refuse_no_store(path, "Give a file that a backup was written to.")


def _refuse_no_store(path: Path, cure: str) -> None:
    try:
        open_store(str(path)).close()
    except StoreError as error:
        raise UsageError(error.message, cure=cure) from error


def restore(path: Path, store: Store) -> int:
    """Fill an empty store from a backup and return how many runs it holds now. Raises `UsageError`."""
    refuse_no_backup(path)
    with store.reading() as connection:
        if connection.execute(select(RUNS.c.id).limit(1)).first() is not None:
            raise UsageError(
                f"{store.where}: this store is not empty, and nothing in a store is overwritten",
                cure="Restore to a new one, or take the records in.",
                do=Todo.TAKE_IN,
            )
    with open_store(str(path)) as copy:
        return _copy(copy, store)


def _copy(source: Store, target: Store) -> int:
    """Copy all rows in one transaction on each side."""
    tables = {table.name: table for table in METADATA.sorted_tables if table.name not in _OWN}
    assert set(tables) == set(_ORDER), "a table was added: say here where it comes"
    with source.reading() as reading, target.writing() as writing:
        for name in _ORDER:
            table = tables[name]
            rows = reading.execution_options(yield_per=200).execute(select(table)).mappings()
            for part in rows.partitions():
                writing.execute(insert(table), [dict(row) for row in part])
            if "id" in table.c:
                go_on_counting(writing, name)
        count: int = writing.execute(select(func.count()).select_from(RUNS)).scalar_one()
    return count


def go_on_counting(connection: Connection, table: str) -> None:
    """PostgreSQL counts ids apart from the rows; SQLite looks at them."""
    if connection.dialect.name == "postgresql":
        connection.execute(
            text(
                f"SELECT setval(pg_get_serial_sequence('{table}', 'id'), "
                f"(SELECT COALESCE(MAX(id), 0) + 1 FROM {table}), false)"
            )
        )


def take_in(source: str, store: Store) -> Taken:
    """Take in records of another bench: its store (file or URL), one sealed record, or a folder of them.

    Every seal is verified first. What cannot stand beside what the store has is named and left out.
    """
    added = already = repairs = 0
    conflicts: list[str] = []
    for name, record, journal, noted in _handed_over(source):
        try:
            before = _count(store)
            store.add_run(record, journal)
            new = _count(store) > before
            added, already = added + new, already + (not new)
            for person, done, words, finding, digest in noted:
                there = {
                    (repair.person, repair.done, repair.words, repair.finding)
                    for repair in store.repairs(digest)
                }
                if (person, done, words, finding) not in there:
                    store.add_repair(digest, person, words, done, finding)
                    repairs += 1
        except (SealError, RecordError) as error:
            conflicts.append(f"{name}: {error.message}")
    return Taken(added, already, repairs, tuple(conflicts))


_Noted = list[tuple[str, str, str, int, str]]


def _handed_over(source: str) -> Iterator[tuple[str, bytes, bytes, _Noted]]:
    path = Path(source)
    if "://" not in source and path.is_dir():
        files = sorted(path.glob("*.json"))
        records = [file for file in files if b'"seal"' in file.read_bytes()[-400:]]
        if not records:
            raise UsageError(f"{path}: there is no sealed record in it", cure="They are JSON files.")
        for file in records:
            yield str(file), file.read_bytes(), b"", []
        return
    if "://" not in source and not path.is_file():
        raise UsageError(f"{source}: there is no such file, folder or store")
    if "://" not in source and path.read_bytes()[:1] == b"{":
        yield source, path.read_bytes(), b"", []
        return
    if "://" not in source:
        _refuse_no_store(path, "Give a store, a backup, a sealed record, or a folder of sealed records.")
    with open_store(source) as other:
        for run, record in sealed_records(other):
            with other.reading() as connection:
                rows = connection.execute(
                    select(REPAIRS).where(REPAIRS.c.run_id == run.id).order_by(REPAIRS.c.id)
                ).all()
            noted = [(row.person, row.done, row.words, row.finding, run.hash) for row in rows]
            name = f"{source}: record {run.sequence} of {run.bench}"
            yield name, record, other.journal(run.hash), noted


def _count(store: Store) -> int:
    with store.reading() as connection:
        count: int = connection.execute(select(func.count()).select_from(RUNS)).scalar_one()
    return count
