"""Handing over what waits in an outbox: each record once, as it was sealed, in the order of its chain.

A record is known by its place and hash, so one whose keeping the server could not confirm is recognised
when it is handed over again. What a server has lost, put back to an older state, is handed over anew.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import ColumnElement, Connection, Row, Table, and_, exists, insert, or_, select

from loomproof.errors import RecordError, SealError, StoreError, UsageError
from loomproof.records.before import Head, head_of
from loomproof.records.canonical import sha256_hex
from loomproof.records.deleted import words_of
from loomproof.records.engine import given_up
from loomproof.records.growing import row_digest
from loomproof.records.inserting import insert_run, same_journal
from loomproof.records.keys import fingerprint
from loomproof.records.outbox import ANSWER_S, NOTED, Outbox, marks
from loomproof.records.pdf_verify import verify_pdf
from loomproof.records.schema import ANSWERS, CERTIFICATES, CONFIRMED, HANDED_OVER, REPAIRS, RUNS
from loomproof.records.seal import Verified
from loomproof.records.store import Store, lock_bench
from loomproof.records.trusted import trusted_run


@dataclass(slots=True)
class Handed:
    """What was handed over: records by their hashes, how many of them the server had kept before and lost,
    what belongs to runs, and what it does not take, each with its reason."""

    records: tuple[str, ...] = ()
    again: int = 0
    notes: int = 0
    certificates: int = 0
    refused: tuple[str, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.records or self.notes or self.certificates or self.refused)


Held = Mapping[str, tuple[Collection[int], str]]
"""Rows that are not to be handed over, by their table, with the sentence that says why."""


@dataclass(frozen=True, slots=True)
class Vouched:
    """What vouches for an outbox besides its seals; where nothing is known, all counts.

    ``keys`` are those that seal here. ``held`` are rows of notes that were not noted beside the keys.
    """

    keys: Collection[str] = ()
    held: Held = field(default_factory=dict)

    def ids(self, table: Table) -> Collection[int]:
        """The rows of a table that are not to be handed over."""
        return self.held[table.name][0] if table.name in self.held else ()


_COLUMNS = {
    REPAIRS.name: (REPAIRS.c.finding, REPAIRS.c.person, REPAIRS.c.done, REPAIRS.c.words),
    ANSWERS.name: (ANSWERS.c.said, ANSWERS.c.words),
    CONFIRMED.name: (
        *(CONFIRMED.c.finding, CONFIRMED.c.person, CONFIRMED.c.said, CONFIRMED.c.cause, CONFIRMED.c.line),
    ),
    CERTIFICATES.name: (CERTIFICATES.c.made, CERTIFICATES.c.digest),
}
"""By what a note or a certificate of a run is known again."""


def hand_over(
    own: Outbox, server: Store, handed: Handed | None = None, vouched: Vouched | None = None
) -> Handed:
    """Hand over all that the server lacks, counted in ``handed`` where one is given.

    What is not as it was sealed, by its own seal and place, or not as it was noted (``vouched``), is not
    handed over and told. Raises `StoreAwayError` where it leaves; what was done stays done and counted.

    A chain in which the server has other records than were sealed here is left as it is and told; what is
    sealed from then on begins a chain of a new name.
    """
    handed = Handed() if handed is None else handed
    vouched = vouched or Vouched()
    refused: list[str] = []
    for bench, mine in own.heads().items():
        with server.reading() as connection, given_up(connection, ANSWER_S):
            theirs = head_of(connection, bench)
        if theirs is not None and theirs.sequence > mine.sequence:
            refused.append(
                f"{bench}: the store has records up to {theirs.sequence}, sealed here, of which this outbox "
                f"knows those up to {mine.sequence}: it was put back to an older state, or copied"
            )
            _end(own, bench, refused[-1])
        try:
            for row in _not_there(own, bench, theirs):
                try:
                    record, journal = _as_sealed(own, row, vouched)
                except RecordError as error:
                    refused.append(error.message)
                else:
                    _hand_run(own, server, row, record, journal, handed, vouched)
        except StoreError:
            raise
        except RecordError as error:
            refused.append(error.message)
            _end(own, bench, error.message)
    for table in NOTED:
        refused += _hand_notes(own, server, table, handed, vouched)
    handed.refused = tuple(dict.fromkeys(refused))
    return handed


def _end(own: Outbox, bench: str, why: str) -> None:
    name = own.name
    if bench.endswith(f".{name}"):
        own.begin_anew(name, why)


def _not_there(own: Outbox, bench: str, theirs: Head | None) -> Sequence[Row[*tuple[Any, ...]]]:
    """Return the runs of a chain that the server may lack or have others in place of, in the chain's order.

    ``marked`` says whether the server has said before that it keeps it.
    """
    last, digest = (theirs.sequence, theirs.hash) if theirs else (0, "")
    marked = exists().where(HANDED_OVER.c.what == RUNS.name, HANDED_OVER.c.row_id == RUNS.c.id)
    differs = and_(RUNS.c.sequence == last, RUNS.c.hash != digest)
    query = (
        select(RUNS.c.id, RUNS.c.bench, RUNS.c.sequence, RUNS.c.previous, RUNS.c.hash, marked.label("marked"))
        .where(RUNS.c.bench == bench, or_(RUNS.c.sequence > last, ~marked, differs))
        .order_by(RUNS.c.sequence)
    )
    with own.store.reading() as connection:
        return connection.execute(query).all()


def _as_sealed(
    own: Outbox, row: Row[*tuple[Any, ...]], vouched: Vouched
) -> tuple[tuple[Verified, bytes], bytes]:
    """Return a run's record, checked and as it is, with its journal. Raises `RecordError` where any of it
    is not as it was sealed."""
    place = f"record {row.sequence} of {row.bench}"
    try:
        run = own.store.run(row.hash)
        record, journal = own.store.record(row.hash), own.store.journal(row.hash)
    except (StoreError, UsageError) as error:
        raise RecordError(f"{place}: {error.message}", cure=error.cure) from error
    told = trusted_run(run, record, {})
    if told.trouble or told.verified is None:
        raise RecordError(told.trouble)
    if vouched.keys and told.verified.key not in vouched.keys:
        raise RecordError(
            f"{place} (run {run.run}): it is sealed with the key {fingerprint(told.verified.key)}, which "
            "never sealed here"
        )
    try:
        same_journal(told.verified.document(), journal)
    except RecordError as error:
        raise RecordError(f"{place}: {error.message}", cure=error.cure) from error
    with own.store.reading() as connection:
        query = select(RUNS.c.hash).where(RUNS.c.bench == row.bench, RUNS.c.sequence == row.sequence - 1)
        before = connection.execute(query).scalar_one_or_none()
    if before is not None and before != row.previous:
        raise RecordError(
            f"{place} (run {run.run}): it names {row.previous[:16]}… before it, the outbox has {before[:16]}…"
        )
    return (told.verified, record), journal


def _hand_run(
    own: Outbox,
    server: Store,
    row: Row[*tuple[Any, ...]],
    sealed: tuple[Verified, bytes],
    journal: bytes,
    handed: Handed,
    vouched: Vouched,
) -> None:
    """Hand over one record with its journal and what belongs to it, in one transaction of the server."""
    verified, record = sealed
    noted = {
        table.name: [
            each
            for each in _noted(own, table, RUNS.c.id == row.id)
            if each.id not in vouched.ids(table) and not _certificate_trouble(table, each)
        ]
        for table in NOTED
    }
    for table in NOTED:
        _announce(server, table, noted[table.name])
    with server.writing() as connection, given_up(connection, ANSWER_S):
        lock_bench(connection, row.bench)
        places = select(RUNS.c.sequence, RUNS.c.hash, RUNS.c.id).where(
            RUNS.c.bench == row.bench, RUNS.c.sequence.in_([row.sequence - 1, row.sequence])
        )
        there = {found.sequence: found for found in connection.execute(places).all()}
        if (found := there.get(row.sequence)) is not None and found.hash == row.hash:
            run_id, new = found.id, False
        else:
            before = there.get(row.sequence - 1)
            if before is not None and before.hash != row.previous:
                raise _two_histories(row, before.hash)
            # Refuses a place that is taken by another record.
            run_id, new = insert_run(connection, verified, record, journal), True
        added = {table.name: _add(connection, table, run_id, noted[table.name]) for table in NOTED}
    # Counted and marked once the server has committed.
    own.mark(RUNS, row.id)
    for table in NOTED:
        own.mark(table, *(each.id for each in noted[table.name]))
    handed.records += (row.hash,) if new else ()
    handed.again += new and row.marked
    _count(handed, added)


def _two_histories(row: Row[*tuple[Any, ...]], there: str) -> RecordError:
    return RecordError(
        f"record {row.sequence} of {row.bench}: it names {row.previous[:16]}… before it, the store has "
        f"{there[:16]}…",
        cure="Two histories of one bench differ. Keep both stores apart and find out which one holds.",
    )


def _certificate_trouble(table: Table, row: Row[*tuple[Any, ...]]) -> str:
    """Return why a row is no certificate of its run as it was issued; "" where it is, or is a note."""
    if table is not CERTIFICATES:
        return ""
    place = f"certificate {row.id} of record {row.run_hash[:16]}…"
    if sha256_hex(bytes(row.pdf)) != row.digest:
        return f"{place}: it was changed"
    try:
        carried = verify_pdf(bytes(row.pdf), name=place, handed_over=False).hash
    except SealError as error:
        return error.message
    return "" if carried == row.run_hash else f"{place}: it is of another record, {carried[:16]}…"


def _hand_notes(own: Outbox, server: Store, table: Table, handed: Handed, vouched: Vouched) -> list[str]:
    """Hand over what was noted of runs after the server had them; return why what else waits is not."""
    waiting = _noted(own, table, table.c.id.not_in(marks(table)))
    troubles = {each.id: _certificate_trouble(table, each) for each in waiting}
    refused = [trouble for trouble in troubles.values() if trouble]
    held = {each.id for each in waiting} & set(vouched.ids(table))
    if held:
        refused.append(f"{vouched.held[table.name][1]} (row {', '.join(map(str, sorted(held)))})")
    waiting = [each for each in waiting if each.id not in held and not troubles[each.id]]
    for digest in dict.fromkeys(each.run_hash for each in waiting):
        rows = [each for each in waiting if each.run_hash == digest]
        _announce(server, table, rows)
        with server.writing() as connection, given_up(connection, ANSWER_S):
            run_id = connection.execute(select(RUNS.c.id).where(RUNS.c.hash == digest)).scalar_one_or_none()
            if run_id is None:
                continue  # its record was refused
            added = _add(connection, table, run_id, rows)
        own.mark(table, *(each.id for each in rows))
        _count(handed, {table.name: added})
    return refused


def _noted(own: Outbox, table: Table, which: ColumnElement[bool]) -> Sequence[Row[*tuple[Any, ...]]]:
    query = select(table, RUNS.c.hash.label("run_hash")).join_from(table, RUNS, table.c.run_id == RUNS.c.id)
    with own.store.reading() as connection:
        return connection.execute(query.where(which).order_by(table.c.id)).all()


def _add(connection: Connection, table: Table, run_id: int, rows: Sequence[Row[*tuple[Any, ...]]]) -> int:
    """Add those rows of a run that the server has not; return how many."""
    known = _COLUMNS[table.name]
    there = {tuple(row) for row in connection.execute(select(*known).where(table.c.run_id == run_id)).all()}
    columns = [column.name for column in table.c if column.name not in ("id", "run_id")]
    new = [row for row in rows if tuple(getattr(row, column.name) for column in known) not in there]
    if table is CERTIFICATES and new and words_of(connection, [run_id]):
        new = []  # what was deleted by a rule does not come back
    if new:
        values = [{"run_id": run_id, **{name: getattr(row, name) for name in columns}} for row in new]
        connection.execute(insert(table), values)
    return len(new)


def _announce(server: Store, table: Table, rows: Sequence[Row[*tuple[Any, ...]]]) -> None:
    """Say which notes are about to be added to the server, so that they are not taken for somebody else's."""
    if table is not CERTIFICATES and rows:
        columns = [column.name for column in table.c if column.name not in ("id", "run_id")]
        values = [(each.run_hash, {name: getattr(each, name) for name in columns}) for each in rows]
        server.announce([row_digest(table.name, run_hash, row) for run_hash, row in values])


def _count(handed: Handed, added: Mapping[str, int]) -> None:
    handed.notes += sum(count for name, count in added.items() if name != CERTIFICATES.name)
    handed.certificates += added.get(CERTIFICATES.name, 0)
