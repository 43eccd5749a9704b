"""The store of sealed records, as a script uses it; checking a record; the fitting sheet by a proof kept."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from loomproof.fitting.fuse_coordination import Ampacity
from loomproof.fitting.sheet import fitting_sheet
from loomproof.jobs import certificate, keep, workshop
from loomproof.jobs.archive import Archive
from loomproof.jobs.at_hand import at_hand, said_of
from loomproof.jobs.files import folder_for, json_of, name_of, write_file
from loomproof.jobs.job import Proof
from loomproof.loom.choices import answered
from loomproof.loom.model import Loom
from loomproof.records.data_folder import home
from loomproof.records.history import Trend, trends
from loomproof.records.seal import Verified
from loomproof.records.signers import KnownSigners
from loomproof.records.trusted import Trusted, trusted_runs
from loomproof.records.verify_file import check, check_file
from loomproof.results.document import Document
from loomproof.results.fitting import Sheet


@dataclass(frozen=True)
class Sealed:
    """A run that a store keeps. ``told`` is what a person should know of how it was sealed."""

    run: str
    record: bytes
    journal: bytes
    store: str | None = None
    told: tuple[str, ...] = ()

    @cached_property
    def verified(self) -> Verified:
        """The record, checked. Raises `SealError` where its seal does not hold."""
        return verify(self.record)

    @property
    def document(self) -> Document:
        """The sealed results document."""
        return self.verified.document()

    def certificate(self) -> bytes:
        """Return the certificate as PDF, made and signed where none was. Raises `RecordError`."""
        with at_hand(self.store) as hand:
            return certificate.issue(hand.store, self.verified.hash)

    def write_certificate(self, folder: Path | str) -> Path:
        """Write the certificate into a folder, and return its path. Raises `RecordError`, `StoreError`."""
        return self._written(folder, f"{self.document.verdict}.pdf", self.certificate())

    def write(self, folder: Path | str) -> tuple[Path, ...]:
        """Write certificate, record, results and journal into a folder. Raises as `write_certificate`."""
        return (
            self.write_certificate(folder),
            self._written(folder, "record.json", self.record),
            self._written(folder, "results.json", json_of(self.document)),
            self._written(folder, "journal.jsonl", self.journal),
        )

    def _written(self, folder: Path | str, what: str, data: bytes) -> Path:
        folder_for(Path(folder))
        document = self.document
        handed_over = what.endswith(("pdf", "record.json"))
        loom = (document.loom.name, document.loom.serial) if handed_over else ("",)
        path = Path(folder) / f"{name_of(document.run, *loom)}.{what}"
        write_file(path, data)
        return path


class Store:
    """A store of sealed records; it only ever grows. ``address`` is a file or a database URL.

    Without one it is ``LOOMPROOF_STORE``, what ``workshop.toml`` names, or the person's own in their data
    folder, as with the commands. Each method opens it and closes it again; all raise `StoreError` where it
    cannot be opened, and `RecordError` where it does not hold what it says.

    >>> import loomproof as lp
    >>> loom = lp.load("fixtures/tail_lamp")
    >>> with lp.simulate(loom) as bench:
    ...     proof = lp.Job(loom, bench).prove().run()
    >>> sealed = lp.Store().seal(proof)
    >>> sealed.verified.standing, sealed.document.verdict.value
    ('genuine', 'pass')
    >>> [line.run.verdict for line in lp.Store().runs(loom)]
    ['pass']
    """

    def __init__(self, address: str | None = None) -> None:
        self.address = address or os.environ.get("LOOMPROOF_STORE") or workshop.find().store
        self.told: tuple[str, ...] = ()

    def seal(self, proof: Proof) -> Sealed:
        """Seal a proof as the next record of its bench's chain, signed by the person's key."""
        told = list(keep.can_be_sealed(self.address))
        sealed, more = keep.seal(proof.document, proof.journal, self.address)
        told += more
        said = tuple(prompt.text for prompt in told)
        return Sealed(sealed.run.run, sealed.record, proof.journal, self.address, said)

    def run(self, run: str = "last") -> Sealed:
        """Return a run by its name, ``last``, or the beginning of its record's hash.

        Raises `UsageError` where there is none, or several.
        """
        with at_hand(self.address) as hand:
            opened = hand.store
            found = opened.run(run)
            return Sealed(found.run, opened.record(found.hash), opened.journal(found.hash), self.address)

    def runs(self, loom: Loom | str | None = None, *, last: int | None = None) -> tuple[Trusted, ...]:
        """Return runs in the order in which they were sealed, of one loom or of all, as their records tell.

        ``loom`` is a loom, a name, a serial or a digest; ``last`` keeps the last ones. While a server is away
        they are those of this bench's outbox, which `told` says then; `StoreAwayError` where it has none.
        """
        with at_hand(self.address) as hand:
            found = trusted_runs(hand.store, KnownSigners(home()).all(), _called(loom), last)
            self.told = tuple(map(str, said_of(hand)))
            return found

    def history(self, loom: Loom | str) -> tuple[Trend, ...]:
        """Return how the readings of a loom's joints moved, the one that changed most first (Ω, k = 2)."""
        return trends(self.runs(loom))

    def proof_of(self, loom: Loom, run: str | None = None) -> Document | None:
        """Return the proof of a loom that can be relied on: of this description, else of its name.

        ``run`` names another one; ``None`` where there is none. Raises `UnknownSignerError` where nobody here
        knows who sealed it.
        """
        return Archive(self.address).proof_of(loom, run)


def verify(what: Path | str | bytes) -> Verified:
    """Check a sealed record (JSON) or a certificate (PDF), by its path or its bytes; needs no store.

    ``standing`` says whether its signer is known here: ``genuine`` or ``intact, signer unknown``. Raises
    `SealError` that names the place where it was changed, `StoreError` where it cannot be read.

    >>> import loomproof as lp
    >>> found = lp.verify("tests/records/with_grades/pass.record.json")
    >>> found.standing, found.document().verdict.value
    ('intact, signer unknown', 'pass')
    """
    known = KnownSigners(home()).all()
    return check(what, known) if isinstance(what, bytes) else check_file(Path(what), known)


def fit(
    loom: Loom,
    answers: Mapping[str, str] | None = None,
    *,
    proof: Proof | Document | None = None,
    running_c: float | None = None,
    ampacity: Ampacity | None = None,
) -> Sheet:
    """Return which ends of a loom go where in the car, and which must be made safe.

    ``answers`` are those to the loom's choices, by name; defaults are taken where none is given. ``proof`` is
    the latest proof (`Store.proof_of`): without a passing one of this very description the sheet carries a
    banner and is not ready. ``running_c`` is the copper's temperature for voltage drops, °C. Raises
    `UsageError` for a choice or an answer that the loom does not know.

    >>> import loomproof as lp
    >>> sheet = lp.fit(lp.load("fixtures/hillclimb_engine"), {"fan": "switch"})
    >>> sheet.ready, sheet.connect[0].job.value
    (False, 'earths')
    """
    given = answered(loom, (answers or {}).items())
    document = proof.document if isinstance(proof, Proof) else proof
    return fitting_sheet(loom, given, document, running_c=running_c, ampacity=ampacity)


def _called(loom: Loom | str | None) -> str | None:
    return (loom.serial or loom.name) if isinstance(loom, Loom) else loom
