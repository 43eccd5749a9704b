"""The store: looms, sealed records, journals, repairs. It only grows, but for bodies deleted by a rule."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from enum import Enum, auto
from functools import cached_property
from pathlib import Path

from sqlalchemy import Connection, Engine, Table, func, insert, inspect, or_, select
from sqlalchemy.engine import URL

from loomproof.errors import BodyDeletedError, StoreError, Todo, UsageError
from loomproof.records.before import Before, before, head_of
from loomproof.records.canonical import sha256_hex
from loomproof.records.data_folder import home
from loomproof.records.deleted import words_of
from loomproof.records.engine import open_engine, shown, translated, writing
from loomproof.records.growing import row_digest
from loomproof.records.inserting import add_once, insert_run, same_journal, showable
from loomproof.records.keys import KeyFolder, Signer
from loomproof.records.lines import RUN_COLUMNS, Run, as_run, newest, places, runs_by_id
from loomproof.records.schema import (
    ANSWERS,
    BENCHES,
    CERTIFICATES,
    FINDINGS,
    IDENTITY,
    JOURNALS,
    RECORDS,
    REPAIRS,
    RUNS,
    SIMULATED,
)
from loomproof.records.seal import LABEL, Chain, correcting, seal, verify
from loomproof.records.since_last_pass import remarks
from loomproof.results.document import Document


@dataclass(frozen=True, slots=True)
class SealedRun:
    """A run just sealed: its line, the record's bytes, and what was odd about its times."""

    run: Run
    record: bytes
    remarks: tuple[str, ...] = ()


class Standing(Enum):
    """Whether a note holds: it stands, it was withdrawn, or it withdraws those before."""

    STANDS = auto()
    WITHDRAWN = auto()
    WITHDRAWS = auto()


@dataclass(frozen=True, slots=True)
class Repair:
    """What a person did about a finding (its number in the run's document, from 1; 0 for the run).

    ``standing`` is told where notes were asked for with it (`loomproof.records.withdrawn.standings`).
    """

    run: str
    finding: int
    person: str
    done: str
    words: str
    standing: Standing = Standing.STANDS


def chain_name(document: Document, station: str) -> str:
    """Return the name of a chain: the bench's identity and the station that it is joined to."""
    bench = document.bench
    parts = [bench.maker, bench.model, bench.serial] if not bench.simulated else [SIMULATED]
    identity = " ".join(part for part in parts if part) or bench.address
    return f"{identity} @ {station}"


def open_store(url: str | None = None, folder: Path | None = None) -> Store:
    """Open the store at a database URL or file name, or the default one in the user's data folder."""
    where = folder or home()
    return Store(open_engine(url, where), where)


class Store:
    """A store; use it in a ``with`` block. Every method is one transaction: all of it, or nothing."""

    def __init__(self, engine: Engine, folder: Path | None = None) -> None:
        self._engine = engine
        self._folder = folder or home()
        self.announce: Callable[[Collection[str]], None] = lambda _digests: None
        """Told, before rows without seals are added, what they are known by (`growing.row_digest`)."""

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database; may be called twice."""
        self._engine.dispose()

    @property
    def where(self) -> str:
        """File or URL of the store, without a password."""
        return shown(self._engine.url)

    @property
    def url(self) -> URL:
        """Where the store is, for what asks its database by a road of its own."""
        return self._engine.url

    @cached_property
    def identity(self) -> str:
        """The name by which this store is known again; "" for an older one that can't be written."""
        with self.reading() as connection:
            if not inspect(connection).has_table(IDENTITY.name):
                return ""
            return str(connection.execute(select(IDENTITY.c.name)).scalar_one())

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a connection that only reads, in one transaction."""
        with translated(self._engine.url), self._engine.connect() as connection, connection.begin():
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Give a connection in one write transaction."""
        with translated(self._engine.url), writing(self._engine) as connection:
            yield connection

    # Writing -------------------------------------------------------------------------------------

    def seal_run(
        self,
        document: Document,
        signer: Signer,
        journal: bytes = b"",
        known: Chain | None = None,
        without: Collection[int] = (),
    ) -> SealedRun:
        """Seal a document as the next record of its bench's chain and keep it with its journal.

        Chain head and insert are one transaction, so two benches, or two processes on one, never fork a
        chain. ``known`` is where the chain stood at most (the last record's place and its hash as
        ``previous``): where the store has lost that record its place is not taken again. ``without`` are
        notes of repairs that nobody vouches for: the record tells none of them. `RecordError` where the
        journal is not the one that the document names.
        """
        bench = chain_name(document, signer.station)
        return self.seal_in(bench, document, signer, journal, known=known, without=without)

    def correct(
        self,
        run: str,
        document: Document,
        why: str,
        signer: Signer,
        more: Mapping[str, object] | None = None,
    ) -> SealedRun:
        """Seal a corrected document as a new record that names the one it corrects, which stays.

        ``more`` is what else is told of the correction: when it was made, by whom, what it changed.
        """
        wrong = verify(self.record(run), name=f"run {run}")
        correction = correcting(wrong, why, more)
        return self.seal_in(chain_name(document, signer.station), document, signer, correction=correction)

    def seal_in(
        self,
        bench: str,
        document: Document,
        signer: Signer,
        journal: bytes = b"",
        *,
        correction: Mapping[str, object] | None = None,
        known: Chain | None = None,
        told: Before | None = None,
        without: Collection[int] = (),
    ) -> SealedRun:
        """Seal a document as the next record of the chain ``bench``; ``correction`` as `correcting` makes it.

        ``told`` is what another store told of the time before, in place of this one. Else as `seal_run`.
        """
        same_journal(document, journal)
        with self.writing() as connection:
            lock_bench(connection, bench)
            head = head_of(connection, bench)
            chain = Chain(bench, head.sequence + 1, head.hash) if head else Chain(bench, 1)
            if known is not None and known.bench == bench and known.sequence >= chain.sequence:
                chain = Chain(bench, known.sequence + 1, known.previous)
            told = told or before(connection, document, bench, without)
            odd = [*remarks(document, head.ended if head else ""), *told.remarks]
            extras: dict[str, object] = {"mended": list(told.mended), "remarks": odd}
            extras = {member: value for member, value in extras.items() if value}
            if correction is not None:
                extras = dict(correction)
            if told.met is not None:
                extras["met"] = told.met.plain()
            kind = "proof" if correction is None else "correction"
            record = seal(document.plain(), chain, signer, kind=kind, extras=extras)
            verified = verify(record)
            run_id = insert_run(connection, verified, record, journal)
            return SealedRun(_run(connection, run_id), record, verified.remarks)

    def add_run(self, record: bytes, journal: bytes = b"") -> str:
        """Keep a sealed record that was made elsewhere, and return its run's name.

        `SealError` where its seal does not hold; `RecordError` where the store has another record in its
        place. A record that the store already has is left as it is.
        """
        verified = verify(record)
        document = verified.document()
        same_journal(document, journal)
        with self.writing() as connection:
            lock_bench(connection, verified.chain.bench)
            if connection.execute(select(RUNS.c.id).where(RUNS.c.hash == verified.hash)).first() is None:
                insert_run(connection, verified, record, journal)
        return document.run

    def add_repair(self, run: str, person: str, words: str, done: str, finding: int = 0) -> Repair:
        """Keep what a person did about a finding, in the person's words."""
        for value, what in ((person, "person"), (words, "words")):
            if not value.strip():
                raise UsageError(f"a repair without {what} says nothing", cure=f"Give the {what}.")
        found = self.run(run)
        with self.reading() as connection:
            known = connection.execute(
                select(func.count()).select_from(FINDINGS).where(FINDINGS.c.run_id == found.id)
            ).scalar_one()
        if not 0 <= finding <= known:
            has = "1 finding" if known == 1 else f"{known} findings"
            raise UsageError(
                f"run {found.run} has {has}, there is no finding {finding}",
                cure="Give the number that the run's findings show.",
            )
        values = {"finding": finding, "person": person, "done": done, "words": words}
        self.add_unsealed(REPAIRS, [values], found)
        return Repair(found.run, finding, person, done, words)

    def add_answer(self, run: str, words: str, said: str) -> None:
        """Keep what one more look showed, as text; ``said`` is when. Empty words take all before back."""
        self.add_unsealed(ANSWERS, [{"said": said, "words": words}], self.run(run))

    def add_unsealed(
        self, table: Table, rows: Sequence[Mapping[str, object]], run: Run | None = None
    ) -> None:
        """Add rows that no seal vouches for, of a run or of none, once `announce` was told of them."""
        shown = [showable(row) for row in rows]
        self.announce([row_digest(table.name, run.hash if run else "", row) for row in shown])
        of_run = {"run_id": run.id} if run else {}
        with self.writing() as connection:
            for row in shown:
                add_once(connection, table, {**of_run, **row})

    def add_certificate(self, run: str, pdf: bytes, made: str) -> str:
        """Keep a certificate as issued; returns SHA-256 (hex) of the PDF."""
        found = self.run(run)
        with self.writing() as connection:
            connection.execute(
                insert(CERTIFICATES).values(run_id=found.id, made=made, digest=sha256_hex(pdf), pdf=pdf)
            )
        return sha256_hex(pdf)

    # Reading -------------------------------------------------------------------------------------

    def runs(self, loom: str | None = None, limit: int | None = None) -> tuple[Run, ...]:
        """Return runs in the order in which they were sealed, of one loom (name, serial or digest) or of all.

        ``limit`` keeps the last ones. They are what the tables say: `loomproof.records.trusted` looks at the
        records themselves.
        """
        with self.reading() as connection:
            return runs_by_id(connection, places(connection, loom)[-limit if limit else None :])

    def run(self, run: str) -> Run:
        """Return one run by its name, ``last``, a label's text, or the start of its record's hash (8 digits).

        ``last`` is the proof that was sealed last by a key of this person, or by any where none is, as it was
        last corrected. `UsageError` where there is none, or several.
        """
        query = RUN_COLUMNS.order_by(RUNS.c.id.desc()).limit(3)
        match = RUNS.c.run == run
        digest = run.removeprefix(f"{LABEL}:").partition(":")[0].lower()
        if len(digest) >= 8 and all(digit in "0123456789abcdef" for digit in digest):
            match = or_(match, RUNS.c.hash.between(digest, digest + "g"))
        with self.reading() as connection:
            match = (
                RUNS.c.id == newest(connection, KeyFolder(self._folder).own_keys())
                if run == "last"
                else match
            )
            rows = connection.execute(query.where(match)).all()
        if not rows and run == "last":
            raise UsageError(
                f"no proof is kept yet in {self.where}",
                cure="Name its run, or the store that it is in.",
                do=Todo.RUNS,
            )
        if not rows:
            raise UsageError(f"there is no run {run!r} in {self.where}", do=Todo.RUNS)
        if len(rows) > 1:
            raise UsageError(
                f"{run!r} names several runs",
                cure="Give the hash: " + ", ".join(row.hash[:16] for row in rows),
            )
        return as_run(rows[0])

    def record(self, run: str) -> bytes:
        """Return a run's sealed record, byte for byte."""
        found = self.run(run)
        with self.reading() as connection:
            packed = connection.execute(
                select(RECORDS.c.packed).where(RECORDS.c.run_id == found.id)
            ).scalar_one_or_none()
            if not packed:
                refuse_deleted(connection, found)
        return unpacked(packed, f"{self.where}: run {found.run}")

    def journal(self, run: str) -> bytes:
        """Return a run's reading journal, empty where none was kept."""
        found = self.run(run)
        with self.reading() as connection:
            packed = connection.execute(
                select(JOURNALS.c.packed).where(JOURNALS.c.run_id == found.id)
            ).scalar_one_or_none()
            if packed == b"":
                refuse_deleted(connection, found)
        return b"" if packed is None else unpacked(packed, f"{self.where}: journal of run {found.run}")

    def repairs(self, run: str) -> tuple[Repair, ...]:
        """Return the repairs noted against a run's findings, in the order in which they came."""
        found = self.run(run)
        with self.reading() as connection:
            rows = connection.execute(
                select(REPAIRS).where(REPAIRS.c.run_id == found.id).order_by(REPAIRS.c.id)
            ).all()
        return tuple(Repair(found.run, row.finding, row.person, row.done, row.words) for row in rows)

    def answers(self, run: str) -> tuple[str, ...]:
        """Return what looks have shown about a run's findings, in the order in which they came."""
        found = self.run(run)
        with self.reading() as connection:
            if not inspect(connection).has_table(ANSWERS.name):
                return ()  # a store from before answers were kept, that may only be read
            rows = connection.execute(
                select(ANSWERS.c.words).where(ANSWERS.c.run_id == found.id).order_by(ANSWERS.c.id)
            ).scalars()
            kept: list[str] = []
            for words in rows:
                kept = [*kept, words] if words else []
        return tuple(kept)

    def certificate(self, run: str) -> bytes | None:
        """Return the certificate last issued for a run, or ``None``."""
        found = self.run(run)
        query = select(CERTIFICATES.c.pdf).where(CERTIFICATES.c.run_id == found.id)
        with self.reading() as connection:
            pdf = connection.execute(query.order_by(CERTIFICATES.c.id.desc()).limit(1)).scalar_one_or_none()
        return bytes(pdf) if pdf else None

    def settle(self) -> None:
        """Write what waits in SQLite's journal into the file, so that nothing deleted is left in it."""
        if self._engine.dialect.name == "sqlite":
            with closing(self._engine.raw_connection()) as raw:
                raw.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")


def refuse_deleted(connection: Connection, run: Run) -> None:
    """Refuse a run whose body was deleted, with what is kept of it. Raises `BodyDeletedError`."""
    if said := words_of(connection, [run.id]).get(run.id):
        raise BodyDeletedError(
            f"run {run.run}: {said}; kept are its hash, {run.hash}, its place (record {run.sequence} of "
            f"{run.bench}), its verdict ({run.verdict}) and that it ended {run.ended}",
            cure="A certificate or record file kept elsewhere shows what it said; it has this hash.",
        )


def _run(connection: Connection, run_id: int) -> Run:
    return as_run(connection.execute(RUN_COLUMNS.where(RUNS.c.id == run_id)).one())


def lock_bench(connection: Connection, bench: str) -> None:
    """Hold the bench's row until the transaction ends (SQLite has locked the whole store already)."""
    add_once(connection, BENCHES, showable({"name": bench}))
    connection.execute(select(BENCHES.c.name).where(BENCHES.c.name == bench).with_for_update()).one()


def unpacked(packed: bytes | None, name: str) -> bytes:
    """Return what was packed; `StoreError` names the place where it is missing or damaged."""
    if packed is None:
        raise StoreError(f"{name}: its record is missing", cure="Restore a backup.", do=Todo.RESTORE)
    try:
        return zlib.decompress(packed)
    except zlib.error as error:
        raise StoreError(f"{name}: damaged: {error}", cure="Restore a backup.", do=Todo.RESTORE) from error
