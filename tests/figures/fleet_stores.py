"""Stores filled with the rows of `tests.figures.fleet_rows`, tables alone, as quickly as can be."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import psycopg

from loomproof.records.store import open_store

_LOOMS = "SELECT DISTINCT loom, serial FROM runs"
_TABLES = {
    "looms": (
        "id, name, serial, digest, description",
        f"SELECT row_number() OVER (ORDER BY loom, serial), loom, serial, 'd', '' FROM ({_LOOMS})",
    ),
    "benches": ("name", "SELECT DISTINCT bench FROM runs"),
    "runs": (
        "id, run, kind, loom_id, bench, sequence, previous, hash, key, verdict, started, ended, person, "
        "adapter, faults, notes",
        "SELECT run_id, run, kind, loom_id, bench, run_id, '', hash, 'k', verdict, started, ended, person, "
        f"'a', faults, notes FROM runs JOIN (SELECT *, row_number() OVER (ORDER BY loom, serial) AS loom_id "
        f"FROM ({_LOOMS})) USING (loom, serial) ORDER BY run_id",
    ),
    "findings": ("run_id, number, kind, cause, severity, title", ""),
    "finding_places": ("run_id, number, what, name", "SELECT run_id, number, what, name FROM places"),
    "counted_runs": ("run_id, item, simulated, first_proof, failing_since, mended_s, new_faults", ""),
    "first_faults": ("fault, run_id, number", ""),
    "fault_names": (
        "run_id, number, simulated, what, name",
        "SELECT run_id, number, simulated, what, name FROM fault_names ORDER BY simulated, what, name",
    ),
}
"""Columns, and where they come from if not from the table of that name."""

_COUNTED = ("counted_runs", "first_faults", "fault_names")


def _asked(name: str) -> tuple[str, str]:
    columns, query = _TABLES[name]
    return columns, query or f"SELECT {columns} FROM {name}"


def fill_sqlite(database: Any, path: Path, *, counted: bool = True) -> None:
    """Make a store and fill it, or leave it without what each proof adds to the sums."""
    open_store(str(path)).close()
    with closing(sqlite3.connect(path)) as store, store:
        store.execute("PRAGMA synchronous = OFF")
        for name in _TABLES:
            if not counted and name in _COUNTED:
                continue
            columns, query = _asked(name)
            marks = ", ".join("?" for _ in columns.split(","))
            rows = database.execute(query)
            while some := rows.fetchmany(50_000):
                store.executemany(f"INSERT INTO {name} ({columns}) VALUES ({marks})", some)


def fill_postgresql(database: Any, url: str, folder: Path) -> None:
    """Make a store and fill it; what only a superuser may is done for speed: no foreign key is looked up."""
    open_store(url).close()
    with psycopg.connect(url) as store:
        store.execute("SET session_replication_role = replica")
        for name in _TABLES:
            columns, query = _asked(name)
            file = folder / f"{name}.csv"
            database.execute(f"COPY ({query}) TO '{file}' (HEADER false, FORCE_QUOTE *, NULLSTR '')")
            into = f"COPY {name} ({columns}) FROM STDIN (FORMAT csv)"
            with store.cursor() as cursor, cursor.copy(into.encode()) as copy, file.open("rb") as made:
                while some := made.read(1 << 20):
                    copy.write(some)
            file.unlink()
    with psycopg.connect(url, autocommit=True) as store:
        store.execute("VACUUM ANALYZE")  # as a server does by itself, some time after
