"""An outbox that was deleted with a sealed proof in it is told; no server is needed to see that."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.cli.main import run
from loomproof.records.data_folder import home
from loomproof.records.keys import KeyFolder
from loomproof.records.noting import note
from loomproof.records.outbox import open_outbox
from tests.records.conftest import NOW
from tests.reports.sample import document


def test_an_outbox_that_is_gone_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    signer = KeyFolder(home()).signer(NOW)
    with open_outbox("shop:5432/looms") as own:
        own.seal(document(run="waits"), signer, server=None)
        note(home(), signer, own.store, own.store.where)
    assert run(["records", "hand-over"]) == 0
    assert run(["records", "check"]) == 0
    capsys.readouterr()
    for path in home().glob("outbox-*.db*"):
        path.unlink()
    for command in ("hand-over", "check"):
        assert run(["records", command]) == 5
        said = capsys.readouterr()
        assert "the outbox noted here (last record 1 of " in said.err
        assert "run waits) is not here" in said.err
        assert "nothing was changed" not in said.out
    with open_outbox("shop:5432/looms") as own:
        own.seal(document(run="later"), signer, server=None)
        note(home(), signer, own.store, own.store.where)
    assert run(["records", "check"]) == 5, "another one in its place makes nothing good"
    assert "run waits) is not here" in capsys.readouterr().err
