"""Rows without a seal: what this account's own commands add is no trouble, what others add is told."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.cli.main import run
from loomproof.jobs.archive import Archive
from loomproof.records.data_folder import home
from loomproof.records.keys import KeyFolder, new_signer
from loomproof.records.noting import note
from loomproof.records.store import open_store
from tests.records.conftest import NOW
from tests.reports.sample import document

Output = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def _kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with open_store() as store:
        signer = KeyFolder(home()).signer(NOW)
        store.seal_run(document(run="first"), signer)
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
    capsys.readouterr()
    run(["records", "check"])
    assert "repairs:" not in capsys.readouterr().err, "the next note takes it in, as the help says"
