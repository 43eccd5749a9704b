"""Keeping a finished proof: sealed into the store, then results, record and certificate as files."""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from loomproof.errors import Do, LoomproofError, RecordError, StoreAwayError, Todo
from loomproof.jobs import certificate
from loomproof.jobs.at_hand import AtHand, at_hand, said_of
from loomproof.jobs.files import folder_for, json_of, name_of, now, write_file
from loomproof.judgement.conclude import Outcome
from loomproof.measuring.events import Event, Finished, Prompt
from loomproof.planning.request import Request
from loomproof.records import unfinished_runs
from loomproof.records.canonical import sha256_hex
from loomproof.records.data_folder import home
from loomproof.records.keys import KeyFolder, Signer
from loomproof.records.noting import heads_missing, key_changed, not_as_noted, note
from loomproof.records.signers import KnownSigners
from loomproof.records.since_last_pass import not_taken_over
from loomproof.records.store import SealedRun
from loomproof.results.document import Document


@dataclass
class Orders:
    """Whether an order to stop came while they were held."""

    stop: bool = False


@dataclass(frozen=True)
class Keeping:
    """Where what a proof leaves goes: ``out`` for files, ``store`` for records (``None``: the person's own).

    ``copy`` is another file that the results are written to. ``hold`` is called once all is measured: from
    then on an order to stop breaks nothing off, and is noted.
    """

    out: Path
    store: str | None = None
    hold: Callable[[], Orders] = Orders
    copy: Path | None = None


@dataclass(frozen=True)
class Kept:
    """A finished proof and the files it left, by what they are."""

    outcome: Outcome
    files: Mapping[str, Path]
    run: str

    @property
    def document(self) -> Document:
        """The results document."""
        return self.outcome.document


def begun(request: Request, journal: Path, store: str | None) -> None:
    """Note that this run begins, so that it is listed as broken off unless it is sealed or has `ended`."""
    loom = request.loom
    unfinished_runs.note_started(
        request.run,
        loom.name,
        request.started,
        journal,
        serial=request.serial or loom.serial,
        digest=loom.digest,
        store=store,
    )
    _started_grew()


def ended(request: Request) -> None:
    """Note that a run which seals nothing came to its end, so that it is not listed as broken off."""
    unfinished_runs.note_ended(request.run)
    _started_grew()


def _started_grew() -> None:
    """Note how far the list of started runs has come, by the key in use; what seals nothing makes no key."""
    keys = KeyFolder(home())
    if keys.path.exists():
        note(home(), keys.in_use())


def can_be_kept(where: Keeping, request: Request) -> Iterator[Event]:
    """See that results can be written and sealed before a bench is asked anything.

    Tells which notes of repairs will not be told of this loom, for want of its serial. Raises `UsageError`
    for the folder, `StoreError` for key or store.
    """
    folder_for(where.out)
    with at_hand(where.store, seals=True) as hand:
        yield from _can_be_sealed(hand)
        loom = request.loom
        with hand.store.reading() as connection:
            left = not_taken_over(connection, loom.name, request.serial, {"", loom.serial})
    for run, serial in left.items():
        proved = f"proved as {serial}" if serial else "proved without a serial"
        yield Prompt(
            f"Repairs are noted for run {run} of {loom.name}, {proved}; "
            f"this proof is of {request.serial}, and its certificate does not tell them. If it is the same "
            "loom, correct that run's serial first, and note the repairs for the correction.",
            do=Do(Todo.SERIAL, run),
        )


def can_be_sealed(store: str | None) -> Iterator[Prompt]:
    """See that a record can be sealed for a store, and tell what changed since. Raises `StoreError`."""
    with at_hand(store, seals=True) as hand:
        yield from _can_be_sealed(hand)


def _can_be_sealed(hand: AtHand) -> Iterator[Prompt]:
    signer = KeyFolder(home()).signer(now())
    changed = key_changed(home(), signer)
    if changed:
        yield Prompt(str(changed), do=changed.do)
    for each in said_of(hand):
        yield Prompt(str(each), do=each.do)
    known = KnownSigners(home()).all()
    if missing := heads_missing(home(), hand.store):
        yield Prompt(f"loomproof: record: {missing}")
    troubles = not_as_noted(home(), hand.store, hand.at, known)[0]
    if hand.own is not None and hand.server is not None:
        troubles += not_as_noted(home(), hand.own.store, hand.sealing_address, known)[0]
    for trouble in troubles:
        yield Prompt(f"loomproof: record: {trouble}")


def keep(outcome: Outcome, journal: Path, where: Keeping) -> Generator[Event, None, Kept]:
    """Seal the document into the store, then write results, record and certificate.

    From here on an order to stop breaks nothing off: what was measured is sealed. Until it is, no file
    claims anything. Once it is, a file that can't be written is told, and that is all.
    Raises `RecordError` where it can't be sealed.
    """
    orders = where.hold()
    read = journal.read_bytes()
    document = outcome.document.model_copy(update={"journal_digest": sha256_hex(read)})
    outcome = replace(outcome, document=document)
    base = where.out / f"{document.run}"
    files = {"journal": journal}
    told: list[Prompt] = []
    with ExitStack() as held:
        with _or_not_kept(journal):
            hand = held.enter_context(at_hand(where.store, seals=True, measured=True))
            signer, sealed = _sealed(hand, document, read)
        _said_sealed(document.run, told)
        told += map(Prompt, sealed.remarks)
        run = sealed.run.run
        handed = where.out / name_of(document.run, document.loom.name, document.loom.serial)
        results = base.with_name(f"{base.name}.results.json")
        record = handed.with_name(f"{handed.name}.record.json")
        if written(results, lambda: json_of(document), run, told):
            files["results"] = results
        if where.copy is not None:
            written(where.copy, lambda: json_of(document), run, told)
        if written(record, lambda: sealed.record, run, told):
            files["record"] = record
        if orders.stop:
            told.append(Prompt("The run is kept; its certificate is not written yet.", do=_certificate(run)))
        else:
            path = handed.with_name(f"{handed.name}.{document.verdict}.pdf")
            if written(path, lambda: certificate.issue(hand.sealing, sealed.run.hash), run, told):
                files["certificate"] = path
        _noted(hand, signer, told)
    yield from told
    yield Finished(run, document.verdict)
    return Kept(outcome, files, run)


def seal(document: Document, journal: bytes, store: str | None) -> tuple[SealedRun, list[Prompt]]:
    """Seal a document for a store with its journal, by the key in use, and note how far the store has come.

    Returns what a person should be told of it as well. Raises `RecordError`.
    """
    told: list[Prompt] = []
    with at_hand(store, seals=True, measured=True) as hand:
        signer, sealed = _sealed(hand, document, journal)
        _said_sealed(document.run, told)
        _noted(hand, signer, told)
    return sealed, told


def _sealed(hand: AtHand, document: Document, journal: bytes) -> tuple[Signer, SealedRun]:
    """Seal, and hand the record over at once where it goes to a server."""
    signer = KeyFolder(home()).signer(now())
    sealed = hand.seal(document, signer, journal)
    hand.hand_over()
    return signer, sealed


def _said_sealed(run: str, told: list[Prompt]) -> None:
    """Note beside the runs begun that this one was sealed; where that can't be written, tell it."""
    try:
        unfinished_runs.note_sealed(run)
    except RecordError as error:
        told.append(
            Prompt(f"{error.message}: were its record lost, this run would look broken off. {error.cure}")
        )


def _noted(hand: AtHand, signer: Signer, told: list[Prompt]) -> None:
    """Hand the certificate over too, and note how far the stores have come; tell what came of it.

    A proof that is sealed stays so where that can't be written.
    """
    hand.hand_over()
    try:
        hand.note(signer)
    except StoreAwayError as error:
        hand.leave(error)
    except RecordError as error:
        told.append(Prompt(f"{error.message}: a later loss of this run would not show. {error.cure}"))
    told += [Prompt(str(each), do=each.do) for each in said_of(hand)]


@contextmanager
def _or_not_kept(journal: Path) -> Iterator[None]:
    """Say, where a finished run can't be sealed, that nothing of it is kept, and where its readings are."""
    try:
        yield
    except RecordError as error:
        error.message = f"the run is finished and could not be kept: {error.message}"
        error.cure = (
            f"{error.cure} What was read is in {journal}; worked out again it shows what it says, without a "
            "seal. Prove again to have it kept."
        ).strip()
        error.do = error.do or Do(Todo.REPLAY, str(journal))
        raise


def written(path: Path, content: Callable[[], bytes], run: str, told: list[Prompt]) -> bool:
    """Write a file of a run that is sealed already; where that can't be done, add to what is ``told``."""
    try:
        write_file(path, content())
    except (LoomproofError, OSError) as error:
        said = error.message if isinstance(error, LoomproofError) else f"{path}: {error}"
        told.append(Prompt(f"{said}\nThe run is sealed and kept all the same.", do=_certificate(run)))
        return False
    return True


def _certificate(run: str) -> Do:
    return Do(Todo.CERTIFICATE, run)
