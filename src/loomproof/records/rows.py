"""Whether the tables beside the records say what the records say, row for row."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Mapping, Sequence
from itertools import groupby
from operator import itemgetter
from typing import Any

from sqlalchemy import Connection, Table, inspect, select

from loomproof.records.canonical import sha256_hex
from loomproof.records.inserting import Derived
from loomproof.records.schema import (
    ADAPTERS,
    ANSWERS,
    BENCH_CHECKS,
    BENCHES,
    CERTIFICATES,
    CONFIRMED,
    FINDING_PLACES,
    FINDINGS,
    HEADS_MET,
    JOURNALS,
    LOOMS,
    READINGS,
    RECORDS,
    REPAIRS,
    RUNS,
)

_PARTS = (FINDINGS, FINDING_PLACES, BENCH_CHECKS, HEADS_MET)
"""Tables that hold several rows of a run, all of which follow from its record."""


class TableRows:
    """What the tables beside the records hold, run by run, and what of it no record accounts for."""

    def __init__(self, connection: Connection) -> None:
        self._parts = {table.name: _by_run(connection, table) for table in _PARTS}
        self._readings = _digests(connection, READINGS)
        self._runs = {row["id"]: row for row in connection.execute(select(RUNS)).mappings()}
        self._looms = {row["id"]: dict(row) for row in connection.execute(select(LOOMS)).mappings()}
        self._benches = set(connection.execute(select(BENCHES.c.name)).scalars())
        self._adapters = {row["digest"]: row for row in connection.execute(select(ADAPTERS)).mappings()}
        self._owned = {
            table.name: set(connection.execute(select(table.c.run_id).distinct()).scalars())
            for table in (RECORDS, JOURNALS, REPAIRS, ANSWERS, CONFIRMED, CERTIFICATES)
            if inspect(connection).has_table(table.name)
        }
        self._told_looms: dict[int, set[object]] = defaultdict(set)
        self._told_adapters: dict[object, set[tuple[int, object, object]]] = defaultdict(set)

    def troubles(self, run_id: int, derived: Derived) -> list[str]:
        """Return what the tables say of a run that its record does not, or keep back."""
        row = self._runs[run_id]
        said = [
            f"{column}: the store's table says {row[column]!r}, the sealed record {sealed!r}"
            for column, sealed in derived.run.items()
            if row[column] != sealed
        ]
        loom = self._looms.get(row["loom_id"], {})
        self._told_looms[row["loom_id"]].add(derived.loom["description"])
        stated = tuple(loom.get(column) for column in ("name", "serial", "digest"))
        sealed = tuple(derived.loom[column] for column in ("name", "serial", "digest"))
        if stated != sealed:
            said.append(f"loom: the store's table says {stated!r}, the sealed record {sealed!r}")
        if derived.adapter is not None:
            told = (run_id, derived.adapter["name"], derived.adapter["first_used"])
            self._told_adapters[derived.adapter["digest"]].add(told)
        told_rows = (derived.findings, derived.places, derived.checks, derived.met)
        for table, rows in zip(_PARTS, told_rows, strict=True):
            kept = self._parts[table.name].pop(run_id, [])
            if _sorted(kept) != _sorted(rows):
                said.append(
                    f"{table.name}: the store's table has other rows ({len(kept)}) than the sealed record "
                    f"({len(rows)})"
                )
        read = self._readings
        if read is not None and read.pop(run_id, _digest(())) != _digest(derived.readings):
            said.append(f"{READINGS.name}: the store's table has other rows than the sealed record")
        return said

    def troubles_of_deleted(self, run_id: int, told: Mapping[str, object]) -> list[str]:
        """Return what of a run whose body was deleted is not as the deletion's entry says it was kept."""
        row = self._runs[run_id]
        loom = self._looms.get(row["loom_id"], {})
        if sha256_hex(str(loom.get("description")).encode()) == told["description"]:
            self._told_looms[row["loom_id"]].add(loom["description"])
        if isinstance(adapter := told["adapter"], dict):
            self._told_adapters[adapter["digest"]].add((run_id, adapter["name"], adapter["first_used"]))
        line = {column: value for column, value in row.items() if column not in ("id", "loom_id")}
        parts = tuple(self._parts[table.name].pop(run_id, []) for table in _PARTS)
        read = (self._readings or {}).pop(run_id, _digest(()))
        same = _kept_digest(line, loom, parts, read) == told["kept"]
        return [] if same else ["what was kept of it is not as it was when its body was deleted"]

    def left_over(self) -> list[str]:
        """Return what no record accounts for; to be asked once all runs were looked at."""
        said = []
        for name, ids in {
            **{name: set(rows) for name, rows in self._parts.items()},
            **self._owned,
            READINGS.name: set(self._readings or ()),
        }.items():
            stray = sorted(ids - set(self._runs))
            if stray:
                said.append(f"{name}: rows of {len(stray)} runs that are not in the store ({_few(stray)})")
        for number, loom in self._looms.items():
            if loom["description"] not in self._told_looms.get(number, set()):
                said.append(f"looms: {loom['name']!r} (row {number}) is as no sealed record describes it")
        strange = self._benches ^ {row["bench"] for row in self._runs.values()}
        if strange:
            said.append(f"benches: {_few(sorted(strange))} stands there without a record, or is missing")
        for digest in sorted({*map(str, self._adapters), *map(str, self._told_adapters)}):
            row = self._adapters.get(digest)
            told = sorted(self._told_adapters.get(digest, set()), key=itemgetter(0))
            # The first run that came with it put it there.
            if row is None or not told or (row["name"], row["first_used"]) != told[0][1:]:
                said.append(f"adapters: {digest[:16]}… is missing, or is not as a sealed record names it")
        return said


def _by_run(connection: Connection, table: Table) -> dict[int, list[Mapping[str, Any]]]:
    found: dict[int, list[Mapping[str, Any]]] = defaultdict(list)
    if not inspect(connection).has_table(table.name):
        return {}  # a store from before this table, that may only be read
    for row in connection.execute(select(table)).mappings():
        found[row["run_id"]].append({name: value for name, value in row.items() if name != "run_id"})
    return dict(found)


def _digests(connection: Connection, table: Table) -> dict[int, bytes] | None:
    """Return a digest of each run's rows of a table that is too long to be held, `None` where there is
    none."""
    if not inspect(connection).has_table(table.name):
        return None  # a store from before this table, that may only be read
    query = select(table).order_by(table.c.run_id).execution_options(yield_per=1000)
    rows = connection.execute(query).mappings()
    return {
        run_id: _digest([{name: value for name, value in row.items() if name != "run_id"} for row in group])
        for run_id, group in groupby(rows, key=itemgetter("run_id"))
    }


def _digest(rows: Sequence[Mapping[str, object]]) -> bytes:
    return hashlib.sha256(repr(_sorted(rows)).encode()).digest()


def _sorted(rows: Sequence[Mapping[str, object]]) -> list[list[tuple[str, str]]]:
    return sorted(sorted((name, repr(value)) for name, value in row.items()) for row in rows)


def kept_digest(derived: Derived) -> str:
    """Return a digest (SHA-256, hex) of the rows that stay of a record whose body is deleted.

    They are its line, its loom, findings, places, checks, heads met and what each joint read. What people
    noted later (repairs, answers, confirmed causes) is not in it, as more may be noted: `noting` keeps that.
    """
    parts = (derived.findings, derived.places, derived.checks, derived.met)
    return _kept_digest(derived.run, derived.loom, parts, _digest(derived.readings))


def _kept_digest(
    run: Mapping[str, object],
    loom: Mapping[str, object],
    parts: Sequence[Sequence[Mapping[str, object]]],
    readings: bytes,
) -> str:
    named = {column: loom.get(column) for column in ("name", "serial", "digest")}
    rows = [*_sorted([run]), *_sorted([named]), *map(_sorted, parts)]
    return sha256_hex(repr((rows, readings.hex())).encode())


def _few(values: Sequence[object]) -> str:
    return ", ".join(map(str, values[:3])) + (" …" if len(values) > 3 else "")
