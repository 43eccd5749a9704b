"""Checking what somebody hands over, one thing or many: files, folders, lists, and what a label says."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from loomproof.errors import BodyDeletedError, LoomproofError, SealError, StoreError, UsageError
from loomproof.jobs.archive import Archive
from loomproof.jobs.signing import Station
from loomproof.records.canonical import MOST_BYTES
from loomproof.records.corrections import Correction, changes
from loomproof.records.data_folder import home
from loomproof.records.keys import KeyFolder
from loomproof.records.seal import LABEL, Verified
from loomproof.records.store import open_store
from loomproof.records.unfinished_runs import place_of
from loomproof.records.verify_file import check
from loomproof.reports.listing import Cell
from loomproof.reports.words import VERDICTS, plural, when

__all__ = ["CHECKED_HEADS", "Checked", "checked", "named", "total"]

CHECKED_HEADS = ("file or record", "seal", "verdict", "loom", "ended")


@dataclass(frozen=True)
class Checked:
    """One thing that was checked: the record where its seal holds, else what is wrong.

    ``paper`` is ``False`` for a PDF of a folder that carries no seal, such as a label. ``correction`` is what
    stands in its place now, where the store knows of one; ``deleted`` says that the store's own was deleted,
    ``missed`` that the store has not got what this station sealed.
    """

    name: str
    verified: Verified | None = None
    trouble: LoomproofError | None = None
    paper: bool = True
    correction: Correction | None = None
    deleted: str = ""
    missed: str = ""

    @property
    def standing(self) -> str:
        """How its seal stands, in a word or three."""
        if self.verified is not None:
            return self.verified.standing + (" but corrected" if self.correction else "")
        if not self.paper:
            return "no certificate"
        if isinstance(self.trouble, BodyDeletedError):
            return "body deleted"
        return "DOES NOT HOLD" if isinstance(self.trouble, SealError) else "not checked"

    @property
    def lines(self) -> Iterator[str]:
        """What there is to say of a seal that holds, before what it claims; nothing of one that does not."""
        if (found := self.verified) is None:
            return
        who = f"signed by {found.signer}" if found.signer else "the key is not in your list of signers"
        if self.correction is not None:
            yield f"{found.standing}, and {self._corrected(self.correction, found)}"
            yield f"seal         nothing was changed; {who}"
        else:
            yield f"{found.standing}: nothing was changed; {who}"
        yield f"fingerprint  {found.fingerprint}"
        yield f"record       {found.hash}"
        yield f"chain        {found.chain.bench}, record {found.chain.sequence}"
        if self.deleted:
            yield f"store        has this hash in its chain; {self.deleted}"
        if self.missed:
            yield f"store        {self.missed}"
        if found.corrects:
            yield f"corrects     {found.corrects}"
        for each in found.remarks:
            yield f"times        {each}"

    @staticmethod
    def _corrected(by: Correction, found: Verified) -> str:
        made = f" on {when(by.made)[:16]}" if by.made else ""
        whose = "" if by.verified.signer else " (sealed by a key that is not in your list of signers)"
        said = "; ".join(map(str, changes(found.document(), by.verified.document())))
        return f"corrected since by run {by.run}{made}{whose}" + (f": {said}" if said else "")

    @property
    def texts(self) -> tuple[str | Cell, ...]:
        """A row of texts as `CHECKED_HEADS` names them."""
        if self.verified is None:
            return (self.name, Cell(self.standing, "red" if self.paper else "yellow"), "", "", "")
        document = self.verified.document()
        loom, good = document.loom, self.verified.signer and self.correction is None
        return (
            self.name,
            Cell(self.standing, "green" if good else "yellow"),
            VERDICTS[document.verdict.value],
            f"{loom.name}, {loom.serial}" if loom.serial else loom.name,
            when(document.ended)[:16],
        )


def named(words: Iterable[str], listed: Path | None = None) -> tuple[str, ...]:
    """Return what is to be checked, with the lines of a list; a path in it may be taken from its folder.

    Raises `UsageError` where nothing is named, `StoreError` for a list that cannot be read.
    """
    found = list(words)
    if listed is not None:
        try:
            lines = listed.read_text(encoding="utf-8-sig").splitlines()
        except (OSError, UnicodeDecodeError) as error:
            raise StoreError(f"{listed}: cannot be read: {error}", cure="Name a text file.") from None
        for line in filter(None, map(str.strip, lines)):
            beside = listed.parent / line
            found.append(str(beside) if _there(beside) and not _there(Path(line)) else line)
    if not found:
        raise UsageError("nothing is named that could be checked", cure="Name a file, a folder or a record.")
    return tuple(found)


def checked(words: Iterable[str], archive: Archive) -> Iterator[Checked]:
    """Check each: a file; all of a folder; else a record of the store by hash, its start, label or run.

    Every one is told, whatever is wrong with those before. In a folder every ``.pdf`` and ``.record.json``
    counts, whatever is left of it, and what is a record by its content; other files are passed over. A whole
    PDF that was never signed, such as a label, is told as no certificate and not counted as broken.
    """
    station = Station()
    try:
        corrected, deleted = archive.standing_corrections(), archive.deletions()
    except StoreError:  # what is handed over is checked without a store too
        corrected, deleted = {}, {}
    own, places = KeyFolder(home()).own_keys(), _places(archive)
    for one in _each(words, archive, station):
        if one.verified is None:
            yield one
            continue
        digest = one.verified.hash
        missed = _missed(one.verified, places) if one.verified.key in own and places is not None else ""
        yield replace(one, correction=corrected.get(digest), deleted=deleted.get(digest, ""), missed=missed)


_Places = Mapping[tuple[str, int], tuple[str, str]]
"""Of each chain and place in it the hash of its record, and the run."""


def _places(archive: Archive) -> _Places | None:
    """Return which record the store has in which place; ``None`` for a server, or where there is none."""
    if "://" in (archive.store or "") or not Path(place_of(archive.store)).is_file():
        return None
    try:
        with open_store(archive.store) as store:
            return {(run.bench, run.sequence): (run.hash, run.run) for run in store.runs()}
    except StoreError:
        return None


def _missed(verified: Verified, places: _Places) -> str:
    """Return what to say of a record that this station sealed and the store has not; "" where it has it."""
    digest, run = places.get((verified.chain.bench, verified.chain.sequence), ("", ""))
    if digest == verified.hash:
        return ""
    if digest:
        return (
            f"has run {run} in its place, sealed here too: the store was put back to an older state and "
            "gone on with, or this record is of another store of yours"
        )
    return (
        "has no such record, which was sealed here: it was put back to an older state, or this record is of "
        "another store of yours"
    )


def checked_bytes(name: str, data: bytes, archive: Archive) -> Checked:
    """Check what a file held that somebody handed over; ``name`` is what it is called in words, no path."""
    station = Station()
    one = _tried(name, partial(check, data, station.known(), name))
    if one.verified is None:
        return one
    try:
        correction = archive.standing_corrections().get(one.verified.hash)
    except StoreError:
        return one
    return replace(one, correction=correction)


def _each(words: Iterable[str], archive: Archive, station: Station) -> Iterator[Checked]:
    for word in words:
        path = Path(word)
        if not _there(path):
            yield _kept(word, archive, station)
        elif not path.is_dir():
            yield _tried(word, partial(station.check_file, path))
        else:
            yield from _folder(path, station)


def total(found: Iterable[Checked]) -> tuple[int, str]:
    """Return the exit code for all, the worst, and how many stand how, as a sentence.

    The worst is a seal that does not hold, then what could not be checked, then an unknown signer.
    """
    code, counts = 0, dict[str, int]()
    rank = {0: 0, 4: 1, 2: 2, 3: 3, 5: 4}
    for one in found:
        each = 0 if one.verified is not None and one.verified.signer else 4
        if one.trouble is not None and one.paper:
            each = one.trouble.exit_code
        code = max(code, each, key=rank.__getitem__)
        counts[one.standing] = counts.get(one.standing, 0) + 1
    said = ", ".join(f"{count} {standing}" for standing, count in counts.items())
    return code, f"{plural(sum(counts.values()), 'checked', 'checked')}: {said}"


def _there(path: Path) -> bool:
    try:
        return path.exists()
    except OSError:
        return False


def _tried(name: str, check_one: Callable[[], Verified]) -> Checked:
    try:
        return Checked(name, check_one())
    except LoomproofError as error:
        return Checked(name, trouble=error)


def _folder(folder: Path, station: Station) -> Iterator[Checked]:
    """Check whatever of a folder is a certificate or record by its name, or by what is in it."""
    try:
        files = sorted(path for path in folder.rglob("*") if path.is_file())
    except OSError as error:
        yield Checked(str(folder), trouble=StoreError(f"{folder}: cannot be read: {error.strerror}"))
        return
    count, known = 0, station.known()
    for path in files:
        try:
            found = _of_folder(path, known)
        except OSError as error:
            found = Checked(str(path), trouble=StoreError(f"{path}: cannot be read: {error.strerror}"))
        if found is not None:
            yield found
            count += 1
    if not count:
        cure = "Certificates are PDF files, sealed records JSON."
        yield Checked(
            str(folder), trouble=UsageError(f"{folder}: there is nothing to check in it", cure=cure)
        )


_RECORD_BEGINS = b'{"body":{"chain":'
"""How a sealed record begins: its members stand in the order of their names."""

_LONGEST_BEGINNING = len(_RECORD_BEGINS)


def _of_folder(path: Path, known: Mapping[str, str]) -> Checked | None:
    """Check one file of a folder; ``None`` for what is no certificate nor record by name or content.

    A destroyed file still counts by its name: `verify` is asked whether the folder is whole.
    """
    name, ending = str(path), path.suffix.lower()
    with path.open("rb") as file:
        data = file.read(_LONGEST_BEGINNING)
        by_content = data.startswith((b"%PDF", _RECORD_BEGINS))
        if ending not in (".pdf", ".json") and not by_content:
            return None
        data += file.read(MOST_BYTES + 1)
    if ending == ".pdf" or data.startswith(b"%PDF"):
        from loomproof.records.pdf_verify import verify_pdf

        # A whole page that nobody signed is a label, a month's report or a stranger's paper.
        whole = data.startswith(b"%PDF") and data.rstrip().endswith(b"%%EOF")
        signed = b"/ByteRange" in data or b"/EmbeddedFile" in data
        named = path.name.lower().endswith(_CERTIFICATES)
        found = _tried(name, partial(verify_pdf, data, known, name))
        return found if signed or named or not whole else replace(found, paper=False)
    if by_content or b'"seal"' in data or f".{path.name.lower()}".endswith(".record.json"):
        return _tried(name, partial(check, data, known, name))
    return None


_CERTIFICATES = tuple(f".{verdict}.pdf" for verdict in VERDICTS)
"""How the names of certificates end that this program gave."""


def _kept(word: str, archive: Archive, station: Station) -> Checked:
    """Check a record of the store; where a label names it, also that the label names its signer."""

    def one() -> Verified:
        if Path(word).suffix.lower() in (".pdf", ".json", ".txt") or Path(word).name != word:
            raise UsageError(f"{word}: there is no such file or folder")
        try:
            kept = archive.run(word)
        except UsageError as error:
            raise UsageError(
                f"{word!r} is no file or folder here, and {error.message}", cure=error.cure, do=error.do
            ) from None
        verified = check(archive.sealed(kept.hash), station.known(), f"run {kept.run}")
        if word.startswith(f"{LABEL}:") and not verified.link.startswith(word.upper()):
            raise SealError(
                f"the label's text is not that of run {kept.run}: found {word}, expected {verified.link}",
                cure="Ask whoever put the label there for the certificate.",
            )
        return verified

    return _tried(word, one)
