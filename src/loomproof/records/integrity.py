"""Checking a whole store: every seal, every chain, every journal, every row against its record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy import select

from loomproof.errors import LoomproofError, StoreError
from loomproof.records.canonical import sha256_hex
from loomproof.records.reading import sealed_records
from loomproof.records.schema import CERTIFICATES, JOURNALS, RUNS
from loomproof.records.seal import Verified, verify
from loomproof.records.store import Run, Store, unpacked


@dataclass(frozen=True, slots=True)
class Integrity:
    """How much was looked at, and what is wrong with it, each with its place."""

    records: int
    journals: int
    certificates: int
    chains: int
    troubles: tuple[str, ...]


def check_store(store: Store, known_signers: Mapping[str, str] | None = None) -> Integrity:
    """Verify everything in a store. A chain that begins late, as an imported one may, is a trouble too."""
    troubles: list[str] = []
    heads: dict[str, Run] = {}
    records = 0
    try:
        for run, record in sealed_records(store, by_chain=True):
            records += 1
            place = f"record {run.sequence} of {run.bench} (run {run.run})"
            try:
                verified = verify(record, known_signers, place)
                troubles += [f"{place}: {what}" for what in _row_troubles(run, verified)]
            except LoomproofError as error:
                troubles.append(error.message)
            troubles += _chain_troubles(heads.get(run.bench), run, place)
            heads[run.bench] = run
    except StoreError as error:
        # Reading stops at a record that is gone or damaged; what lies behind it was not looked at.
        troubles.append(f"{error.message}; the records behind it were not checked")
    journals, of_journals = _journals(store)
    certificates, of_certificates = _certificates(store)
    troubles += [*of_journals, *of_certificates]
    return Integrity(records, journals, certificates, len(heads), tuple(troubles))


def _row_troubles(run: Run, verified: Verified) -> list[str]:
    document = verified.document()
    stated = {
        "run": (run.run, document.run),
        "hash": (run.hash, verified.hash),
        "key": (run.key, verified.key),
        "chain": ((run.bench, run.sequence, run.previous), (*_chain(verified),)),
        "kind": (run.kind, verified.kind),
        "verdict": (run.verdict, document.verdict.value),
        "loom": ((run.loom, run.serial, run.digest), _loom(verified)),
        "times": ((run.started, run.ended), (document.started, document.ended)),
        "person": (run.person, document.person),
    }
    return [
        f"{what}: the store's table says {table!r}, the sealed record {sealed!r}"
        for what, (table, sealed) in stated.items()
        if table != sealed
    ]


def _chain(verified: Verified) -> tuple[str, int, str]:
    return (verified.chain.bench, verified.chain.sequence, verified.chain.previous)


def _loom(verified: Verified) -> tuple[str, str, str]:
    loom = verified.document().loom
    return (loom.name, loom.serial, loom.digest)


def _chain_troubles(before: Run | None, run: Run, place: str) -> list[str]:
    if before is None:
        return [] if run.sequence == 1 else [f"{place}: the records 1 to {run.sequence - 1} are missing"]
    if run.sequence != before.sequence + 1:
        return [f"{place}: record {before.sequence + 1} was expected after {before.sequence}"]
    if run.previous != before.hash:
        return [f"{place}: it names {run.previous[:16]}… before it, the store has {before.hash[:16]}…"]
    return []


def _journals(store: Store) -> tuple[int, list[str]]:
    troubles, count = [], 0
    query = select(RUNS.c.run, JOURNALS.c.digest, JOURNALS.c.packed).join_from(
        JOURNALS, RUNS, JOURNALS.c.run_id == RUNS.c.id
    )
    with store.reading() as connection:
        for row in connection.execution_options(yield_per=20).execute(query):
            count += 1
            place = f"journal of run {row.run}"
            try:
                if sha256_hex(unpacked(row.packed, place)) != row.digest:
                    troubles.append(f"{place}: it was changed")
            except StoreError as error:
                troubles.append(error.message)
    return count, troubles


def _certificates(store: Store) -> tuple[int, list[str]]:
    troubles, count = [], 0
    query = select(RUNS.c.run, CERTIFICATES.c.digest, CERTIFICATES.c.pdf).join_from(
        CERTIFICATES, RUNS, CERTIFICATES.c.run_id == RUNS.c.id
    )
    with store.reading() as connection:
        for row in connection.execution_options(yield_per=20).execute(query):
            count += 1
            if sha256_hex(bytes(row.pdf)) != row.digest:
                troubles.append(f"certificate of run {row.run}: it was changed")
    return count, troubles
