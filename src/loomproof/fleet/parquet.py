"""Making a data set of Parquet files from a store: what it has not yet is added, nothing is rewritten.

What is made next begins behind the last run, repair and confirmed cause that ``about.json`` names; it is
written last, so that a part which was cut off is made again.
"""

from __future__ import annotations

import hashlib
import hmac
import importlib
import json
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, replace
from itertools import groupby
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Select, func, inspect, select

from loomproof.errors import StoreError, UsageError
from loomproof.fleet.layout import SCHEMA, TABLES, VERSION, About, Made, Persons, read_about
from loomproof.records.confirmed import faults_of, ranked
from loomproof.records.schema import (
    CONFIRMED,
    COUNTED_RUNS,
    FAULT_NAMES,
    FINDING_PLACES,
    FINDINGS,
    LOOMS,
    READINGS,
    REPAIRS,
    RUNS,
)
from loomproof.records.store import Store

AT_ONCE = 20_000
"""Runs that are read, sorted into months and written before the next ones; fewer of them where they have
more than `MOST_READINGS`."""

MOST_READINGS = 200_000
"""Readings that are held at once, if not of a single run."""


def add_to(folder: Path, store: Store, persons: Persons = Persons.KEPT, key: bytes = b"") -> Made:
    """Write what a store has and the data set has not yet; begin the data set where there is none.

    ``key`` makes the pseudonyms: one person is the same in each data set that is made with one key, and
    nobody without it can try names. Raises `StoreError` where the folder holds something else, another
    store's data, or names that were treated otherwise; `UsageError` for pseudonyms without a key.
    """
    about = _begin(folder, store, persons)
    named = _namer(persons, key)
    runs = findings = 0
    while True:
        with store.reading() as connection:
            rows = _runs_after(connection, about.run_id)
            if rows:
                last = rows[-1]["run_id"]
                within = (about.run_id, last)
                found = _rows(connection, _between(_FINDINGS, FINDINGS.c.run_id, within))
                places = _rows(connection, _between(_PLACES, FINDING_PLACES.c.run_id, within))
                names = _rows(connection, _between(_NAMES, FAULT_NAMES.c.run_id, within))
                read = _rows(connection, _between(_READINGS, READINGS.c.run_id, within))
        if not rows:
            break
        month_of = {row["run_id"]: str(row["ended"])[:7] for row in rows}
        part = about.part + 1
        for row in rows:
            row["person"] = named(row["person"])
        parts = (("runs", rows), ("findings", found), ("places", places), ("readings", read))
        for table, of_it in parts:
            _write(folder, table, part, [(month_of[row["run_id"]], row) for row in of_it])
        _write(folder, "fault_counts", part, _summed(names, month_of))
        about = replace(about, run_id=last, run_hash=str(rows[-1]["hash"]), part=part)
        _say(folder, about)
        runs, findings = runs + len(rows), findings + len(found)
    noted = Counter[str]()
    for table, after, when, kept in (
        ("repairs", _repairs_after, "done", "repair_id"),
        ("confirmed", _confirmed_after, "said", "confirmed_id"),
    ):
        while True:
            with store.reading() as connection:
                rows = after(connection, getattr(about, kept))
            if not rows:
                break
            part, last = about.part + 1, rows[-1]["id"]
            for row in rows:
                row["person"] = named(row["person"])
            _write(folder, table, part, [(str(row[when])[:7], row) for row in rows])
            about = replace(about, part=part, **{kept: last})
            _say(folder, about)
            noted[table] += len(rows)
    _whole(folder, about)
    return Made(runs, findings, noted["repairs"], noted["confirmed"])


_RUNS = (
    select(
        RUNS.c.id.label("run_id"),
        *(RUNS.c.run, RUNS.c.kind, LOOMS.c.name.label("loom"), LOOMS.c.serial, LOOMS.c.digest, RUNS.c.bench),
        *(
            RUNS.c.person,
            RUNS.c.verdict,
            RUNS.c.faults,
            RUNS.c.notes,
            RUNS.c.started,
            RUNS.c.ended,
            RUNS.c.hash,
        ),
        *(COUNTED_RUNS.c[name] for name in ("simulated", "first_proof", "mended_s", "new_faults")),
    )
    .join(LOOMS, LOOMS.c.id == RUNS.c.loom_id)
    .outerjoin(COUNTED_RUNS, COUNTED_RUNS.c.run_id == RUNS.c.id)
    .order_by(RUNS.c.id)
)
_FINDINGS = select(FINDINGS).order_by(FINDINGS.c.run_id, FINDINGS.c.number)
_PLACES = select(FINDING_PLACES)
_NAMES = select(FAULT_NAMES)
_READINGS = select(READINGS).order_by(READINGS.c.run_id, READINGS.c.joint)
_REPAIRS = select(
    *(REPAIRS.c.id, REPAIRS.c.run_id, REPAIRS.c.finding, REPAIRS.c.person, REPAIRS.c.done, REPAIRS.c.words)
).order_by(REPAIRS.c.id)


def _repairs_after(connection: Connection, repair_id: int) -> list[dict[str, Any]]:
    return _rows(connection, _REPAIRS.where(REPAIRS.c.id > repair_id).limit(AT_ONCE))


def _confirmed_after(connection: Connection, confirmed_id: int) -> list[dict[str, Any]]:
    if not inspect(connection).has_table(CONFIRMED.name):
        return []  # a store from before they were kept, that may only be read
    query = select(CONFIRMED).where(CONFIRMED.c.id > confirmed_id).order_by(CONFIRMED.c.id).limit(AT_ONCE)
    rows = _rows(connection, query)
    faults = faults_of(connection, {row["run_id"] for row in rows})
    for row in rows:
        row |= asdict(ranked(str(row.pop("line"))))
        row["fault"] = faults.get((row["run_id"], row["finding"]), "")
    return rows


def _between(query: Select[Any], column: Any, within: tuple[int, int]) -> Select[Any]:
    return query.where(column > within[0], column <= within[1])


def _runs_after(connection: Connection, run_id: int) -> list[dict[str, Any]]:
    """Return the next runs, as many as can be held with what their joints read."""
    rows = _rows(connection, _RUNS.where(RUNS.c.id > run_id).limit(AT_ONCE))
    while len(rows) > 1:
        within = (run_id, rows[-1]["run_id"])
        count = _between(select(func.count()).select_from(READINGS), READINGS.c.run_id, within)
        if connection.execute(count).scalar_one() <= MOST_READINGS:
            break
        del rows[(len(rows) + 1) // 2 :]
    return rows


def _rows(connection: Connection, query: Select[Any]) -> list[dict[str, Any]]:
    return [dict(row) for row in connection.execute(query).mappings()]


def _begin(folder: Path, store: Store, persons: Persons) -> About:
    if not (folder / "about.json").exists():
        if folder.exists() and any(folder.iterdir()):
            raise StoreError(
                f"{folder}: the folder is not empty, and what is in it is no data set",
                cure="Name an empty folder, or one that is not there yet.",
            )
        return About(VERSION, store.identity, 0, "", 0, persons.value, 0)
    about = read_about(folder)
    if about.store != store.identity:
        raise StoreError(f"{folder}: the data set of another store", cure="Name a folder of its own.")
    with store.reading() as connection:
        stands = connection.execute(select(RUNS.c.hash).where(RUNS.c.id == about.run_id)).scalar_one_or_none()
    if (stands or "") != about.run_hash:
        raise StoreError(
            f"{folder}: its last run is not in that place of the store any more: the store was put back to "
            "an older state, or runs were taken out of it",
            cure="Check the records, and make the data set again in an empty folder.",
        )
    if about.persons != persons.value:
        raise StoreError(
            f"{folder}: people's names in it are {about.persons}, and are to be {persons.value}",
            cure="Name an empty folder for the other way.",
        )
    return about


def _namer(persons: Persons, key: bytes) -> Any:
    if persons is Persons.PSEUDONYMS and not key:
        raise UsageError(
            "pseudonyms without a key would be others each time", cure="Give the key, the same one each time."
        )

    def pseudonym(name: str) -> str:
        return "P-" + hmac.new(key, name.encode("utf-8"), hashlib.sha256).hexdigest()[:12] if name else ""

    def nobody(_name: str) -> str:
        return ""

    return {Persons.KEPT: str, Persons.LEFT_OUT: nobody, Persons.PSEUDONYMS: pseudonym}[persons]


def _say(folder: Path, about: About) -> None:
    path = folder / "about.json"
    beside = path.with_suffix(".new")
    folder.mkdir(parents=True, exist_ok=True)
    beside.write_text(json.dumps(asdict(about), indent=1) + "\n", encoding="utf-8")
    beside.replace(path)


def _write(folder: Path, table: str, part: int, rows: Sequence[tuple[str, Mapping[str, Any]]]) -> None:
    for month, group in _by_month(rows):
        _write_file(folder / table / f"month={month}" / f"part-{part:08d}.parquet", table, group)


def _write_file(path: Path, table: str, rows: Sequence[Mapping[str, Any]]) -> None:
    # No stubs exist for it: its tables are made and written here, and looked at nowhere.
    pa, pq = importlib.import_module("pyarrow"), importlib.import_module("pyarrow.parquet")
    columns = SCHEMA[table]
    schema = pa.schema([(name, pa.int64() if kind is int else pa.string()) for name, kind in columns.items()])
    path.parent.mkdir(parents=True, exist_ok=True)
    made = pa.table({name: [row[name] for row in rows] for name in columns}, schema=schema)
    beside = path.with_suffix(".new")
    pq.write_table(made, beside, compression="zstd")
    beside.replace(path)


def _summed(
    names: Sequence[Mapping[str, Any]], month_of: Mapping[int, str]
) -> list[tuple[str, Mapping[str, Any]]]:
    counted = Counter((month_of[row["run_id"]], row["simulated"], row["what"], row["name"]) for row in names)
    return [
        (month, {"simulated": simulated, "what": what, "name": name, "times": times})
        for (month, simulated, what, name), times in sorted(counted.items())
    ]


def _by_month(rows: Sequence[tuple[str, Mapping[str, Any]]]) -> Iterator[tuple[str, list[Mapping[str, Any]]]]:
    for month, group in groupby(sorted(rows, key=lambda pair: pair[0]), key=lambda pair: pair[0]):
        yield month, [row for _, row in group]


def _whole(folder: Path, about: About) -> None:
    """Leave at least one file, if an empty one, for each table: so that it can be asked."""
    for table in TABLES:
        if not any((folder / table).glob("month=*/*.parquet")):
            _write_file(folder / table / "month=none" / "part-00000000.parquet", table, ())
    _say(folder, about)
