"""The shelf of looms: each with its last proof, found by words at once; a seal is checked once."""

from __future__ import annotations

import threading
from dataclasses import dataclass

from loomproof.jobs.archive import Archive, Shelf
from loomproof.records.canonical import sha256_hex
from loomproof.records.data_folder import home
from loomproof.records.looms_kept import KeptLoom, Listing
from loomproof.records.signers import KnownSigners
from loomproof.records.trusted import trusted_run
from loomproof.reports.listing import Cell

MOST_SEEN = 10_000
"""So many records are remembered that were checked; then it begins anew."""


@dataclass(frozen=True, slots=True)
class LoomLine:
    """A loom on the shelf: by name and serial, how many records, its last run, and what that says of itself.

    ``texts`` are as `loomproof.jobs.archive.RUN_HEADS` names them; ``None`` where the seal was not checked
    yet, and nothing is to be said of a verdict.
    """

    name: str
    serial: str
    records: int
    run: str
    texts: tuple[Cell, ...] | None
    simulated: bool


class LoomShelf:
    """The looms of one store. A record is checked again once it, its line or the known keys changed."""

    def __init__(self, store: str | None = None) -> None:
        self._archive = Archive(store)
        self._lock = threading.Lock()
        self._listing: Listing | None = None
        self._seen: dict[object, tuple[tuple[Cell, ...], bool]] = {}

    def found(
        self, said: str = "", limit: int | None = None, *, check: bool
    ) -> tuple[tuple[LoomLine, ...], int]:
        """Return the looms that are meant, the last first, and how many there are.

        With ``check`` the seals that were not checked yet are checked now, which takes its time. Raises as
        `Archive.looms` does.
        """
        looms, total, self._listing = self._archive.looms(said, limit, self._listing)
        known = KnownSigners(home()).all()
        return tuple(self._line(each, known, check) for each in looms), total

    def _line(self, loom: KeptLoom, known: dict[str, str], check: bool) -> LoomLine:
        key = loom.last, sha256_hex(loom.record or b""), frozenset(known.items())
        with self._lock:
            seen = self._seen.get(key)
        if seen is None and check:
            one = trusted_run(loom.last, loom.record, known)
            (texts,) = Shelf((one,), (), ()).run_texts
            seen = tuple(each if isinstance(each, Cell) else Cell(each) for each in texts), one.simulated
            with self._lock:
                if len(self._seen) >= MOST_SEEN:
                    self._seen.clear()
                self._seen[key] = seen
        texts_seen, simulated = seen or (None, False)
        return LoomLine(loom.name, loom.serial, loom.records, loom.last.run, texts_seen, simulated)
