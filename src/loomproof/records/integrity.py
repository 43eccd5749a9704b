"""Checking a whole store: every seal, every chain, every journal and certificate, every row, and the head."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from sqlalchemy import select

from loomproof.errors import Do, LoomproofError, Problem, StoreError, Todo
from loomproof.records.before import heads_lost
from loomproof.records.canonical import sha256_hex
from loomproof.records.counting import counted_otherwise
from loomproof.records.deleting import DeletedBodies
from loomproof.records.guards import guard_troubles
from loomproof.records.inserting import derived_rows
from loomproof.records.keys import fingerprint
from loomproof.records.lines import Run
from loomproof.records.noting import not_as_noted
from loomproof.records.outbox import AWAY, Outbox
from loomproof.records.pdf_verify import verify_pdf
from loomproof.records.queries import each_record
from loomproof.records.rows import TableRows
from loomproof.records.schema import CERTIFICATES, JOURNALS, RUNS
from loomproof.records.seal import verify
from loomproof.records.store import Store, unpacked
from loomproof.records.unnoted import unnoted


@dataclass(frozen=True, slots=True)
class Integrity:
    """How much was looked at; what is wrong, each with its place; and what cannot be told.

    ``records`` are those that are there, ``gone`` those of which only the run's entry is left. ``deleted``
    says how many bodies were deleted by a rule, when and by whom. ``untold`` names signers that nobody here
    knows, and last the ``missing`` reasons why nobody can tell whether records are missing. ``times`` is
    what records themselves say of a clock that went back: it was sealed with them, and is no trouble of
    theirs. ``others`` is what has no seal and other accounts are taken to have added.
    """

    records: int
    journals: int
    certificates: int
    chains: int
    troubles: tuple[str, ...]
    untold: tuple[Problem, ...] = ()
    gone: int = 0
    deleted: tuple[tuple[int, str], ...] = ()
    times: tuple[str, ...] = ()
    missing: int = 0
    others: tuple[str, ...] = ()


_NO_ENTRY = "its body is empty, and no signed entry says that it was deleted"
_WAS_DELETED = "its body was deleted by a rule, and is here again"


@dataclass
class _Sealed:
    """What the records say that journals, certificates and signers are held against."""

    journal_digests: dict[int, str] = field(default_factory=dict)
    hashes: dict[int, str] = field(default_factory=dict)
    signed: dict[str, dict[str, list[int]]] = field(default_factory=lambda: defaultdict(dict))


def check_store(
    store: Store,
    known_signers: Mapping[str, str] | None = None,
    folder: Path | None = None,
    address: str | None = None,
) -> Integrity:
    """Verify everything in a store. A chain that begins late, as an imported one may, is a trouble too.

    With ``known_signers`` (public key to name) signers that are not among them are told. With ``folder``, the
    person's data folder, the store is held against what was noted there; ``address`` is what the command
    was given for the store.
    """
    troubles: list[str] = []
    times: list[str] = []
    last: dict[str, Run] = {}
    sealed = _Sealed()
    records = gone = 0
    with store.reading() as connection:
        tables = TableRows(connection)
        bodies = DeletedBodies(connection)
    troubles += bodies.troubles
    for run, packed in each_record(store):
        place = f"record {run.sequence} of {run.bench} (run {run.run})"
        if (told := bodies.told(run.id, run.hash)) is not None and packed == b"":
            troubles += [f"{place}: {what}" for what in tables.troubles_of_deleted(run.id, told)]
            troubles += _chain_troubles(last.get(run.bench), run, place)
            last[run.bench] = run
            continue
        records += packed is not None
        gone += packed is None
        if told is not None or packed == b"":
            troubles.append(f"{place}: {_WAS_DELETED if told is not None else _NO_ENTRY}")
        try:
            verified = verify(unpacked(packed, place), known_signers, place)
            derived = derived_rows(verified)
        except LoomproofError as error:
            troubles.append(error.message)
        else:
            troubles += [f"{place}: {what}" for what in tables.troubles(run.id, derived)]
            times += [f"{place}: {remark}" for remark in verified.remarks if remark != AWAY]
            sealed.hashes[run.id] = verified.hash
            sealed.journal_digests[run.id] = verified.document().journal_digest
            sealed.signed[verified.chain.bench].setdefault(verified.key, []).append(verified.chain.sequence)
        troubles += _chain_troubles(last.get(run.bench), run, place)
        last[run.bench] = run
    troubles += tables.left_over()
    with store.reading() as connection:
        troubles += heads_lost(connection, connection, store.identity)
        troubles += guard_troubles(connection)
        troubles += counted_otherwise(connection)
    journals, of_journals = _journals(store, sealed.journal_digests, bodies.runs)
    certificates, of_certificates = _certificates(store, sealed.hashes, bodies.runs)
    troubles += [*of_journals, *of_certificates]
    untold: tuple[Problem, ...] = ()
    missing: tuple[str, ...] = ()
    others: tuple[str, ...] = ()
    if known_signers is not None:
        mixed, untold = _strangers(sealed.signed, known_signers)
        untold += tuple(
            Problem(f"bodies were deleted by a key that nobody here knows, {fingerprint(key)}", do=_know(key))
            for key in sorted(bodies.keys - set(known_signers))
        )
        troubles += mixed
    if folder is not None:
        noted, missing = not_as_noted(folder, store, address, known_signers or {})
        found = unnoted(folder, store, address)
        troubles += [*noted, *(() if found.shared else found.added)]
        untold = (*untold, *(map(Problem, found.added) if found.shared else ()), *map(Problem, missing))
        others = found.others
    counts = (records, journals, certificates, len(last))
    lacking = len(missing)
    return Integrity(*counts, tuple(troubles), untold, gone, bodies.counted, tuple(times), lacking, others)


def with_outbox(
    checked: Integrity,
    server: Store,
    own: Outbox,
    known_signers: Mapping[str, str],
    wrong: Sequence[str] = (),
) -> Integrity:
    """Add what an outbox shows: what is wrong in itself, and what was met on its server and is gone there.

    ``wrong`` is what came up while it handed over.
    """
    mine = check_store(own.store, known_signers)
    with own.store.reading() as named, server.reading() as there:
        lost = heads_lost(named, there, server.identity)
    told = [*wrong, *lost, *(f"outbox {own.store.where}: {trouble}" for trouble in mine.troubles)]
    # What both say is said once.
    troubles = dict.fromkeys((*checked.troubles, *told))
    times = dict.fromkeys((*checked.times, *mine.times))
    return replace(checked, troubles=tuple(troubles), times=tuple(times))


def _chain_troubles(before: Run | None, run: Run, place: str) -> list[str]:
    if before is None:
        return [] if run.sequence == 1 else [f"{place}: the records 1 to {run.sequence - 1} are missing"]
    if run.sequence != before.sequence + 1:
        return [f"{place}: record {before.sequence + 1} was expected after {before.sequence}"]
    if run.previous != before.hash:
        return [f"{place}: it names {run.previous[:16]}… before it, the store has {before.hash[:16]}…"]
    return []


def _strangers(
    signed: Mapping[str, Mapping[str, list[int]]], known: Mapping[str, str]
) -> tuple[list[str], tuple[Problem, ...]]:
    """Tell signers that nobody knows: a trouble among those of a chain that others sealed, who are known."""
    mixed: list[str] = []
    alone: list[Problem] = []
    for bench, keys in signed.items():
        for key, numbers in keys.items():
            if key in known:
                continue
            which = f"record {numbers[0]}" if len(numbers) == 1 else f"records {numbers[0]} to {numbers[-1]}"
            said = f"{which} of {bench}: intact, signer unknown: nobody here knows the key {fingerprint(key)}"
            if any(other in known for other in keys):
                mixed.append(f"{said}, and other records of this bench are sealed with keys that are known")
            else:
                alone.append(Problem(said, do=Do(Todo.KNOW_SIGNER, key)))
    return mixed, tuple(alone)


def _know(key: str) -> Do:
    return Do(Todo.KNOW_SIGNER, key)


def _journals(store: Store, stated: Mapping[int, str], deleted: Collection[int]) -> tuple[int, list[str]]:
    troubles, count = [], 0
    query = select(RUNS.c.id, RUNS.c.run, JOURNALS.c.digest, JOURNALS.c.packed).join_from(
        JOURNALS, RUNS, JOURNALS.c.run_id == RUNS.c.id
    )
    with store.reading() as connection:
        for row in connection.execution_options(yield_per=20).execute(query):
            if row.packed == b"" and row.id in deleted:
                continue
            count += 1
            place = f"journal of run {row.run}"
            try:
                digest = sha256_hex(unpacked(row.packed, place))
            except StoreError as error:
                troubles.append(error.message)
                continue
            if digest != row.digest:
                troubles.append(f"{place}: it was changed")
            elif stated.get(row.id) and digest != stated[row.id]:
                troubles.append(f"{place}: it is not the one that the sealed record names")
    return count, troubles


def _certificates(store: Store, hashes: Mapping[int, str], deleted: Collection[int]) -> tuple[int, list[str]]:
    troubles, count = [], 0
    query = select(RUNS.c.id, RUNS.c.run, CERTIFICATES.c.digest, CERTIFICATES.c.pdf).join_from(
        CERTIFICATES, RUNS, CERTIFICATES.c.run_id == RUNS.c.id
    )
    with store.reading() as connection:
        for row in connection.execution_options(yield_per=20).execute(query):
            if bytes(row.pdf) == b"" and row.id in deleted:
                continue
            count += 1
            place = f"certificate of run {row.run}"
            if sha256_hex(bytes(row.pdf)) != row.digest:
                troubles.append(f"{place}: it was changed")
                continue
            try:
                carried = verify_pdf(bytes(row.pdf), name=place, handed_over=False).hash
            except LoomproofError as error:
                troubles.append(error.message)
                continue
            if row.id in hashes and carried != hashes[row.id]:
                troubles.append(f"{place}: it is of another record, {carried[:16]}…")
    return count, troubles
