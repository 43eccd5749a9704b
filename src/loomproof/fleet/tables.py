"""Where the questions are asked: the tables of a store or of a data set, alike in their columns.

``runs``: run_id, run, kind ("proof" or "correction"), loom, serial, bench, person, verdict, faults, ended
(RFC 3339, UTC). ``findings``: run_id, number, kind, cause, severity. ``places``: run_id, number, what, name.
All identifiers are text.
"""

from __future__ import annotations

import importlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy.engine import URL

from loomproof.errors import StoreError
from loomproof.fleet.parquet import SCHEMA, read_about

MEMORY = "300MB"
"""What the engine over a data set may hold before it goes to its own temporary files."""


@dataclass(frozen=True, slots=True)
class Tables:
    """Ibis tables of one place, Ibis, and the connection that answers. It has no stubs of its expressions."""

    ibis: Any
    connection: Any
    runs: Any
    findings: Any
    places: Any

    def answer(self, expression: Any) -> list[dict[str, Any]]:
        """Carry a question out and return its rows."""
        # As the database's own rows: Ibis would lay them out as a frame first, which nothing here wants.
        asked = self.connection.raw_sql(self.connection.compile(expression))
        return [dict(zip(expression.columns, row, strict=True)) for row in asked.fetchall()]

    def keep(self, name: str, expression: Any) -> Any:
        """Carry a question out once, into a table that ends with the connection, for others to ask of."""
        self.connection.raw_sql(f"DROP TABLE IF EXISTS {name}")
        self.connection.raw_sql(f"CREATE TEMPORARY TABLE {name} AS {self.connection.compile(expression)}")
        return self.ibis.table(expression.schema(), name=name)


def _ibis() -> Any:
    try:
        return importlib.import_module("ibis")
    except ImportError as error:
        raise StoreError(
            "questions over many runs need Ibis, and it is not installed",
            cure="pip install 'loomproof[fleet]'",
        ) from error


@contextmanager
def of_store(where: URL) -> Iterator[Tables]:
    """Give the tables of a store, SQLite or PostgreSQL.

    Raises `StoreError` where what asks is not installed.
    """
    ibis = _ibis()
    if where.get_backend_name() == "sqlite":
        connection = ibis.sqlite.connect(where.database)
    else:
        connection = ibis.postgres.connect(
            host=where.host or where.query.get("host"),
            port=where.port or 5432,
            user=where.username,
            password=where.password,
            database=where.database,
        )
    try:
        looms = connection.table("looms").select(loom_id="id", loom="name", serial="serial")
        runs = connection.table("runs")
        runs = runs.join(looms, "loom_id").select(
            "run", "kind", "loom", "serial", "bench", "person", "verdict", "faults", "ended", run_id=runs.id
        )
        yield Tables(
            ibis,
            connection,
            runs,
            connection.table("findings").select("run_id", "number", "kind", "cause", "severity"),
            connection.table("finding_places"),
        )
    finally:
        connection.disconnect()


@contextmanager
def of_dataset(folder: Path) -> Iterator[Tables]:
    """Give the tables of a data set, read by DuckDB.

    Raises `StoreError` where the folder holds none, or what asks is not installed.
    """
    read_about(folder)
    ibis = _ibis()
    connection = ibis.duckdb.connect(memory_limit=MEMORY, preserve_insertion_order=False)
    try:
        tables = []
        for name in ("runs", "findings", "places"):
            files = sorted(map(str, (folder / name).glob("month=*/*.parquet")))
            if not files:
                raise StoreError(
                    f"{folder / name}: the data set has no files there", cure="Make it again from its store."
                )
            listed = ", ".join(f"'{each}'" for each in (file.replace("'", "''") for file in files))
            read = f"read_parquet([{listed}], hive_partitioning = false)"
            connection.raw_sql(f"CREATE VIEW {name} AS SELECT * FROM {read}")
            columns = {column: "int64" if kind is int else "string" for column, kind in SCHEMA[name].items()}
            tables.append(ibis.table(columns, name=name))
        yield Tables(ibis, connection, *tables)
    finally:
        connection.disconnect()
