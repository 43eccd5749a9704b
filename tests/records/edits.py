"""A data folder with a store in it, and many ways to change it behind the program's back.

Each edit is what somebody who has the files could do with an editor, a copy of yesterday or a database tool.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import sqlite3
import zlib
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from loomproof.jobs.at_hand import at_hand
from loomproof.records.keys import KeyFolder, new_signer
from loomproof.records.noting import note
from loomproof.records.seal import Chain, seal
from loomproof.records.store import open_store
from loomproof.results.document import Verdict
from tests.records.furnished import NOW
from tests.reports.sample import document


@dataclass(frozen=True)
class Edit:
    """One way to change things; ``said`` is a part of what `records check` must say, with which exit code."""

    name: str
    do: Callable[[Path], None]
    said: str
    code: int = 5


def sql(*statements: str | tuple[str, tuple[object, ...]]) -> Callable[[Path], None]:
    """Change the store as a database tool does, its guards taken off first and put back after."""

    def do(folder: Path) -> None:
        with closing(sqlite3.connect(folder / "records.db")) as connection:
            guards = connection.execute(
                "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
            ).fetchall()
            for name, _ in guards:
                connection.execute(f"DROP TRIGGER {name}")
            for statement in statements:
                words, values = (statement, ()) if isinstance(statement, str) else statement
                connection.execute(words, values)
            for _, text in guards:
                connection.execute(text)
            connection.commit()

    return do


def run_id(run: str) -> str:
    return f"(SELECT id FROM runs WHERE run = '{run}')"


_COUNTED = ("counted_runs", "first_faults", "fault_names")
_OWNED = (
    "records",
    "journals",
    "findings",
    "finding_places",
    "readings",
    "repairs",
    "answers",
    "confirmed",
    "bench_checks",
    "certificates",
    *_COUNTED,
)


def without(*runs: str) -> Callable[[Path], None]:
    """Take runs out of every table, and their numbers out of the counters."""
    chosen = ", ".join(f"'{run}'" for run in runs)
    ids = f"(SELECT id FROM runs WHERE run IN ({chosen}))"
    return sql(
        *(f"DELETE FROM {table} WHERE run_id IN {ids}" for table in reversed(_OWNED)),
        f"DELETE FROM runs WHERE run IN ({chosen})",
        "UPDATE sqlite_sequence SET seq = (SELECT MAX(id) FROM runs) WHERE name = 'runs'",
        "UPDATE sqlite_sequence SET seq = (SELECT MAX(id) FROM certificates) WHERE name = 'certificates'",
    )


def exchanged(*tables: str) -> Callable[[Path], None]:
    """Exchange the numbers of the last two runs in the tables named."""
    statements = []
    for table in tables:
        column = "id" if table == "runs" else "run_id"
        for old, new in ((3, -3), (4, 3), (-3, 4)):
            statements.append(f"UPDATE {table} SET {column} = {new} WHERE {column} = {old}")
    return sql("PRAGMA foreign_keys = OFF", *statements)


def forged(*, in_place: bool) -> Callable[[Path], None]:
    """Seal a PASS with a stranger's key under this station's name, instead of the last FAIL or behind it."""

    def do(folder: Path) -> None:
        station = KeyFolder(folder).in_use().station
        stranger = new_signer(NOW, station)
        with closing(sqlite3.connect(folder / "records.db")) as connection:
            bench, sequence, digest, previous = connection.execute(
                "SELECT bench, sequence, hash, previous FROM runs ORDER BY sequence DESC LIMIT 1"
            ).fetchone()
        chain = Chain(bench, sequence, previous) if in_place else Chain(bench, sequence + 1, digest)
        passing = document(
            run="four" if in_place else "five", verdict=Verdict.PASS, started="2026-01-09T09:00Z"
        )
        record = seal(passing.plain(), chain, stranger)
        if in_place:
            without("four")(folder)
        with open_store(None, folder) as store:
            store.add_run(record)

    return do


def certificate_of_another(folder: Path) -> None:
    sql(
        f"UPDATE certificates SET (pdf, digest) = (SELECT pdf, digest FROM certificates WHERE run_id = "
        f"{run_id('one')}) WHERE run_id = {run_id('four')}"
    )(folder)


def certificate_repainted(folder: Path) -> None:
    """The very certificate, one byte of what the page shows changed, its digest made to fit."""
    with closing(sqlite3.connect(folder / "records.db")) as connection:
        (pdf,) = connection.execute(
            f"SELECT pdf FROM certificates WHERE run_id = {run_id('four')}"
        ).fetchone()
    data = bytearray(pdf)
    data[1200] ^= 1
    sql(
        (
            f"UPDATE certificates SET pdf = ?, digest = ? WHERE run_id = {run_id('four')}",
            (bytes(data), hashlib.sha256(data).hexdigest()),
        )
    )(folder)


def nonsense(*, fitting: bool) -> Callable[[Path], None]:
    data = b"%PDF-1.4 nothing"
    digest = hashlib.sha256(data).hexdigest()
    change = "pdf = ?, digest = ?" if fitting else "pdf = ?"
    return sql(
        (
            f"UPDATE certificates SET {change} WHERE run_id = {run_id('four')}",
            (data, digest) if fitting else (data,),
        )
    )


def record_rewritten(folder: Path) -> None:
    with closing(sqlite3.connect(folder / "records.db")) as connection:
        (packed,) = connection.execute(
            f"SELECT packed FROM records WHERE run_id = {run_id('four')}"
        ).fetchone()
    record = zlib.decompress(packed).replace(b'"verdict":"fail"', b'"verdict":"pass"')
    sql(
        (f"UPDATE records SET packed = ? WHERE run_id = {run_id('four')}", (zlib.compress(record),)),
        "UPDATE runs SET verdict = 'pass' WHERE run = 'four'",
    )(folder)


def older_copy(folder: Path) -> None:
    for tail in ("-wal", "-shm"):
        (folder / f"records.db{tail}").unlink(missing_ok=True)
    shutil.copy(folder.parent / "older.db", folder / "records.db")


def older_backup_restored(folder: Path) -> None:
    """As `records restore` fills a store that was made anew in the same place."""
    from loomproof.records.backup import restore

    for tail in ("", "-wal", "-shm"):
        (folder / f"records.db{tail}").unlink(missing_ok=True)
    with open_store(None, folder) as store:
        restore(folder.parent / "older.db", store)


def line_out(run: str) -> Callable[[Path], None]:
    def do(folder: Path) -> None:
        path = folder / "started.jsonl"
        lines = path.read_text().splitlines(keepends=True)
        path.write_text("".join(line for line in lines if json.loads(line)["run"] != run))

    return do


def line_edited(folder: Path) -> None:
    path = folder / "started.jsonl"
    path.write_text(path.read_text().replace('"stopped"', '"stoqqed"'))


def both(*steps: Callable[[Path], None]) -> Callable[[Path], None]:
    def do(folder: Path) -> None:
        for step in steps:
            step(folder)

    return do


def other_key(folder: Path) -> None:
    (folder / "keys" / "current.pem").write_bytes(new_signer(NOW, KeyFolder(folder).in_use().station).pem())


def head_edited(folder: Path) -> None:
    path = folder / "heads.json"
    path.write_bytes(path.read_bytes().replace(b'"place":"records.db"', b'"place":"records.da"'))


def head_rewritten(folder: Path) -> None:
    """The file made anew by a stranger's key, as if the store had only ever had three runs."""
    without("four")(folder)
    (folder / "heads.json").unlink()
    with open_store(None, folder) as store:
        note(folder, new_signer(NOW), store)


renamed = sql("UPDATE identity SET name = 'another'")


def one_more(folder: Path) -> None:
    """One proof more, sealed and noted as the commands do."""
    with at_hand(None) as hand:
        signer = KeyFolder(folder).in_use()
        hand.seal(document(run="five", started="2026-01-09T09:00:00+00:00"), signer)
        hand.note(signer)


def gone(name: str) -> Callable[[Path], None]:
    def do(folder: Path) -> None:
        path = folder / name
        shutil.rmtree(path) if path.is_dir() else path.unlink()

    return do


def column(name: str, value: str, run: str = "four") -> Edit:
    said = "loom:" if name == "loom_id" else name
    return Edit(f"runs.{name} edited", sql(f"UPDATE runs SET {name} = {value} WHERE run = '{run}'"), said)


NOTED = "rows that were noted are gone, changed or in another order"
_MISSING = "was sealed into this store and is not in it any more"

EDITS = (
    Edit("newest FAIL replaced by a PASS sealed with a stranger's key", forged(in_place=True), _MISSING),
    Edit("PASS sealed with a stranger's key put behind", forged(in_place=False), "signer unknown"),
    Edit("numbers of two runs exchanged in every table", exchanged("runs", *_OWNED), f"runs: {NOTED}"),
    Edit("numbers of two runs exchanged in runs only", exchanged("runs"), "the store's table says"),
    Edit("records of two runs exchanged", exchanged("records"), "the store's table says"),
    Edit("certificate of a FAIL replaced by a PASS, digest too", certificate_of_another, "of another record"),
    Edit("certificate repainted, digest too", certificate_repainted, "certificate of run four"),
    Edit("certificate replaced by nonsense, digest too", nonsense(fitting=True), "certificate of run four"),
    Edit("certificate replaced by nonsense", nonsense(fitting=False), "certificate of run four"),
    Edit("a certificate deleted", sql("DELETE FROM certificates WHERE id = 2"), f"certificates: {NOTED}"),
    Edit("certificates deleted", sql("DELETE FROM certificates"), f"certificates: {NOTED}"),
    Edit(
        "journal replaced by another run's, digest too",
        sql(
            "UPDATE journals SET (packed, digest) = (SELECT packed, digest FROM journals WHERE run_id = 1) "
            "WHERE run_id = 4"
        ),
        "not the one that the sealed record names",
    ),
    Edit(
        "journal's bytes replaced",
        sql("UPDATE journals SET packed = (SELECT packed FROM journals WHERE run_id = 1) WHERE run_id = 4"),
        "journal of run four: it was changed",
    ),
    Edit("a journal deleted", sql("DELETE FROM journals WHERE run_id = 4"), f"journals: {NOTED}"),
    Edit("journals deleted", sql("DELETE FROM journals"), f"journals: {NOTED}"),
    column("faults", "0"),
    column("notes", "7"),
    column("adapter", "'another'"),
    column("verdict", "'pass'"),
    column("person", "'N. Obody'"),
    column("started", "'2025-01-01T09:00:00+00:00'"),
    column("ended", "'2027-01-01T09:00:00+00:00'"),
    column("sequence", "9"),
    column("previous", "''"),
    column("hash", "'" + "ab" * 32 + "'"),
    column("key", "'" + "cd" * 32 + "'"),
    column("run", "'fore'"),
    column("kind", "'correction'"),
    column("loom_id", "2"),
    Edit("a finding's title edited", sql("UPDATE findings SET title = 'all well'"), "findings:"),
    Edit("findings made notes", sql("UPDATE findings SET severity = 'note'"), "findings:"),
    Edit(
        "findings emptied",
        sql("DELETE FROM finding_places", "DELETE FROM findings"),
        "findings:",
    ),
    Edit(
        "a finding's place edited",
        sql("UPDATE finding_places SET name = 'W9' WHERE what = 'wire' AND run_id = 4 AND number = 1"),
        "finding_places:",
    ),
    Edit("finding places emptied", sql("DELETE FROM finding_places"), "finding_places:"),
    Edit(
        "a time to mend edited", sql("UPDATE counted_runs SET mended_s = 1 WHERE run_id = 4"), "counted_runs:"
    ),
    Edit("a first fault taken out", sql("DELETE FROM first_faults WHERE number = 1"), "first_faults:"),
    Edit(
        "a fault's name edited", sql("UPDATE fault_names SET name = 'W9' WHERE what = 'wire'"), "fault_names:"
    ),
    Edit("counts emptied", sql(*(f"DELETE FROM {table}" for table in _COUNTED)), "counted_runs:"),
    Edit("a joint's reading edited", sql("UPDATE readings SET micro_ohm = 1 WHERE run_id = 4"), "readings:"),
    Edit("readings emptied", sql("DELETE FROM readings"), "readings:"),
    Edit("a bench check edited", sql("UPDATE bench_checks SET passed = 0 WHERE run_id = 4"), "bench_checks:"),
    Edit("bench checks emptied", sql("DELETE FROM bench_checks"), "bench_checks:"),
    Edit("an adapter's name edited", sql("UPDATE adapters SET name = 'x'"), "adapters:"),
    Edit("adapters emptied", sql("DELETE FROM adapters"), "adapters:"),
    Edit("a loom's serial number edited", sql("UPDATE looms SET serial = 'TL-1' WHERE id = 1"), "loom:"),
    Edit("a loom's description edited", sql("UPDATE looms SET description = 'x' WHERE id = 1"), "looms:"),
    Edit("a bench added", sql("INSERT INTO benches (name) VALUES ('none')"), "benches:"),
    Edit("a record's verdict rewritten, table too", record_rewritten, "does not match its hash"),
    Edit("a record damaged", sql("UPDATE records SET packed = x'00' WHERE run_id = 4"), "damaged"),
    Edit("a record deleted", sql("DELETE FROM records WHERE run_id = 2"), "missing"),
    Edit("newest run deleted", without("four"), _MISSING),
    Edit("two newest runs deleted", without("three", "four"), _MISSING),
    Edit("a run in the middle deleted", without("two"), "record 2 was expected after 1"),
    Edit("first run deleted", without("one"), "the records 1 to 1 are missing"),
    Edit("older copy of the file put back", older_copy, _MISSING),
    Edit("older backup restored", older_backup_restored, _MISSING),
    Edit("newest run deleted, and its line", both(without("four"), line_out("four")), _MISSING),
    Edit("newest run deleted, and the file of lines", both(without("four"), gone("started.jsonl")), _MISSING),
    Edit("a line of a proof that was broken off deleted", line_out("stopped"), "started.jsonl"),
    Edit("a line edited", line_edited, "started.jsonl"),
    Edit("file of lines deleted", gone("started.jsonl"), "started.jsonl"),
    Edit("keys deleted", gone("keys"), "sealed here and is not among the keys"),
    Edit("another key put in place", other_key, "sealed here and is not among the keys"),
    Edit("file of heads edited", head_edited, "heads.json: it was changed"),
    Edit("newest run deleted, heads rewritten by a stranger", head_rewritten, "is not among the keys"),
    Edit("file of heads deleted", gone("heads.json"), "heads.json: it is not there", code=4),
    Edit(
        "file of heads deleted, then one proof more",
        both(gone("heads.json"), one_more),
        "held runs of this account already (4)",
        code=4,
    ),
    Edit(
        "newest run and file of heads deleted, then one proof more",
        both(without("four"), gone("heads.json"), one_more),
        "held runs of this account already (3)",
        code=4,
    ),
    Edit("store's own name edited", renamed, "identity: "),
    Edit("store's own name edited, then one proof more", both(renamed, one_more), "identity: "),
    Edit(
        "store's own name edited, newest run deleted",
        both(sql("UPDATE identity SET name = 'another'"), without("four")),
        _MISSING,
    ),
)
