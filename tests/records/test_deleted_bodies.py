"""Bodies deleted by a rule: what they said is gone; that they were there, and who did it, can be checked."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from sqlalchemy import text

from loomproof.cli.main import run
from loomproof.records.confirmed import ConfirmedLine, add_confirmed
from loomproof.records.guards import guard_troubles
from loomproof.records.keys import KeyFolder
from loomproof.records.noting import note
from loomproof.records.store import open_store
from tests.records.edits import sql
from tests.records.furnished import furnish
from tests.reports.sample import document

Output = pytest.CaptureFixture[str]
DELETE = ["records", "delete-bodies", "--older-than", "30", "--by", "B. Keeper"]


@pytest.fixture(scope="module")
def furnished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with four proofs of January, their bodies deleted, and a certificate kept elsewhere."""
    place = tmp_path_factory.mktemp("deleted")
    with pytest.MonkeyPatch.context() as patch:
        home = place / "home"
        patch.setenv("LOOMPROOF_HOME", str(home))
        signer = furnish(home)
        assert run(["certificate", "two", "-o", str(place / "two.pdf")]) == 0
        assert run(["records", "backup", str(place / "before.db")]) == 0
        with open_store() as store:  # of this week: it stays
            store.seal_run(
                document(run="five", started="2999-01-09T09:00:00Z", ended="2999-01-09T09:01:00Z"), signer
            )
            add_confirmed(store, "two", ConfirmedLine("two", 1, "R. Epairer", "2026-01-03", "open", "{}"))
            note(home, signer, store)
        shutil.copytree(home, place / "before")
        assert run([*DELETE, "--yes"]) == 0
    return place


@pytest.fixture
def place(furnished: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    shutil.copytree(furnished, tmp_path / "moved")
    monkeypatch.setenv("LOOMPROOF_HOME", str(tmp_path / "moved" / "home"))
    return tmp_path / "moved"


def test_without_a_yes_nothing_is_deleted(
    place: Path, monkeypatch: pytest.MonkeyPatch, capsys: Output
) -> None:
    monkeypatch.setenv("LOOMPROOF_HOME", str(place / "before"))
    assert run([*DELETE, "--loom", "TL-0009"]) == 0
    said = capsys.readouterr().out
    assert "1 body would be deleted" in said
    assert "three, 2026-01-03, pass" in said
    assert "backups" in said
    assert run(["records", "check"]) == 0
    assert "5 records in 1 chain" in capsys.readouterr().out


def test_the_check_says_what_was_deleted_and_that_the_rest_is_whole(place: Path, capsys: Output) -> None:
    assert run(["records", "check"]) == 0
    out, err = capsys.readouterr()
    assert "1 record in 1 chain, 0 journals, 0 certificates" in out
    assert "4 records: body deleted by rule on " in out
    assert "by B. Keeper (older than 30 days)" in out
    assert out.splitlines()[-1] == "nothing else was changed"
    assert "missing" not in out + err


def test_what_a_body_said_is_nowhere_in_the_file(place: Path) -> None:
    with open_store() as store, store.reading() as connection:
        assert guard_troubles(connection) == ()
        for table, column in (("records", "packed"), ("journals", "packed"), ("certificates", "pdf")):
            query = text(f"SELECT max(length({column})) FROM {table} WHERE run_id < 5")
            assert connection.execute(query).scalar_one() == 0
    pdf = (place / "two.pdf").read_bytes()
    held = b"".join(path.read_bytes() for path in (place / "home").glob("records.db*"))
    assert pdf[2000:2200] in (place / "before" / "records.db").read_bytes(), "else this would tell nothing"
    assert pdf[2000:2200] not in held


def test_a_run_says_who_deleted_its_body(place: Path, capsys: Output) -> None:
    assert run(["verify", "two"]) == 4
    said = capsys.readouterr()
    assert "body deleted by rule on " in said.err
    assert "its verdict (fail)" in said.err
    assert "missing" not in said.err
    for words in (["findings", "two"], ["certificate", "two", "-o", str(place / "c.pdf")]):
        assert run(words) == 4
        assert "by B. Keeper" in capsys.readouterr().err
    assert run(["log"]) == 0
    said = capsys.readouterr()
    assert "FAIL (2), body deleted" in said.out
    assert run(["report"]) == 0
    assert "Left out: 4 records, body deleted by rule on" in capsys.readouterr().err


def test_a_certificate_kept_elsewhere_still_verifies_against_the_kept_hash(
    place: Path, capsys: Output
) -> None:
    assert run(["verify", str(place / "two.pdf")]) == 0
    out = capsys.readouterr().out
    assert "genuine: nothing was changed" in out
    assert "store        has this hash in its chain; body deleted by rule on " in out


@pytest.mark.parametrize(
    ("edit", "said"),
    [
        (
            "UPDATE runs SET verdict = 'pass' WHERE run = 'two'",
            "record 2 of .* what was kept of it is not as it was",
        ),
        (
            "UPDATE findings SET title = 'all well' WHERE run_id = 2",
            "record 2 of .* what was kept of it is not",
        ),
        (
            "UPDATE readings SET micro_ohm = micro_ohm + 1 WHERE run_id = 2",
            "record 2 of .* what was kept of it is not",
        ),
        ("DELETE FROM readings WHERE run_id = 2", "record 2 of .* what was kept of it is not"),
        (
            "INSERT INTO readings SELECT 2, 'a joint more', 0, 1, 1, 1",
            "record 2 of .* what was kept of it is not",
        ),
        ("UPDATE confirmed SET cause = 'missing'", "confirmed: rows that were noted are gone, changed"),
        ("UPDATE deletions SET by_whom = 'N. Obody'", "deletion 1: the store's table says something else"),
        (
            "UPDATE deletions SET entry = replace(entry, 'B. Keeper', 'N. Obody')",
            "deletion 1: it was changed",
        ),
        ("UPDATE records SET packed = x'' WHERE run_id = 5", "record 5 of .* no signed entry says"),
        ("DELETE FROM deleted_bodies WHERE run_id = 2", "record 2 of .* no signed entry says"),
    ],
)
def test_what_is_done_by_other_means_is_told(edit: str, said: str, place: Path, capsys: Output) -> None:
    sql("PRAGMA foreign_keys = OFF", edit)(place / "home")
    assert run(["records", "check"]) == 5
    err = capsys.readouterr().err
    assert re.search(said, err), err


def test_what_was_deleted_does_not_come_back_from_a_backup(place: Path, capsys: Output) -> None:
    assert run(["records", "import", str(place / "before.db")]) == 0
    assert run(["records", "check"]) == 0
    assert "1 record in 1 chain, 0 journals, 0 certificates" in capsys.readouterr().out


def test_the_chain_goes_on_and_a_second_deletion_follows_the_first(place: Path, capsys: Output) -> None:
    signer = KeyFolder(place / "home").in_use()
    with open_store() as store:
        store.seal_run(document(run="six", ended="2026-02-01T09:00:00Z"), signer)
        note(place / "home", signer, store)
    assert run([*DELETE, "--yes"]) == 0
    assert run([*DELETE, "--yes"]) == 0, "nothing is left to delete"
    capsys.readouterr()
    assert run(["records", "check"]) == 0
    assert "1 record: body deleted by rule on " in capsys.readouterr().out
    sql("DELETE FROM deleted_bodies WHERE deletion_id = 2", "DELETE FROM deletions WHERE id = 2")(
        place / "home"
    )
    assert run(["records", "check"]) == 5
    assert "deletions: rows that were noted are gone" in capsys.readouterr().err


def test_nobody_deletes_without_a_name(place: Path, capsys: Output) -> None:
    assert run(["records", "delete-bodies", "--older-than", "30", "--yes"]) == 2
    assert "without a name" in capsys.readouterr().err
