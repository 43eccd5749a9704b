"""The commands ``findings`` and ``compare``, on results files."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.cli.main import run
from loomproof.records.data_folder import home
from loomproof.records.keys import KeyFolder
from loomproof.records.store import open_store
from tests.diagnosis.test_expert import outcome_of
from tests.records.conftest import NOW

RESULTS = """{
  "schema": 1, "verdict": "fail", "run": "%s", "started": "", "ended": "",
  "loom": {"name": "x"}, "bench": {"address": "sim:"}, "adapter": {"name": "in-order"},
  "coverage": {}, "counts": {},
  "connectors": [{"name": "A", "kind": "plug", "rows": [["1", "2", "3"], ["10", "", "11"]]}],
  "findings": [%s]
}"""
CROSSED = """{
  "kind": "miswire", "cause": "crossed", "severity": "fault", "title": "W4 and W5 crossed at A:2 and A:3",
  "cavities": ["A:2", "A:3"], "wires": ["W4", "W5"], "wire_colours": ["BU", "BK"],
  "evidence": [{"text": "A:2 to B:2", "measured_ohm": 0.1}],
  "alternatives": [{"text": "W4 and W5 crossed at B:2 and B:3", "cause": "crossed",
    "cavities": ["B:2", "B:3"], "wires": ["W4", "W5"], "tell_apart": "Look into the back of A."}]
}"""


@pytest.fixture
def failed(tmp_path: Path) -> Path:
    path = tmp_path / "fail.json"
    path.write_text(RESULTS % ("one", CROSSED), encoding="utf-8")
    return path


def test_findings_are_shown_with_their_reasoning(failed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["findings", str(failed), "--details"]) == 0
    shown = capsys.readouterr().out
    assert "W4 and W5 crossed at A:2 and A:3" in shown
    assert "B:2 and B:3" in shown
    assert "open_wire" in shown


def test_the_face_of_the_connector_is_drawn_with_its_cavities_marked(
    failed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["findings", str(failed)]) == 0
    lines = capsys.readouterr().out.splitlines()
    at = next(number for number, line in enumerate(lines) if "from the mating side" in line)
    assert lines[at + 1].split() == ["1", "[", "2][", "3]"]
    assert lines[at + 2].split() == ["10", "11"]


def test_an_answer_is_taken(failed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["findings", str(failed), "--saw", "A sound"]) == 0
    shown = capsys.readouterr().out
    assert "W4 and W5 crossed at B:2 and B:3" in shown
    assert "W4 and W5 crossed at A:2 and A:3" not in shown
    assert "A was seen to be sound" in shown


def test_an_answer_that_changes_nothing_or_contradicts_is_told_and_a_file_keeps_none(
    failed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["findings", str(failed), "--saw", "W4 sound"]) == 0
    assert "W4 sound: changes nothing" in capsys.readouterr().out
    assert run(["findings", str(failed), "--saw", "A sound", "--saw", "B sound"]) == 0
    shown = capsys.readouterr().out
    assert "B sound: contradicts finding 1" in shown
    assert "Not kept" in shown
    assert run(["findings", str(failed)]) == 0
    assert "was seen to be" not in capsys.readouterr().out


@pytest.mark.parametrize("answer", ["W99 sound", "A perhaps"])
def test_an_answer_that_means_nothing_is_refused(
    failed: Path, answer: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["findings", str(failed), "--saw", answer]) == 2
    assert "Traceback" not in capsys.readouterr().err


def test_answers_are_kept_with_the_run_and_its_record_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    crossed = outcome_of('swap "REAR LAMP":1 "REAR LAMP":2')
    with open_store() as store:
        store.seal_run(crossed.document, KeyFolder(home()).signer(NOW))
        sealed = store.record(crossed.document.run)
    assert run(["findings", "last", "--saw", "REAR LAMP sound"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "REAR LAMP, from the mating side" in shown
    assert '"REAR LAMP" sound: taken for finding 1' in shown
    assert "crossed at" not in shown
    assert "joined again crossed on the way" in shown
    assert run(["findings", "last", "--saw", "adapter REAR LAMP:1 bad"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert 'The adapter\'s leads for "REAR LAMP":1 and "REAR LAMP":2' in shown
    assert '"REAR LAMP" was seen to be sound' in shown
    assert run(["findings", "last"]) == 0
    assert " ".join(capsys.readouterr().out.split()).count("was seen to be") == 2
    with open_store() as store:
        assert store.record(crossed.document.run) == sealed
    assert run(["findings", "last", "--forget"]) == 0
    shown = capsys.readouterr().out
    assert "was seen to be" not in shown
    assert "crossed at" in shown


def test_compare_says_what_a_repair_changed(
    failed: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mended = tmp_path / "pass.json"
    mended.write_text((RESULTS % ("two", "")).replace('"fail"', '"pass"'), encoding="utf-8")
    assert run(["compare", str(failed), str(mended)]) == 0
    shown = capsys.readouterr().out
    assert "before: one" in shown
    assert "gone: W4 and W5 crossed at A:2 and A:3" in shown
    assert run(["compare", str(mended), str(failed)]) == 0
    assert "new: W4 and W5 crossed at A:2 and A:3" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("loom", "says"),
    [
        ('{"name": "y"}', "These are proofs of two looms, x and y: what is gone or new below is no repair."),
        ('{"name": "x", "serial": "2"}', "These are proofs of two looms, x and x 2:"),
        ('{"name": "x", "digest": "ab"}', "The description of x changed between the two proofs"),
        ('{"name": "x"}', ""),
    ],
)
def test_compare_says_that_two_proofs_are_not_of_one_loom(
    loom: str, says: str, failed: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = tmp_path / "other.json"
    other.write_text((RESULTS % ("two", "")).replace('{"name": "x"}', loom), encoding="utf-8")
    assert run(["compare", str(failed), str(other)]) == 0
    told = capsys.readouterr().err
    assert says in told if says else told == ""
