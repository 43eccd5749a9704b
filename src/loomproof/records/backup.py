"""Backup and restore.

A backup is a store of its own, one SQLite file, whichever database it was taken from; so it can be opened,
checked and restored to either.
"""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

from sqlalchemy import Connection, func, insert, select, text

from loomproof.errors import LoomproofError, StoreError, Todo, UsageError
from loomproof.records.schema import HANDED_OVER, IDENTITY, METADATA, MIGRATIONS, OUTBOX, RUNS
from loomproof.records.store import Store, open_store

_ORDER = (
    "looms",
    "benches",
    "runs",
    "records",
    "journals",
    "findings",
    "finding_places",
    "readings",
    "repairs",
    "answers",
    "confirmed",
    "adapters",
    "bench_checks",
    "heads_met",
    "certificates",
    "selftests",
    "deletions",
    "deleted_bodies",
    "counted_runs",
    "first_faults",
    "fault_names",
)
"""Tables in the order in which each finds what it refers to."""

_OWN = (MIGRATIONS.name, IDENTITY.name, OUTBOX.name, HANDED_OVER.name)
"""Tables that each store has for itself."""


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
    refuse_no_store(path, "Give a file that a backup was written to.")


def refuse_no_store(path: Path, cure: str) -> None:
    """Refuse a file that holds no store, with this cure. Raises `UsageError`."""
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
