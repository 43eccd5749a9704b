"""Putting a verified record into the tables: the run, its bytes, and what queries ask for."""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, cast

from sqlalchemy import Connection, Table, insert, select

from loomproof.errors import RecordError
from loomproof.records.canonical import sha256_hex
from loomproof.records.counting import count_from
from loomproof.records.readings import reading_rows
from loomproof.records.schema import (
    ADAPTERS,
    BENCH_CHECKS,
    FINDING_PLACES,
    FINDINGS,
    HEADS_MET,
    JOURNALS,
    LOOMS,
    READINGS,
    RECORDS,
    RUNS,
)
from loomproof.records.seal import Met, Verified
from loomproof.results.document import Document


def add_once(connection: Connection, table: Table, values: Mapping[str, object]) -> None:
    """Put a row in unless it is there already."""
    # Each dialect has the clause in its own words, and takes a while to be imported.
    if connection.dialect.name == "sqlite":
        from sqlalchemy.dialects import sqlite

        connection.execute(sqlite.insert(table).values(**values).on_conflict_do_nothing())
    else:
        from sqlalchemy.dialects import postgresql

        connection.execute(postgresql.insert(table).values(**values).on_conflict_do_nothing())


def insert_run(connection: Connection, verified: Verified, record: bytes, journal: bytes) -> int:
    """Put a record with its journal in and return the run's id; the caller holds the bench's lock.

    `RecordError` where the chain has another record in its place.
    """
    derived = derived_rows(verified)
    chain = verified.chain
    taken = connection.execute(
        select(RUNS.c.hash).where(RUNS.c.bench == chain.bench, RUNS.c.sequence == chain.sequence)
    ).scalar_one_or_none()
    if taken is not None:
        raise RecordError(
            f"record {chain.sequence} of {chain.bench}: this store has {taken[:16]}… in that place, "
            f"not {verified.hash[:16]}…",
            cure="Two histories of one bench differ. Keep both stores apart and find out which one holds.",
        )
    loom_id = _loom_id(connection, derived.loom)
    run_id: int = connection.execute(
        insert(RUNS).values(loom_id=loom_id, **showable(derived.run)).returning(RUNS.c.id)
    ).scalar_one()
    connection.execute(insert(RECORDS).values(run_id=run_id, packed=zlib.compress(record)))
    if journal:
        connection.execute(
            insert(JOURNALS).values(run_id=run_id, digest=sha256_hex(journal), packed=zlib.compress(journal))
        )
    _insert_findings(connection, run_id, derived)
    if derived.adapter:
        add_once(connection, ADAPTERS, showable(derived.adapter))
    if derived.checks:
        connection.execute(
            insert(BENCH_CHECKS), [{"run_id": run_id, **showable(check)} for check in derived.checks]
        )
    if derived.readings:
        connection.execute(
            insert(READINGS), [{"run_id": run_id, **showable(row)} for row in derived.readings]
        )
    if derived.met:
        connection.execute(insert(HEADS_MET), [{"run_id": run_id, **showable(head)} for head in derived.met])
    if verified.kind == "proof":
        count_from(connection, run_id)
    return run_id


def _loom_id(connection: Connection, loom: Mapping[str, object]) -> int:
    add_once(connection, LOOMS, showable(loom))
    loom_id: int = connection.execute(
        select(LOOMS.c.id).where(
            *(LOOMS.c[column] == loom[column] for column in ("name", "serial", "digest"))
        )
    ).scalar_one()
    return loom_id


def _insert_findings(connection: Connection, run_id: int, derived: Derived) -> None:
    for table, rows in ((FINDINGS, derived.findings), (FINDING_PLACES, derived.places)):
        if rows:
            connection.execute(insert(table), [{"run_id": run_id, **showable(row)} for row in rows])


Row = Mapping[str, object]


@dataclass(frozen=True, slots=True)
class Derived:
    """What the tables hold of one record besides its bytes, column by column; all of it follows from them."""

    run: Row
    loom: Row
    findings: tuple[Row, ...]
    places: tuple[Row, ...]
    checks: tuple[Row, ...]
    adapter: Row | None
    met: tuple[Row, ...]
    readings: tuple[Row, ...]


def derived_rows(verified: Verified) -> Derived:
    """Return the rows that a record makes in the tables; `SealError` where its document can't be read."""
    document, chain = verified.document(), verified.chain
    loom, adapter = document.loom, document.adapter
    severities = [finding.severity.value for finding in document.findings]
    run: dict[str, object] = {
        "run": document.run,
        "kind": verified.kind,
        "bench": chain.bench,
        "sequence": chain.sequence,
        "previous": chain.previous,
        "hash": verified.hash,
        "key": verified.key,
        "verdict": document.verdict.value,
        "started": document.started,
        "ended": document.ended,
        "person": document.person,
        "adapter": adapter.name,
        "faults": severities.count("fault"),
        "notes": severities.count("note"),
    }
    findings, places = _found(document)
    met = verified.met or Met("")
    return Derived(
        run=run,
        loom={
            "name": loom.name,
            "serial": loom.serial,
            "digest": loom.digest,
            "description": loom.description,
        },
        findings=findings,
        places=places,
        checks=tuple(
            {"number": n, "name": check.name, "passed": int(check.passed), "words": check.text}
            for n, check in enumerate(document.bench.checks, 1)
        ),
        adapter={"name": adapter.name, "digest": adapter.digest, "first_used": document.started}
        if adapter.digest
        else None,
        met=tuple(
            {
                "number": n,
                "store": met.store,
                "bench": head.bench,
                "sequence": head.sequence,
                "hash": head.previous,
            }
            for n, head in enumerate(met.heads, 1)
        ),
        readings=reading_rows(cast("Mapping[str, Any]", verified.body["document"])),
    )


def _found(document: Document) -> tuple[tuple[Row, ...], tuple[Row, ...]]:
    rows: list[Row] = []
    places: list[Row] = []
    for number, finding in enumerate(document.findings, 1):
        words = {"kind": finding.kind.value, "cause": finding.cause, "severity": finding.severity.value}
        rows.append({"number": number, **words, "title": finding.title})
        named = {
            "cavity": tuple(map(str, finding.cavities)),
            "connector": tuple(end.connector for end in finding.cavities),
            "wire": finding.wires,
            "component": finding.components,
        }
        for what, names in named.items():
            places += [{"number": number, "what": what, "name": name} for name in dict.fromkeys(names)]
    return tuple(rows), tuple(places)


def showable(values: Mapping[str, object]) -> dict[str, object]:
    """Refuse what a database's text cannot hold, and name the column."""
    for column, value in values.items():
        if "\0" in str(value):
            raise RecordError(f"{column}: the text holds a NUL character", cure="Take it out.")
    return dict(values)


def same_journal(document: Document, journal: bytes) -> None:
    """Refuse a journal that is not the one which the document names; none at all is fine."""
    stated = document.journal_digest
    if journal and stated and sha256_hex(journal) != stated:
        raise RecordError(
            f"run {document.run}: the journal has SHA-256 {sha256_hex(journal)[:16]}…, "
            f"the document names {stated[:16]}…",
            cure="Keep the record with the journal that it was made from.",
        )
