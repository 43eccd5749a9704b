"""A data folder with a store in it, as the commands leave it, to be changed behind the program's back."""

from __future__ import annotations

import datetime
import hashlib
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

from loomproof.jobs.certificate import issue
from loomproof.measuring.selftests_kept import SelfTest, keep, line_of
from loomproof.measuring.zeros_kept import LeadZero, Zero, keep_zero
from loomproof.records.confirmed import ConfirmedLine, add_confirmed
from loomproof.records.data_folder import SELFTEST_LINES, ZERO_LINES
from loomproof.records.keys import KeyFolder, Signer
from loomproof.records.noting import note
from loomproof.records.selftests import SelfTestLine, keep_lines
from loomproof.records.store import open_store
from loomproof.records.unfinished_runs import note_started
from loomproof.results.document import Document, Verdict
from tests.reports.sample import document

NOW = datetime.datetime(2026, 1, 5, 10, 15, tzinfo=datetime.UTC)
RUNS = ("one", "two", "three", "four")
"""Pass, fail, pass of another loom, fail; two and four are of the first loom."""


DAYS = ("2026-01-02T08:00:00Z", "2026-01-03T08:00:00Z")
"""When the bench was tested."""


def journal_of(run: str) -> bytes:
    return f'{{"journal of": "{run}"}}\n'.encode() * 50


def made(run: str) -> Document:
    at = RUNS.index(run)
    stamp = f"2026-01-0{at + 1}T09:0"
    return document(
        run=run,
        verdict=Verdict.FAIL if run in ("two", "four") else Verdict.PASS,
        findings=2 if run in ("two", "four") else 0,
        serial="TL-0009" if run == "three" else "TL-0007",
        started=f"{stamp}0:00+00:00",
        ended=f"{stamp}1:00+00:00",
        journal_digest=hashlib.sha256(journal_of(run)).hexdigest(),
    )


def furnish(folder: Path) -> Signer:
    """Fill an empty data folder (it must be the one in use) as the commands do; returns its key.

    Beside it, ``older.db`` is the store as it was before the last run.
    """
    signer = KeyFolder(folder).signer(NOW)
    tests = [SelfTest("Own build", "scanner 128", "SB-1", day, "nothing", ()) for day in DAYS]
    for test in tests:
        keep(test, folder / SELFTEST_LINES)
        zero = Zero(test.maker, test.model, test.serial, test.date, "w", (LeadZero(1, 0.1, 0.01),))
        keep_zero(zero, folder / ZERO_LINES)
    for run in RUNS:
        if run == RUNS[-1]:
            note_started("stopped", "Tail lamp loom, left", made(run).started, Path("j"), serial="TL-0007")
            shutil.copy(folder / "records.db", folder.parent / "older.db")
        loom = made(run).loom
        note_started(run, loom.name, made(run).started, Path("j"), serial=loom.serial, digest=loom.digest)
        with open_store(None, folder) as store:
            store.seal_run(made(run), signer, journal_of(run))
            issue(store, run)
            if run == "two":
                store.add_repair("two", "B. Mender", "new terminal", "2026-01-02T10:00:00+00:00", finding=1)
                store.add_answer("two", "W1 sound", "2026-01-02T10:00:00+00:00")
                said = ("B. Mender", "2026-01-02T10:00:00+00:00", "bad_contact", "{}")
                add_confirmed(store, "two", ConfirmedLine("two", 1, *said))
                keep_lines(store, [SelfTestLine(test.date, test.bench, line_of(test)) for test in tests])
            note(folder, signer, store)
        with closing(sqlite3.connect(folder / "records.db")) as connection:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return signer
