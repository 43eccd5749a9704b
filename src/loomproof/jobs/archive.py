"""What a person keeps: the sealed runs of one store, read and told of by those whom this person knows."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path

from loomproof.errors import Problem, RecordError, StoreError, Todo, UsageError, suggestion
from loomproof.jobs.at_hand import at_hand, said_of
from loomproof.jobs.certificate import issue, of_this_run
from loomproof.jobs.correct import correct
from loomproof.jobs.files import ends_in, name_of, now, rfc3339_seconds, write_file
from loomproof.jobs.gate import selftests
from loomproof.jobs.handing_over import check_all
from loomproof.jobs.keeping_tests import keep_selftest
from loomproof.jobs.results_file import NO_RESULTS, results_in
from loomproof.jobs.shelf import BROKEN_OFF_HEADS, RUN_HEADS, Shelf
from loomproof.jobs.teaching import MOST_CASES, confirmed, found_by, learned_for
from loomproof.loom.model import Loom
from loomproof.loom.reading import WORKBOOKS, load
from loomproof.measuring.selftests_kept import SelfTest, kept, line_of, of_line
from loomproof.records import queries
from loomproof.records.backup import backup, refuse_no_backup, restore
from loomproof.records.confirmed import ConfirmedLine, add_confirmed, confirmed_lines
from loomproof.records.corrections import Correction, corrections, standing_corrections
from loomproof.records.data_folder import home
from loomproof.records.deleted import words_by_hash
from loomproof.records.integrity import Integrity
from loomproof.records.lines import Run
from loomproof.records.looms_kept import KeptLoom, Listing, listing, records_of
from loomproof.records.noting import Opened, not_as_noted
from loomproof.records.order import started_moment
from loomproof.records.schema import SELFTESTS
from loomproof.records.seal import Verified, verify
from loomproof.records.selecting import Wanted, days
from loomproof.records.selftests import SelfTestLine, keep_lines, kept_lines
from loomproof.records.signers import KnownSigners
from loomproof.records.store import Repair, Store, open_store
from loomproof.records.taking_in import Taken, take_in
from loomproof.records.trusted import relied_on, trusted_runs
from loomproof.records.unfinished_runs import Started, broken_off, place_of, started_here
from loomproof.records.unnoted import outsiders, unnoted
from loomproof.records.withdrawn import marked, withdraw
from loomproof.reports.label import label_pdf
from loomproof.reports.listing import Cell
from loomproof.reports.words import plural, when
from loomproof.results.document import Document
from loomproof.results.learned import Learned

__all__ = ["BROKEN_OFF_HEADS", "RUN_HEADS", "Archive", "Repair", "Run", "Shelf", "Wanted", "days", "kept_as"]

EVERY = Wanted()
"""Every run."""

SELFTEST_HEADS = ("self-test of", "made", "plugged", "result")


def kept_as(loom: str) -> str:
    """Return what a loom's records are found by: its own serial or name where a path to it is given."""
    path = Path(loom)
    if not (path.is_dir() or (path.is_file() and path.suffix.lower() in WORKBOOKS)):
        return loom
    described = load(path).loom
    return described.serial or described.name


def selftest_texts(tests: Iterable[SelfTest]) -> Iterator[tuple[str | Cell, ...]]:
    """Yield a row of texts for each self-test, as `SELFTEST_HEADS` names them; what failed is named."""
    for test in tests:
        failed = ", ".join(check.name for check in test.checks if not check.passed)
        result = Cell(f"FAILED: {failed}", "red") if failed else Cell("passed", "green")
        if test.study is not None:
            result = Cell(str(test.study))
        yield test.bench, when(test.date)[:16], test.plugged, result


class Archive:
    """The records in one store: ``store`` is a file or a database's address, ``None`` the person's own.

    A run is named by its name, the start of its hash, or ``last``. Methods raise `UsageError` for one that
    there is not, `RecordError` for what does not hold, `StoreError` for a store that can't be used.
    """

    def __init__(self, store: str | None = None) -> None:
        self.store = store
        self.told: list[Problem] = []
        """What a person should know of the store: that it is away, what was handed over to it."""
        self._at = store
        self._away: StoreError | None = None

    @contextmanager
    def _open(self, *, changes: bool = False, stand_in: bool = True, filled: bool = False) -> Iterator[Store]:
        """Open the store; after changes note how far it has come, where it is one of ours.

        ``filled``: it was empty before this command filled it, and what is in it is as it should be.

        While a server is away this bench's outbox stands in for it; without ``stand_in`` its `StoreAwayError`
        is raised, for what rests on all that is kept.
        """
        with at_hand(self.store, trouble=self._away) as hand:
            self._away = hand.trouble
            if hand.trouble is not None and not stand_in:
                raise hand.trouble
            self._at = hand.at
            hand.opened = Opened(0, filled=True) if filled else hand.opened
            yield hand.store
            if changes:
                hand.hand_over()
                hand.note_if_ours()
            self.told += said_of(hand)

    def where(self) -> tuple[str, int]:
        """Return where the store is, and how many runs it holds."""
        with self._open(stand_in=False) as opened:
            return opened.where, len(opened.runs(limit=None))

    def shelf(
        self,
        loom: str | None = None,
        limit: int | None = None,
        wanted: Wanted = EVERY,
        *,
        stand_in: bool = False,
    ) -> Shelf:
        """Return the last runs of a loom (by name, serial or digest) or of all, in the order of the log.

        With ``stand_in`` those in the outbox while a server is away, which is told.
        """
        with self._open(stand_in=stand_in) as opened:
            runs = trusted_runs(opened, KnownSigners(home()).all(), loom, None if wanted else limit)
            runs = tuple(filter(wanted.takes, runs))[-limit if limit else None :]
            broken = tuple(filter(wanted.takes_started, self._broken_off(opened, loom)))
            troubles = (*self._not_as_noted(opened), *(one.trouble for one in runs if one.trouble))
        return Shelf(runs, broken[-limit:] if limit else broken, troubles)

    def broken_off(self) -> tuple[Started, ...]:
        """Return all runs that were begun and have no record here, as they were begun."""
        with self._open(stand_in=False) as opened:
            return self._broken_off(opened)

    def _broken_off(self, opened: Store, loom: str | None = None) -> tuple[Started, ...]:
        if self._at != self.store:  # in an outbox: what has no record there may have one on the server
            return ()
        begun = started_here(self.store, loom, lambda names: queries.sealed_runs(opened, names))
        return broken_off(begun, queries.sealed_runs(opened, [one.run for one in begun]))

    def looms(
        self, said: str = "", limit: int | None = None, before: Listing | None = None
    ) -> tuple[tuple[KeptLoom, ...], int, Listing]:
        """Return the looms in which words are found, how many, and all (``before``: those known so far)."""
        with self._open(stand_in=False) as opened:
            listed = listing(opened, before)
            found = listed.found(said)
            return records_of(opened, found[:limit]), len(found), listed

    def refuse_unknown(self, loom: str | None) -> None:
        """Refuse a loom of which nothing is kept, naming the nearest one. Raises `UsageError`."""
        if loom is None or self.shelf(loom, 1, stand_in=True):
            return
        with self._open() as opened:
            names = {name for run in opened.runs(limit=1000) for name in (run.loom, run.serial)}
        raise UsageError(f"nothing is kept of {loom!r}", cure=suggestion(loom, names), do=Todo.RUNS)

    def _not_as_noted(self, opened: Store) -> tuple[str, ...]:
        """Return what was noted in the data folder and is no longer so in the store; quick."""
        return not_as_noted(home(), opened, self._at, KnownSigners(home()).all())[0]

    def not_as_noted(self) -> tuple[str, ...]:
        """Return what was noted in the data folder and is no longer so in the store; opens no record."""
        with self._open() as opened:
            return self._not_as_noted(opened)

    def not_vouched_for(self) -> tuple[str, ...]:
        """Return `not_as_noted`, and what was put into the store by other means; opens no record."""
        with self._open() as opened:
            found = unnoted(home(), opened, self._at)
            return (*self._not_as_noted(opened), *(() if found.shared else found.added))

    def run(self, run: str) -> Run:
        """Return a run's line."""
        with self._open() as opened:
            return opened.run(run)

    def corrected_by(self, run: str) -> str:
        """Return the run that corrects this one, "" where none does. Raises `UsageError` for no run."""
        with self._open() as opened:
            return corrections(opened).get(opened.run(run).hash, "")

    def standing_corrections(self) -> dict[str, Correction]:
        """Return what stands in place of each record that was corrected; nothing where there is no store."""
        if "://" not in (self.store or "") and not Path(place_of(self.store)).is_file():
            return {}
        with self._open(stand_in=False) as opened:
            return standing_corrections(opened, KnownSigners(home()).all())

    def sealed(self, run: str) -> bytes:
        """Return a run's sealed record, checked to be its own."""
        with self._open() as opened:
            return _verified(opened, run)[1]

    def certificate(self, run: str) -> bytes:
        """Return a run's certificate as PDF: the one issued before, else a new one."""
        with self._open(changes=True) as opened:
            return issue(opened, run)

    def label(self, run: str) -> bytes:
        """Return a label for the loom of a run as PDF."""
        with self._open() as opened:
            found = _verified(opened, run)[0]
        return label_pdf(found.document(), found.hash, found.fingerprint, found.link)

    def remarks(self, run: str) -> tuple[str, ...]:
        """Return what a run's record says was odd as it was sealed, such as a clock that went back."""
        with self._open() as opened:
            return _verified(opened, run)[0].remarks

    def document(self, run: str) -> Document:
        """Return a run's results, from the store or from a results file."""
        path = Path(run)
        if path.suffix == ".json" or (path.suffix in NO_RESULTS and path.is_file()):
            return results_in(path)
        with self._open() as opened:
            return _verified(opened, run)[0].document()

    def proof_of(self, loom: Loom, run: str | None = None) -> Document | None:
        """Return the proof named, else the latest of this description, else the latest by the loom's name.

        Raises `RecordError` where it does not hold or the store is not whole, `UnknownSignerError` where
        nobody here knows who sealed it: what says that a loom is ready rests on it.
        """
        with self._open(stand_in=False) as opened:
            for trouble in self._not_as_noted(opened):
                raise RecordError(trouble, do=Todo.CHECK_RECORDS)
            if run is None:
                kept = opened.runs(loom.digest, 1) or opened.runs(loom.name, 1)
                if not kept:
                    return None
                run = kept[-1].hash
            return relied_on(opened, run, KnownSigners(home()).all()).document()

    def correct(
        self,
        run: str,
        why: str,
        *,
        person: str | None = None,
        place: str | None = None,
        serial: str | None = None,
        authoriser: str = "",
        by: str = "",
    ) -> str:
        """Correct what was typed in wrongly for a run: `loomproof.jobs.correct.correct`."""
        sealed = partial(correct, run, why, store=self.store, told=self.told)
        return sealed(person=person, place=place, serial=serial, authoriser=authoriser, by=by)

    def repaired(
        self, run: str, person: str, words: str, finding: int = 0, found: str | None = None
    ) -> Repair:
        """Note what was done about a finding (0: the whole run); the next certificate shows it.

        ``found`` is what its cause was, as `loomproof.jobs.teaching.found_by` reads it: kept beside the note,
        and taught from. Raises `UsageError` for what is no cause.
        """
        said = rfc3339_seconds(now())
        with self._open(changes=True) as opened:
            if found is None:
                return opened.add_repair(run, person, words, said, finding)
            document = _verified(opened, run)[0].document()
            line = confirmed(document, finding, found_by(found, document, finding), person, said)
            made = opened.add_repair(run, person, words, said, finding)
            add_confirmed(opened, run, line)
        return made

    def confirmed(self, run: str) -> tuple[ConfirmedLine, ...]:
        """Return what was confirmed as the causes of a run's findings."""
        with self._open() as opened:
            return confirmed_lines(opened, MOST_CASES, run=run)

    def learned(self, document: Document) -> Learned | None:
        """Return what the confirmed causes in the store teach of the looms that a run is one of."""
        with self._open() as opened:
            return learned_for(opened, document, self._at)

    def repairs(self, run: str | None = None) -> tuple[tuple[str, Repair], ...]:
        """Return what was noted as done and whether it stands, by record (hash): of a run, or of all."""
        with self._open(stand_in=run is not None) as opened:
            return tuple(marked(opened, None if run is None else opened.run(run).hash))

    def withdraw(self, run: str, person: str, why: str, finding: int = 0) -> Repair:
        """Withdraw what was noted of a finding (0: the whole run): `loomproof.records.withdrawn.withdraw`."""
        with self._open(changes=True) as opened:
            return withdraw(opened, run, person, why, rfc3339_seconds(now()), finding)

    def answers(self, run: str) -> tuple[str, ...]:
        """Return what was told of a run's findings, after it was sealed."""
        with self._open() as opened:
            return opened.answers(run)

    def answer(self, run: str, answers: Iterable[str]) -> None:
        """Keep what was told of a run's findings; an empty answer takes back those before."""
        with self._open(changes=True) as opened:
            for each in answers:
                opened.add_answer(run, each, rfc3339_seconds(now()))

    def check(self) -> Integrity:
        """Verify every seal, chain, journal, certificate and row, and that nothing newer is missing."""
        return check_all(self.store, self.told)

    def deletions(self) -> dict[str, str]:
        """Return of each record whose body was deleted by a rule, by its hash, when it was and by whom."""
        if "://" not in (self.store or "") and not Path(place_of(self.store)).is_file():
            return {}
        with self._open(stand_in=False) as opened, opened.reading() as connection:
            return words_by_hash(connection)

    def benches(self) -> tuple[tuple[queries.BenchLine, ...], tuple[queries.AdapterLine, ...]]:
        """Return the benches with their last checks, and the adapters that were used."""
        with self._open(stand_in=False) as opened:
            return queries.benches(opened), queries.adapters(opened)

    def bench_lines(self) -> Iterator[str]:
        """Yield `benches` as lines of text."""
        benches, adapters = self.benches()
        for bench in benches:
            count, ended = plural(bench.records, "record"), when(bench.last_ended)
            yield f"{bench.bench}: {count}, last proof ended {ended}"
            for name, passed, words in bench.checks:
                yield f"  {'passed' if passed else 'FAILED'}  {name}{': ' + words if words else ''}"
        for table in adapters:
            yield f"adapter {table.name}, {table.digest[:16]}, first used {when(table.first_used)}"

    def keep_selftests(self) -> int:
        """Keep this person's self-tests of benches in the store as well; return how many were new."""
        tests = tuple(kept(selftests()))
        with self._open(changes=True, stand_in=False) as opened:
            return keep_lines(opened, (SelfTestLine(test.date, test.bench, line_of(test)) for test in tests))

    def selftests(self) -> tuple[SelfTest, ...]:
        """Return the self-tests in the store and those of this person, oldest first.

        Without those that were put into a store of this account alone by other means.
        """
        with self._open(stand_in=False) as opened:
            without = outsiders(home(), opened, self._at, SELFTESTS)
            stored = [of_line(each.line) for each in kept_lines(opened, without)]
        found = dict.fromkeys((*stored, *kept(selftests())))
        return tuple(sorted(found, key=lambda test: started_moment(test.date)))

    def backup(self, file: Path) -> int:
        """Write all records to one file; return how many runs. Raises `UsageError` for one that is there."""
        with self._open(stand_in=False) as opened:
            return backup(opened, file)

    def restore(self, file: Path) -> tuple[str, int, tuple[str, ...]]:
        """Fill an empty store from a backup; return where, how many runs it holds, and what is wrong."""
        refuse_no_backup(file)
        with open_store(self.store) as empty:  # before anything is handed over to it
            count = restore(file, empty)
        with self._open(changes=True, stand_in=False, filled=True) as opened:
            # What a bench was found to be goes on to count, also on a new machine.
            mine = {line_of(test) for test in kept(selftests())}
            for each in kept_lines(opened):
                if each.line not in mine:
                    keep_selftest(of_line(each.line))
            where = opened.where
        return where, count, self.check().troubles

    def take_in(self, source: str) -> Taken:
        """Take in the records of another bench: its store, a sealed record, or a folder of them."""
        with self._open(changes=True, stand_in=False) as opened:
            return take_in(source, opened)

    def write_certificate(self, run: str, out: Path | None = None, *, sealed: bool = False) -> Path:
        """Write a run's certificate, or what was ``sealed``, and return where: by a name of its own else."""
        kept = self.run(run)
        ending, read = ("record.json", self.sealed) if sealed else (f"{kept.verdict}.pdf", self.certificate)
        return _write(kept, read, ending, out)

    def write_label(self, run: str, out: Path | None = None) -> Path:
        """Write a label for the loom of a run, and return where: under a name of its own if none is given."""
        return _write(self.run(run), self.label, "label.pdf", out)


def _write(run: Run, read: Callable[[str], bytes], ending: str, out: Path | None) -> Path:
    """Write what is read of a run. Raises `UsageError` for a name with another ending."""
    path = out or Path(f"{name_of(run.run, run.loom, run.serial)}.{ending}")
    ends_in(path, Path(ending).suffix)
    write_file(path, read(run.hash))
    return path


def _verified(opened: Store, run: str) -> tuple[Verified, bytes]:
    found = opened.run(run)
    record = opened.record(found.hash)
    verified = verify(record, name=f"run {found.run}")
    of_this_run(verified, found, "the sealed record")
    return verified, record
