"""Taking in what another bench has kept: records, with all that was noted about them and issued of them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from sqlalchemy import Table, func, inspect, select

from loomproof.errors import RecordError, SealError, StoreError, UsageError
from loomproof.records.backup import refuse_no_store
from loomproof.records.canonical import MOST_BYTES, sha256_hex
from loomproof.records.deleted import words_of
from loomproof.records.lines import places, runs_by_id
from loomproof.records.pdf_verify import record_in, verify_pdf
from loomproof.records.queries import sealed_records
from loomproof.records.schema import ANSWERS, CERTIFICATES, CONFIRMED, REPAIRS, RUNS
from loomproof.records.seal import verify
from loomproof.records.selftests import keep_lines, kept_lines
from loomproof.records.store import Store, open_store


@dataclass(slots=True)
class Taken:
    """What came of taking records in: new ones, ones that were there, what belongs to them, and conflicts."""

    added: int = 0
    already: int = 0
    repairs: int = 0
    answers: int = 0
    confirmed: int = 0
    certificates: int = 0
    selftests: int = 0
    conflicts: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Handed:
    """One record as it is handed over, with what was noted about it and the certificates issued of it.

    A note is its columns' values; a certificate when it was made and the PDF.
    """

    name: str
    record: bytes
    journal: bytes = b""
    repairs: tuple[tuple[object, ...], ...] = ()
    answers: tuple[tuple[object, ...], ...] = ()
    confirmed: tuple[tuple[object, ...], ...] = ()
    certificates: tuple[tuple[str, bytes], ...] = ()
    troubles: tuple[str, ...] = field(default=())


_REPAIR = ("finding", "person", "done", "words")
_ANSWER = ("said", "words")
_CONFIRMED = ("finding", "person", "said", "cause", "line")


def take_in(source: str, store: Store) -> Taken:
    """Take in records of another bench: its store (file or URL), a sealed record, a certificate, or a folder.

    Every seal is verified first. What cannot stand beside what the store has is named and left out. A
    certificate brings its record along.
    """
    taken, seen = Taken(), set[str]()
    conflicts: list[str] = []
    for handed in _handed_over(source):
        conflicts += handed.troubles
        if not handed.record:
            continue
        try:
            before = _count(store)
            store.add_run(handed.record, handed.journal)
            new = _count(store) > before
            digest = verify(handed.record).hash
            taken.added += new
            taken.already += not new and digest not in seen
            seen.add(digest)
            taken.repairs += _add(store, digest, REPAIRS, _REPAIR, handed.repairs)
            taken.answers += _add(store, digest, ANSWERS, _ANSWER, handed.answers)
            taken.confirmed += _add(store, digest, CONFIRMED, _CONFIRMED, handed.confirmed)
            for made, pdf in handed.certificates:
                taken.certificates += _add_certificate(store, digest, made, pdf, handed.name)
        except (SealError, RecordError) as error:
            conflicts.append(f"{handed.name}: {error.message}")
    if "://" in source or _is_store(Path(source)):
        with open_store(source) as other:
            taken.selftests = keep_lines(store, kept_lines(other))
    taken.conflicts = tuple(conflicts)
    return taken


def _is_store(path: Path) -> bool:
    if not path.is_file():
        return False
    with path.open("rb") as file:
        begins = file.read(4)
    return begins != b"%PDF" and not begins.startswith(b"{")


def _handed_over(source: str) -> Iterator[_Handed]:
    path = Path(source)
    if "://" not in source and path.is_dir():
        yield from _folder(path)
        return
    if "://" not in source and not path.is_file():
        raise UsageError(
            f"{source}: there is no such file, folder or store",
            cure="Give a store, a backup, a sealed record, or a folder of sealed records.",
        )
    if "://" not in source and path.read_bytes()[:4] == b"%PDF":
        yield _paper(path)
        return
    if "://" not in source and path.read_bytes()[:1] == b"{":
        yield _Handed(source, path.read_bytes())
        return
    if "://" not in source:
        refuse_no_store(
            path, "Give a store, a backup, a sealed record, a certificate, or a folder of records."
        )
    with open_store(source) as other:
        for deleted in _deleted(other, source):
            yield _Handed(source, b"", troubles=(deleted,))
        for run, record in sealed_records(other):
            with other.reading() as connection:
                pdfs = connection.execute(
                    select(CERTIFICATES.c.made, CERTIFICATES.c.pdf)
                    .where(CERTIFICATES.c.run_id == run.id)
                    .order_by(CERTIFICATES.c.id)
                ).all()
            yield _Handed(
                f"{source}: record {run.sequence} of {run.bench}",
                record,
                other.journal(run.hash),
                _rows(other, run.id, REPAIRS, _REPAIR),
                _rows(other, run.id, ANSWERS, _ANSWER),
                _rows(other, run.id, CONFIRMED, _CONFIRMED),
                tuple((row.made, bytes(row.pdf)) for row in pdfs),
            )


def _deleted(other: Store, source: str) -> list[str]:
    with other.reading() as connection:
        runs = runs_by_id(connection, places(connection))
        words = words_of(connection, [run.id for run in runs])
    return [
        f"{source}: record {run.sequence} of {run.bench}: {words[run.id]}, so it can't be taken in"
        for run in runs
        if run.id in words
    ]


def _folder(folder: Path) -> Iterator[_Handed]:
    """Give the sealed records of a folder, then its certificates; PDF files that are none are passed over."""
    files = [path for path in sorted(folder.glob("*.json")) if b'"seal"' in path.read_bytes()[-400:]]
    papers = [path for path in sorted(folder.glob("*.pdf")) if b"/EmbeddedFile" in path.read_bytes()]
    if not files and not papers:
        raise UsageError(
            f"{folder}: there is no sealed record in it", cure="They are JSON files, or certificates as PDF."
        )
    for path in files:
        yield _Handed(str(path), path.read_bytes())
    for path in papers:
        yield _paper(path)


def _paper(path: Path) -> _Handed:
    """Give a certificate with the record that it carries; what is wrong with it instead of both."""
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
        verified = verify_pdf(data, name=str(path))
    except SealError as error:
        return _Handed(str(path), b"", troubles=(error.message,))
    except OSError as error:
        raise StoreError(f"{path}: cannot be read: {error.strerror}") from error
    # A certificate states that it was issued when its run ended.
    made = verified.document().ended
    return _Handed(str(path), record_in(data, str(path)), certificates=((made, data),))


def _rows(
    store: Store, run_id: int, table: Table, columns: tuple[str, ...]
) -> tuple[tuple[object, ...], ...]:
    with store.reading() as connection:
        if not inspect(connection).has_table(table.name):
            return ()  # an older store that may only be read
        query = select(*(table.c[column] for column in columns)).where(table.c.run_id == run_id)
        return tuple(tuple(row) for row in connection.execute(query.order_by(table.c.id)).all())


def _add(
    store: Store, run: str, table: Table, columns: tuple[str, ...], rows: tuple[tuple[object, ...], ...]
) -> int:
    """Add those rows of a run that the store has not; return how many."""
    found = store.run(run)
    there = set(_rows(store, found.id, table, columns))
    new = [row for row in dict.fromkeys(rows) if row not in there]
    if new:
        store.add_unsealed(table, [dict(zip(columns, row, strict=True)) for row in new], found)
    return len(new)


def _add_certificate(store: Store, run: str, made: str, pdf: bytes, name: str) -> bool:
    """Add a certificate where it holds, is of this run and not there yet. Raises `SealError`."""
    if verify_pdf(pdf, name=f"certificate of {name}").hash != run:
        raise SealError(f"{name}: a certificate kept with it is of another record")
    run_id = store.run(run).id
    with store.reading() as connection:
        if words_of(connection, [run_id]):
            return False  # what was deleted by a rule does not come back
        query = select(CERTIFICATES.c.digest).where(CERTIFICATES.c.run_id == run_id)
        if sha256_hex(pdf) in set(connection.execute(query).scalars()):
            return False
    store.add_certificate(run, pdf, made)
    return True


def _count(store: Store) -> int:
    with store.reading() as connection:
        count: int = connection.execute(select(func.count()).select_from(RUNS)).scalar_one()
    return count
