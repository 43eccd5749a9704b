"""Rows without a seal: what this account's own commands add is no trouble, what others add is told."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.cli.main import run
from loomproof.jobs.archive import Archive
from loomproof.jobs.at_hand import at_hand
from loomproof.records.data_folder import home
from loomproof.records.keys import KeyFolder, new_signer
from loomproof.records.noting import note
from loomproof.records.seal import verify
from loomproof.records.store import open_store
from loomproof.results.document import Verdict
from tests.records.conftest import NOW
from tests.records.edits import sql
from tests.reports.sample import document

Output = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def _kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with open_store() as store:
        signer = KeyFolder(home()).signer(NOW)
        store.seal_run(document(run="first", verdict=Verdict.FAIL, findings=1), signer)
        note(home(), signer, store)
    assert run(["repaired", "first", "new terminal", "--person", "Mia"]) == 0


def test_what_own_commands_add_is_no_trouble(capsys: Output) -> None:
    Archive().answer("first", ["W1 sound"])
    assert run(["bench", "selftest", "--bench", "sim:?points=4", "--made-safe"]) == 0
    assert run(["records", "benches"]) == 0
    assert run(["records", "check"]) == 0
    assert "nothing was changed" in capsys.readouterr().out


def test_in_a_store_that_others_use_an_added_row_cannot_be_told_from_theirs(capsys: Output) -> None:
    stranger = new_signer(NOW)
    with open_store() as store:
        store.seal_run(document(run="theirs"), stranger)
        store.add_repair("first", "B", "well done", "2026-01-06T10:00:00+00:00")
    assert run(["key", "show"]) == 0
    capsys.readouterr()
    assert run(["records", "check"]) == 4
    captured = capsys.readouterr()
    assert "repairs: added by no command of this account (row 2)" in captured.err
    assert run(["repaired", "first", "again", "--person", "Mia"]) == 0
    assert run(["key", "know", "the far shop", stranger.public_hex]) == 0
    assert "row 2" not in capsys.readouterr().err
    for words in ("one", "two"):
        assert run(["records", "check"]) == 0
        assert "repairs: 1 row was added by other accounts" in " ".join(capsys.readouterr().out.split())
        assert run(["repaired", "first", words, "--person", "Mia"]) == 0
    sql("UPDATE repairs SET words = 'x' WHERE id = 2")(home())
    assert run(["records", "check"]) == 5, "what was taken for theirs is held from then on"


_ADDED = (
    "INSERT INTO repairs (run_id, finding, person, done, words) VALUES (1, 1, 'M', '2026-01-06', 'all well')",
    "INSERT INTO confirmed (run_id, finding, person, said, cause, line) VALUES (1, 1, 'M', 'x', 'y', 'z')",
    "INSERT INTO answers (run_id, said, words) VALUES (1, 'x', 'y')",
    "INSERT INTO selftests (tested, bench, line) VALUES ('x', 'y', '{}')",
)


def test_what_other_means_added_no_command_takes_in(capsys: Output) -> None:
    sql(*_ADDED)(home())
    tables = ("repairs: ", "confirmed: ", "answers: ", "selftests: ")
    for words in ("one", "two"):
        capsys.readouterr()
        assert run(["repaired", "first", words, "--person", "Mia"]) == 0
        said = " ".join(capsys.readouterr().err.split())
        for table in tables:
            assert f"{table}added by no command of this account" in said
        assert "stays outside" in said
        assert "is told in no later record. loomproof records check" in said
        assert run(["records", "check"]) == 5
        told = capsys.readouterr().err
        assert "added by no command of this account (row 2)" in told
        assert all(table in told for table in tables)
        assert "gone, changed" not in told
    sql("DELETE FROM repairs WHERE id = 2")(home())
    assert run(["records", "check"]) == 5, "also when it was taken out again"
    assert "repairs: added by no command of this account (row 2)" in capsys.readouterr().err
    sql("DELETE FROM repairs WHERE id = 3")(home())
    run(["records", "check"])
    assert "repairs: rows that were noted are gone" in capsys.readouterr().err


def test_no_later_record_tells_what_other_means_noted(capsys: Output) -> None:
    sql(_ADDED[0])(home())
    with at_hand(None) as hand:
        signer = KeyFolder(home()).in_use()
        later = hand.seal(document(run="second", verdict=Verdict.PASS, findings=0), signer)
        hand.note(signer)
        mended = str(verify(later.record).extras["mended"])
    assert "new terminal" in mended
    assert "all well" not in mended
    assert any("repairs: added by no command" in told for told in hand.wrong)


def test_a_command_cut_off_before_it_noted_what_it_added_is_no_trouble(
    capsys: Output, monkeypatch: pytest.MonkeyPatch
) -> None:
    def power_cut(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("loomproof.jobs.at_hand.note", power_cut)
        run(["repaired", "first", "again", "--person", "Mia"])
    capsys.readouterr()
    for _ in range(2):
        assert run(["records", "check"]) == 0
        assert "nothing was changed" in capsys.readouterr().out
        assert run(["repaired", "first", "once more", "--person", "Mia"]) == 0
    # What was announced stands for one row.
    columns = "(run_id, finding, person, done, words)"
    copied = "SELECT run_id, finding, person, done, words FROM repairs WHERE id = 2"
    sql(f"INSERT INTO repairs {columns} {copied}")(home())
    assert run(["records", "check"]) == 5


def test_what_was_imported_is_this_commands_own(tmp_path: Path, capsys: Output) -> None:
    with open_store(str(tmp_path / "other.db")) as other:
        other.seal_run(document(run="theirs", findings=1), new_signer(NOW, "faraway1"))
        other.add_repair("theirs", "B", "their note", "2026-01-06T10:00:00+00:00")
    assert run(["records", "import", str(tmp_path / "other.db")]) == 0
    capsys.readouterr()
    run(["records", "check"])
    said = capsys.readouterr()
    assert "repairs:" not in said.out + said.err
