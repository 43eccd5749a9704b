"""Where the questions are asked: the tables of a store or of a data set, alike in their columns.

``runs``: run_id, run, kind ("proof" or "correction"), loom, serial, bench, person, verdict, faults, ended
(RFC 3339, UTC). ``proofs``: those that are proofs, with the month that they ended in ("2026-11") and what
each adds to the sums (`records.counting`): simulated, first_proof, new_faults and mended_s (-1 where it
mended nothing), whole numbers. ``findings``: run_id, number, kind, cause, severity. ``places``: run_id,
number, what, name. ``fault_counts``: simulated, what ("kind", "connector", "wire", "component"), name,
times: that many faults were first told of it, in as many rows as it takes.
``confirmed``: as of a data set (`layout.SCHEMA`), but for when it was said and by whom.
``readings``: run_id, joint, open (0 or 1), micro_ohm, uncertainty_micro_ohm (k = 2) and limit_micro_ohm (0 is
none). All identifiers are text.
"""

from __future__ import annotations

import gc
import importlib
import os
import shutil
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from loomproof.errors import StoreError
from loomproof.fleet.layout import SCHEMA, read_about
from loomproof.installed import adding

if TYPE_CHECKING:
    from sqlalchemy.engine import URL

ASKED = ("runs", "findings", "places", "fault_counts", "readings", "confirmed")
"""The tables of a data set that questions are asked of."""

MEMORY = "300MB"
"""What the engine over a data set may hold before it goes to its own temporary files."""


_NUMBERS = ("id", "run_id", "loom_id", "number", "faults")
_STORE: Mapping[str, Mapping[str, str]] = {
    name: {column: "int64" if column in _NUMBERS else "string" for column in columns.split()}
    for name, columns in (
        ("looms", "id name serial"),
        ("runs", "id run kind loom_id bench person verdict faults ended"),
        ("findings", "run_id number kind cause severity"),
        ("finding_places", "run_id number what name"),
    )
} | {
    "counted_runs": dict.fromkeys(("run_id", "simulated", "first_proof", "mended_s", "new_faults"), "int64"),
    "confirmed": {"id": "int64", "run_id": "int64", "finding": "int64", "cause": "string", "line": "string"},
    "fault_names": {"simulated": "int64", "what": "string", "name": "string"},
    "readings": {name: "string" if kind is str else "int64" for name, kind in SCHEMA["readings"].items()},
}
"""What is asked of a store's tables. Said here and not asked of the database, of which each has types of its
own: whole numbers of all sizes are one here, as in a data set."""


@dataclass(frozen=True, slots=True)
class Tables:
    """Ibis tables of one place, Ibis, and the connection that answers. It has no stubs of its expressions."""

    ibis: Any
    connection: Any
    runs: Any
    proofs: Any
    findings: Any
    places: Any
    fault_counts: Any
    adds: Any
    """``proofs`` without loom and serial, which is less to look up."""
    loom_faults: Any
    """simulated, loom, serial, times: that many faults of the loom were first told."""
    readings: Any
    confirmed: Callable[[], Sequence[Mapping[str, Any]]]
    """The causes that were confirmed, in their order: each with its run, loom, serial and bench."""
    spread: bool = False
    """Whether a cluster answers."""

    def answer(self, expression: Any) -> list[dict[str, Any]]:
        """Carry a question out and return its rows."""
        # As the database's own rows: Ibis would lay them out as a frame first, which nothing here wants.
        asked = self.connection.raw_sql(self.connection.compile(expression))
        rows = asked.collect() if self.spread else asked.fetchall()
        return [dict(zip(expression.columns, row, strict=True)) for row in rows]


@contextmanager
def _all_stays() -> Iterator[None]:
    """Look for nothing to let go while modules come in: what a fifth of the time would go to, in vain."""
    looked = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if looked:
            gc.enable()


def _ibis() -> Any:
    try:
        return importlib.import_module("ibis")
    except ImportError as error:
        raise StoreError(
            "questions over many runs need Ibis, and it is not installed",
            cure=adding("fleet"),
        ) from error


@contextmanager
def of_store(where: URL) -> Iterator[Tables]:
    """Give the tables of a store, SQLite or PostgreSQL.

    Raises `StoreError` where what asks is not installed.
    """
    from loomproof.records.engine import shown

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
        if "readings" not in connection.list_tables():
            raise StoreError(
                f"{shown(where)}: this store is of an older version and may only be read, and its proofs are "
                "not counted yet",
                cure="Open it once with the right to write.",
            )
        kept = {name: ibis.table(columns, name=name) for name, columns in _STORE.items()}
        looms = kept["looms"].select(loom_id="id", loom="name", serial="serial")
        runs = kept["runs"].join(looms, "loom_id").drop("loom_id").rename(run_id="id")
        proofs = _with_month(runs.join(kept["counted_runs"], "run_id"))
        adds = _with_month(kept["runs"].rename(run_id="id").join(kept["counted_runs"], "run_id"))
        found = adds.filter(adds.new_faults > 0).group_by("simulated", "loom_id")
        found = found.aggregate(times=adds.new_faults.sum()).join(looms, "loom_id").drop("loom_id")
        counts = kept["fault_names"].mutate(times=1)
        places = kept["finding_places"]
        found_in = (kept["findings"], places, counts, adds, found, kept["readings"])
        has_causes = "confirmed" in connection.list_tables()
        tables = Tables(ibis, connection, runs, proofs, *found_in, list)
        yield (
            replace(tables, confirmed=lambda: _confirmed(tables, kept["confirmed"])) if has_causes else tables
        )
    finally:
        connection.disconnect()


@contextmanager
def of_dataset(folder: Path) -> Iterator[Tables]:
    """Give the tables of a data set, read by DuckDB.

    Raises `StoreError` where the folder holds none, or what asks is not installed.
    """
    read_about(folder)
    with _all_stays():
        ibis = _ibis()
        connection = ibis.duckdb.connect(memory_limit=MEMORY, preserve_insertion_order=False)
    try:
        tables = {}
        for name in ASKED:
            files = _files(folder, name)
            listed = ", ".join(f"'{each}'" for each in (file.replace("'", "''") for file in files))
            # The month stands in the folder's name, which is less to read than when each run ended.
            read = f"read_parquet([{listed}], hive_partitioning = true, hive_types = {{'month': VARCHAR}})"
            connection.raw_sql(f"CREATE VIEW {name} AS SELECT * FROM {read}")
            tables[name] = ibis.table(_columns(name), name=name)
        runs = ibis.table({**_columns("runs"), "month": "string"}, name="runs")
        proofs = runs.filter(runs.kind == "proof")
        causes = tables.pop("confirmed")
        found = _loom_faults(proofs)
        told = Tables(
            ibis, connection, proofs=proofs, adds=proofs, loom_faults=found, confirmed=list, **tables
        )
        yield replace(told, confirmed=lambda: _confirmed_in(told, causes))
    finally:
        connection.disconnect()


@contextmanager
def on_spark(folder: Path, cluster: str) -> Iterator[Tables]:
    """Give the tables of a data set, read by Spark; ``cluster`` as its own programs name a master.

    ``spark://HOST:PORT``, or ``local[2]`` for two threads of this machine. Every machine of a cluster must
    see the folder at the same place. Raises `StoreError` as `of_dataset`, and where PySpark or Java is
    missing.
    """
    read_about(folder)
    listed = {name: _files(folder, name) for name in ASKED}
    ibis = _ibis()
    session = _session(cluster)
    try:
        connection = ibis.pyspark.connect(session)
        tables = {}
        for name, files in listed.items():
            session.read.parquet(*files).createOrReplaceTempView(name)
            tables[name] = ibis.table(_columns(name), name=name)
        proofs = _with_month(tables["runs"].filter(tables["runs"].kind == "proof"))
        found = _loom_faults(proofs)
        causes = tables.pop("confirmed")
        told = Tables(
            *(ibis, connection),
            **(tables | {"proofs": proofs, "adds": proofs, "loom_faults": found}),
            confirmed=list,
            spread=True,
        )
        yield replace(told, confirmed=lambda: _confirmed_in(told, causes))
    finally:
        session.stop()


_OF_RUN = ("run_id", "run", "loom", "serial", "bench")


def _confirmed(tables: Tables, kept: Any) -> list[Mapping[str, Any]]:
    """Return a store's confirmed causes as a data set has them."""
    # Who asks a data set waits for neither.
    from loomproof.records.confirmed import ranked
    from loomproof.records.since_last_pass import key_by

    rows = tables.answer(kept.join(tables.runs.select(*_OF_RUN), "run_id").order_by("id"))
    of = kept.select("run_id", number="finding").distinct()
    findings = tables.answer(
        tables.findings.select("run_id", "number", "kind", "cause").join(of, ["run_id", "number"])
    )
    names: dict[tuple[int, int], dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
    for row in tables.answer(tables.places.join(of, ["run_id", "number"])):
        names[row["run_id"], row["number"]][row["what"]].append(row["name"])
    faults = {
        (row["run_id"], row["number"]): key_by(row["kind"], row["cause"], names[row["run_id"], row["number"]])
        for row in findings
    }
    return [
        {**row, **asdict(ranked(str(row["line"]))), "fault": faults.get((row["run_id"], row["finding"]), "")}
        for row in rows
    ]


def _confirmed_in(tables: Tables, kept: Any) -> list[Mapping[str, Any]]:
    return list(tables.answer(kept.join(tables.runs.select(*_OF_RUN), "run_id").order_by("id")))


def _with_month(runs: Any) -> Any:
    return runs.mutate(month=runs.ended.substr(0, 7))


def _loom_faults(proofs: Any) -> Any:
    found = proofs.filter(proofs.new_faults > 0).group_by("simulated", "loom", "serial")
    return found.aggregate(times=proofs.new_faults.sum())


def _session(cluster: str) -> Any:
    try:
        sql = importlib.import_module("pyspark.sql")
    except ImportError as error:
        raise StoreError(
            "questions on Spark need PySpark, and it is not installed", cure=adding("spark")
        ) from error
    if shutil.which("java") is None and "JAVA_HOME" not in os.environ:
        raise StoreError("questions on Spark need Java, and it is not here", cure="Install Java 17 or newer.")
    session = sql.SparkSession.builder.master(cluster).appName("loomproof")
    # Of an answer of a few hundred rows nothing is to be looked at while it is made.
    for name, value in (("ui.enabled", "false"), ("ui.showConsoleProgress", "false"), ("log.level", "ERROR")):
        session = session.config(f"spark.{name}", value)
    try:
        return session.getOrCreate()
    except Exception as error:  # Java's errors come through as they are, of many classes
        said = str(error).strip().splitlines()
        raise StoreError(
            f"Spark at {cluster} does not answer ({said[0] if said else type(error).__name__})",
            cure="Check that it runs, and how it is named.",
        ) from error


def _files(folder: Path, name: str) -> list[str]:
    files = sorted(map(str, (folder / name).glob("month=*/*.parquet")))
    if not files:
        raise StoreError(
            f"{folder / name}: the data set has no files there", cure="Make it again from its store."
        )
    return files


def _columns(name: str) -> dict[str, str]:
    return {column: "int64" if kind is int else "string" for column, kind in SCHEMA[name].items()}
