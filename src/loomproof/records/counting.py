"""What each proof adds to the sums over all of them: kept beside the run, so that questions only add up.

A loom is its name and serial; one on a simulated bench is another one. All of it follows from the runs in the
order of their ids, with their findings and places; nothing of it is changed by a later run. Corrections add
nothing: they change what was entered about a proof, not what was found.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import chain
from typing import Any

from sqlalchemy import Column, Connection, Table, insert, inspect, select

from loomproof.records.canonical import canonical, sha256_hex
from loomproof.records.schema import (
    COUNTED_RUNS,
    FAULT_NAMES,
    FINDING_PLACES,
    FINDINGS,
    FIRST_FAULTS,
    LOOMS,
    RUNS,
    SIMULATED_CHAIN,
)
from loomproof.records.since_last_pass import key_by
from loomproof.results.document import Verdict
from loomproof.results.findings import Severity

AT_ONCE = 2_000
"""Runs that are counted and written together where many are."""

_ASKED = 400
"""Values that one question names; databases bound how many there may be."""

_DIGITS = 32
"""Of SHA-256 in hex, that stand for a loom or for a fault: 128 bits, none of which two share by chance."""

COUNTED = (COUNTED_RUNS, FIRST_FAULTS, FAULT_NAMES)
"""The tables that hold it."""

Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Counts:
    """The rows that a proof adds, table by table as `COUNTED` has them."""

    run: Row
    faults: tuple[Row, ...]
    names: tuple[Row, ...]


@dataclass(slots=True)
class Counting:
    """Goes over runs in their order. ``since`` is when a loom that fails began to, ``told`` are known faults.

    ``since`` holds every loom that had a proof, "" where its last words were no fail.
    """

    since: dict[str, str] = field(default_factory=dict)
    told: set[str] = field(default_factory=set)

    def add(self, run: Row, findings: Sequence[Row], places: Sequence[Row]) -> Counts:
        """Return what a proof adds; ``run`` has the columns of `_RUNS`, the others those of their tables."""
        item, simulated = item_of(run), _simulated(run)
        before = self.since.get(item)
        since = before or ""
        mended_s = -1
        if run["verdict"] == Verdict.FAIL.value:
            since = min(since or run["ended"], run["ended"])
        elif run["verdict"] == Verdict.PASS.value:
            mended_s = _seconds_between(since, run["ended"]) if since else -1
            since = ""
        self.since[item] = since
        faults, names = [], []
        for fault, finding, named in _faults(item, findings, places):
            if fault in self.told:
                continue
            self.told.add(fault)
            at = {"run_id": run["run_id"], "number": finding["number"]}
            faults.append({"fault": fault, **at})
            said = [("kind", finding["kind"]), *((what, name) for what, name in named if what != "cavity")]
            names += [{**at, "simulated": simulated, "what": what, "name": name} for what, name in said]
        counted = {
            "run_id": run["run_id"],
            "item": item,
            "simulated": simulated,
            "first_proof": int(before is None),
            "failing_since": since,
            "mended_s": mended_s,
            "new_faults": len(faults),
        }
        return Counts(counted, tuple(faults), tuple(names))


def item_of(run: Row) -> str:
    """Return what stands for a run's loom (name and serial), real or on simulated benches."""
    return _digest([_simulated(run), run["loom"], run["serial"]])


def _simulated(run: Row) -> int:
    return int(str(run["bench"]).startswith(SIMULATED_CHAIN))


def _digest(plain: object) -> str:
    return sha256_hex(canonical(plain))[:_DIGITS]


def _faults(
    item: str, findings: Sequence[Row], places: Sequence[Row]
) -> Iterator[tuple[str, Row, list[tuple[str, str]]]]:
    """Yield a proof's faults by number: what stands for each in all proofs of the loom, and its places."""
    of_number: dict[int, list[tuple[str, str]]] = defaultdict(list)
    for place in places:
        of_number[place["number"]].append((place["what"], place["name"]))
    for finding in sorted(findings, key=lambda row: int(row["number"])):
        if finding["severity"] != Severity.FAULT.value:
            continue
        named = sorted(of_number[finding["number"]])
        by_what: dict[str, list[str]] = defaultdict(list)
        for what, name in named:
            by_what[what].append(name)
        yield _digest([item, key_by(finding["kind"], finding["cause"], by_what)]), finding, named


def _seconds_between(first: str, last: str) -> int:
    """Return whole seconds from one time of RFC 3339 in UTC to another, 0 where it is before; parts of a
    second are cut off each. -1 where one of them is no such time."""
    try:
        begun, ended = (datetime.datetime.fromisoformat(moment[:19]) for moment in (first, last))
        return max(int((ended - begun).total_seconds()), 0)
    except (ValueError, TypeError):
        return -1


_RUNS = (
    select(
        RUNS.c.id.label("run_id"),
        *(RUNS.c.bench, RUNS.c.verdict, RUNS.c.ended, LOOMS.c.name.label("loom"), LOOMS.c.serial),
    )
    .join(LOOMS, LOOMS.c.id == RUNS.c.loom_id)
    .where(RUNS.c.kind == "proof")
    .order_by(RUNS.c.id)
)


def count_from(connection: Connection, run_id: int) -> None:
    """Count the runs from this one on and keep what they add; those before must have been."""
    while True:
        runs = _rows(connection, _RUNS.where(RUNS.c.id >= run_id).limit(AT_ONCE))
        if not runs:
            return
        found, places = (
            _by_run(connection, table, runs[0]["run_id"], runs[-1]["run_id"])
            for table in (FINDINGS, FINDING_PLACES)
        )
        items = {item_of(run) for run in runs}
        faults = {
            fault
            for run in runs
            for fault, _, _ in _faults(item_of(run), found[run["run_id"]], places[run["run_id"]])
        }
        counting = Counting(_since(connection, items), _told(connection, faults))
        added = [counting.add(run, found[run["run_id"]], places[run["run_id"]]) for run in runs]
        for table, rows in zip(COUNTED, _laid_out(added), strict=True):
            if rows:
                connection.execute(insert(table), rows)
        run_id = runs[-1]["run_id"] + 1
        if len(runs) < AT_ONCE:
            return


def _laid_out(added: Sequence[Counts]) -> tuple[list[Row], list[Row], list[Row]]:
    return (
        [counts.run for counts in added],
        list(chain.from_iterable(counts.faults for counts in added)),
        list(chain.from_iterable(counts.names for counts in added)),
    )


def _since(connection: Connection, items: Iterable[str]) -> dict[str, str]:
    since: dict[str, str] = {}
    # One by one: a loom that is called by its name alone may have very many proofs, and the last is wanted.
    last = select(COUNTED_RUNS.c.failing_since).order_by(COUNTED_RUNS.c.run_id.desc()).limit(1)
    for item in sorted(items):
        stands = connection.execute(last.where(COUNTED_RUNS.c.item == item)).scalar_one_or_none()
        if stands is not None:
            since[item] = stands
    return since


def _told(connection: Connection, faults: Iterable[str]) -> set[str]:
    told: set[str] = set()
    asked = sorted(faults)
    for place in range(0, len(asked), _ASKED):
        column = FIRST_FAULTS.c.fault
        known = select(column).where(column.in_(asked[place : place + _ASKED]))
        told.update(connection.execute(known).scalars())
    return told


def _rows(connection: Connection, query: Any) -> list[Row]:
    return [dict(row) for row in connection.execute(query).mappings()]


def _by_run(connection: Connection, table: Table, first: int, last: int) -> dict[int, list[Row]]:
    column: Column[int] = table.c.run_id
    found: dict[int, list[Row]] = defaultdict(list)
    for row in _rows(connection, select(table).where(column >= first, column <= last)):
        found[row["run_id"]].append(row)
    return found


def counted_otherwise(connection: Connection) -> list[str]:
    """Return what the tables count otherwise than their runs, findings and places do."""
    if not inspect(connection).has_table(COUNTED_RUNS.name):
        return []  # a store from before this table, that may only be read
    counting = Counting()
    runs = _rows(connection, _RUNS)
    first, last = (runs[0]["run_id"], runs[-1]["run_id"]) if runs else (0, 0)
    found, places = (_by_run(connection, table, first, last) for table in (FINDINGS, FINDING_PLACES))
    added = [counting.add(run, found[run["run_id"]], places[run["run_id"]]) for run in runs]
    said = []
    for table, rows in zip(COUNTED, _laid_out(added), strict=True):
        kept, counted = (
            {tuple(row[column.name] for column in table.c) for row in each}
            for each in (_rows(connection, select(table)), rows)
        )
        if other := sorted({row[table.c.keys().index("run_id")] for row in kept ^ counted}):
            shown = ", ".join(map(str, other[:3])) + (" …" if len(other) > 3 else "")
            said.append(f"{table.name}: {len(other)} runs are counted otherwise than they are ({shown})")
    return said
