"""``loomproof match`` as a person types it."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.cli.main import run
from loomproof.loom.reading import load
from loomproof.loom.writing import write_folder
from tests.matching.test_match import KNOWN, TRACED

Captured = pytest.CaptureFixture[str]


@pytest.fixture
def folders(tmp_path: Path) -> tuple[str, str]:
    write_folder(TRACED, tmp_path / "traced")
    write_folder(KNOWN, tmp_path / "known")
    return str(tmp_path / "traced"), str(tmp_path / "known")


def test_it_says_what_is_sure_and_what_to_touch(folders: tuple[str, str], capsys: Captured) -> None:
    assert run(["match", *folders]) == 0
    out = capsys.readouterr().out
    assert "3 connectors of 5 sure; of what known joins, 100% was found so." in out
    assert "Touch next: hold the probe on INJ" in out
    assert "only a touch or a look tells" in out


def test_nothing_is_taken_over_but_what_is_accepted(
    folders: tuple[str, str], tmp_path: Path, capsys: Captured
) -> None:
    target = tmp_path / "new"
    said = ["--touched", "a:1 INJ2:2", "--take", "sure", "--to", str(target)]
    assert run(["match", *folders, *said]) == 0
    loom = load(target).loom
    assert {c.name for c in loom.connectors if c.cavities} == {"ECU", "MAP", "BULK", "INJ1", "INJ2"}
    assert run(["check", str(target)]) in (0, 2)
    assert run(["match", *folders, *said]) == 2
    assert "exists already" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("said", "told"),
    [
        (["--take", "sure"], "Give --take and --to together"),
        (["--to", "new"], "Give --take and --to together"),
        (["--touched", "a:1"], "two ends are expected"),
        (["--touched", "a:1 INJ9:1"], "there is no end INJ9:1"),
        (["--take", "q", "--to", "new"], "there is no connector q"),
    ],
)
def test_what_cannot_be_meant_is_refused(
    folders: tuple[str, str],
    said: list[str],
    told: str,
    capsys: Captured,
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["match", *folders, *said]) == 2
    assert told in capsys.readouterr().err
    assert not (tmp_path / "new").exists()
