"""Backup, restore, records of another bench, and the check of a whole store."""

from __future__ import annotations

import sqlite3
import zlib
from pathlib import Path

import pytest

from loomproof.errors import StoreError, UsageError
from loomproof.records.backup import backup, restore
from loomproof.records.integrity import check_store
from loomproof.records.keys import Signer, new_signer
from loomproof.records.pdf_signature import sign_pdf
from loomproof.records.queries import sealed_records
from loomproof.records.seal import Chain, seal, verify
from loomproof.records.selftests import SelfTestLine, keep_lines, kept_lines
from loomproof.records.store import Store, open_store
from loomproof.records.taking_in import take_in
from loomproof.records.trusted import found_in, trusted_runs
from loomproof.reports.certificate import certificate_pdf
from loomproof.results.document import Verdict
from tests.records.conftest import NOW
from tests.reports.sample import document


@pytest.fixture
def filled(store: Store, signer: Signer) -> Store:
    store.seal_run(document(run="a", findings=2), signer, b"journal of a")
    store.add_repair("a", "B. Mender", "new terminal", "2026-01-06T09:00:00+00:00", finding=1)
    store.seal_run(document(run="b", verdict=Verdict.PASS), signer, b"journal of b")
    store.add_certificate("b", certificate(store, "b", signer), "2026-01-06")
    store.add_answer("a", "W1 sound", "2026-01-06T08:00:00+00:00")
    keep_lines(store, [SELFTEST])
    return store


SELFTEST = SelfTestLine(
    "2026-01-06T07:00:00Z", "Own build scanner 128 SB-1", '{"date": "2026-01-06T07:00:00Z"}'
)


def certificate(store: Store, run: str, signer: Signer) -> bytes:
    record = store.record(run)
    verified = verify(record)
    drawn = certificate_pdf(record, fingerprint=verified.fingerprint, link=verified.link)
    return sign_pdf(drawn, signer, NOW)


def everything(store: Store) -> object:
    return (
        [(run, bytes(record)) for run, record in sealed_records(store)],
        found_in(trusted_runs(store, {})),
        store.repairs("a"),
        store.journal("b"),
        store.certificate("b"),
        store.answers("a"),
        kept_lines(store),
    )


def test_a_backup_restored_is_the_same_store(filled: Store, tmp_path: Path, signer: Signer) -> None:
    assert backup(filled, tmp_path / "backup.db") == 2
    assert not list(tmp_path.glob("backup.db?*")), "one file"
    with open_store(str(tmp_path / "again.db")) as again:
        assert restore(tmp_path / "backup.db", again) == 2
        assert everything(again) == everything(filled)
        assert check_store(again).troubles == ()
        assert again.seal_run(document(run="c"), signer).run.sequence == 3


def test_a_backup_may_be_restored_to_either_database(
    url: str, tmp_path_factory: pytest.TempPathFactory, signer: Signer
) -> None:
    folder = tmp_path_factory.mktemp("origin")
    with open_store(str(folder / "origin.db")) as origin, open_store(url) as target:
        origin.seal_run(document(run="a"), signer)
        origin.seal_run(document(run="b"), signer)
        origin.add_certificate("b", b"%PDF", "2026-01-06")
        backup(origin, folder / "backup.db")
        restore(folder / "backup.db", target)
        assert everything(target) == everything(origin)
        assert target.seal_run(document(run="c"), signer).run.id == 3


def test_a_backup_and_a_restore_overwrite_nothing(filled: Store, tmp_path: Path) -> None:
    (tmp_path / "there").write_text("mine")
    with pytest.raises(UsageError, match="file already"):
        backup(filled, tmp_path / "there")
    assert (tmp_path / "there").read_text() == "mine"
    backup(filled, tmp_path / "backup.db")
    with pytest.raises(UsageError, match="not empty"):
        restore(tmp_path / "backup.db", filled)
    with pytest.raises(UsageError, match="no such backup"):
        restore(tmp_path / "none.db", filled)


def test_a_backup_that_cannot_be_written_leaves_nothing(filled: Store, tmp_path: Path) -> None:
    with pytest.raises(StoreError):
        backup(filled, tmp_path / "no such folder" / "backup.db")
    (tmp_path / "text").write_text("no database " * 200)
    with open_store(str(tmp_path / "fresh.db")) as fresh, pytest.raises(UsageError, match="no store"):
        restore(tmp_path / "text", fresh)


def test_a_sound_store_has_no_troubles(filled: Store) -> None:
    found = check_store(filled)
    assert found.troubles == ()
    assert (found.records, found.journals, found.certificates, found.chains) == (2, 2, 1, 1)


def tampered(path: Path, *statements: tuple[str, tuple[object, ...]]) -> None:
    """Change a store behind its guards, as somebody with the file could."""
    with sqlite3.connect(path) as connection:
        names = [
            row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        ]
        for name in names:
            connection.execute(f"DROP TRIGGER {name}")
        for statement, values in statements:
            connection.execute(statement, values)
    connection.close()


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("UPDATE runs SET verdict = 'pass' WHERE run = 'a'", "verdict: the store's table says 'pass'"),
        ("UPDATE looms SET name = 'other'", "loom: the store's table says"),
        ("DELETE FROM records WHERE run_id = 1", "its record is missing"),
        ("UPDATE records SET packed = x'00' WHERE run_id = 1", "damaged"),
        ("UPDATE runs SET previous = hash WHERE run = 'b'", "before it, the store has"),
        ("UPDATE journals SET digest = '00' WHERE run_id = 1", "journal of run a: it was changed"),
        ("UPDATE certificates SET pdf = x'00'", "certificate of run b: it was changed"),
        ("UPDATE runs SET sequence = 5 WHERE run = 'b'", "record 2 was expected after 1"),
    ],
)
def test_a_changed_store_is_found_out(tmp_path: Path, signer: Signer, statement: str, said: str) -> None:
    path = tmp_path / "records.db"
    with open_store(str(path)) as store:
        store.seal_run(document(run="a"), signer, b"journal")
        store.seal_run(document(run="b"), signer)
        store.add_certificate("b", b"%PDF", "2026-01-06")
    tampered(path, (statement, ()))
    with open_store(str(path)) as store:
        troubles = check_store(store).troubles
    assert any(said in trouble for trouble in troubles), troubles


def test_a_record_changed_inside_the_store_is_found_out(tmp_path: Path, signer: Signer) -> None:
    path = tmp_path / "records.db"
    with open_store(str(path)) as store:
        record = store.seal_run(document(run="a"), signer).record
    forged = zlib.compress(record.replace(b'"verdict":"fail"', b'"verdict":"pass"'))
    tampered(path, ("UPDATE records SET packed = ?", (forged,)))
    with open_store(str(path)) as store:
        (trouble, *_) = check_store(store).troubles
    assert "does not match its hash" in trouble


def test_records_of_another_bench_are_taken_in_with_all_that_belongs_to_them(
    filled: Store, tmp_path: Path
) -> None:
    with open_store(str(tmp_path / "mine.db")) as mine:
        mine.seal_run(document(run="m"), new_signer(NOW, "mine0001"))
        taken = take_in(filled.where if "://" not in filled.where else _url(filled), mine)
        assert (taken.added, taken.already, taken.repairs, taken.conflicts) == (2, 0, 1, ())
        assert mine.journal("a") == b"journal of a"
        assert mine.repairs("a") == filled.repairs("a")
        assert mine.answers("a") == ("W1 sound",)
        assert mine.certificate("b") == filled.certificate("b")
        assert kept_lines(mine) == (SELFTEST,)
        assert (taken.answers, taken.certificates, taken.selftests) == (1, 1, 1)
        assert check_store(mine).troubles == ()
        again = take_in(filled.where if "://" not in filled.where else _url(filled), mine)
        assert (again.added, again.already, again.repairs) == (0, 2, 0)
        assert (again.answers, again.certificates, again.selftests) == (0, 0, 0)


def _url(store: Store) -> str:
    return store.where.replace("+psycopg", "")


def test_a_fork_of_one_chain_is_named_and_left_out(store: Store, signer: Signer, tmp_path: Path) -> None:
    kept = store.seal_run(document(run="a"), signer).run
    with open_store(str(tmp_path / "fork.db")) as fork:
        rival = fork.seal_run(document(run="z"), signer).run
    taken = take_in(str(tmp_path / "fork.db"), store)
    assert (taken.added, taken.already) == (0, 0)
    (conflict,) = taken.conflicts
    assert kept.hash[:16] in conflict
    assert rival.hash[:16] in conflict
    assert [run.run for run in store.runs()] == ["a"]


def test_a_folder_of_records_is_taken_in_and_bad_ones_are_named(
    store: Store, signer: Signer, tmp_path: Path
) -> None:
    folder = tmp_path / "handed over"
    folder.mkdir()
    good = seal(document(run="g").plain(), Chain("far", 1), signer)
    (folder / "good.json").write_bytes(good)
    (folder / "bad.json").write_bytes(good.replace(b"A. Tester", b"B. Tester"))
    (folder / "results.json").write_text("{}")
    taken = take_in(str(folder), store)
    assert taken.added == 1
    (conflict,) = taken.conflicts
    assert conflict.startswith(str(folder / "bad.json"))
    assert take_in(str(folder / "good.json"), store).already == 1
    with open_store(str(tmp_path / "far.db")) as far:
        far.seal_run(document(run="p"), signer)
        (folder / "p.pdf").write_bytes(pdf := certificate(far, "p", signer))
        (folder / "cut.pdf").write_bytes(pdf[:-2])
        (folder / "label.pdf").write_bytes(b"%PDF-1.7\n no seal")
    taken = take_in(str(folder), store)
    assert (taken.added, taken.already, taken.certificates) == (1, 1, 1), "a certificate carries its record"
    assert [conflict.partition(": ")[0] for conflict in taken.conflicts] == [
        str(folder / "bad.json"),
        str(folder / "cut.pdf"),
    ]
    assert store.certificate("p") == pdf
    assert take_in(str(folder / "p.pdf"), store).certificates == 0
    with pytest.raises(UsageError, match="no such"):
        take_in(str(tmp_path / "nothing"), store)


def test_records_that_came_in_disorder_are_checked_in_their_chain(store: Store, signer: Signer) -> None:
    with open_store(":memory:") as origin:
        first = origin.seal_run(document(run="a"), signer).record
        second = origin.seal_run(document(run="b"), signer).record
    store.add_run(second)
    store.add_run(first)
    assert check_store(store).troubles == ()


def test_a_chain_that_begins_late_is_said(store: Store, signer: Signer) -> None:
    store.add_run(seal(document().plain(), Chain("far", 3, "ab" * 32), signer))
    assert "records 1 to 2 are missing" in check_store(store).troubles[0]
