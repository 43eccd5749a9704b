"""What is marked, and what nobody has answered for, stays without current, whatever has a point."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from loomproof.errors import UsageError
from loomproof.loom.choices import hazards_of
from loomproof.loom.model import Hazard, Loom
from loomproof.loom.reading import load
from tests.cli.running import loomproof
from tests.cli.test_prove import proved

MARKS = {"pyrotechnic": "pyrotechnic circuits end at LAMP", "electronics in place": "still in place at LAMP"}


@pytest.fixture
def marked(fixtures: Path, tmp_path: Path) -> Path:
    """The tail-lamp loom, whose lamp's connector a test marks."""
    return Path(shutil.copytree(fixtures / "tail_lamp", tmp_path / "loom"))


def mark(loom: Path, hazard: str) -> None:
    connectors = loom / "connectors.csv"
    text = connectors.read_text(encoding="utf-8")
    assert text.count("LP6,none") == 1
    connectors.write_text(text.replace("LP6,none", f"LP6,{hazard}"), encoding="utf-8")


@pytest.mark.parametrize(("hazard", "said"), MARKS.items())
def test_a_marked_connector_stops_every_hook_up(marked: Path, tmp_path: Path, hazard: str, said: str) -> None:
    """Nor is the first hook-up driven, which would reach it through its wires only."""
    mark(marked, hazard)
    done = proved(marked, "sim:?points=8", tmp_path / "out", "--hook-ups", "--split", "BODY")
    assert done.returncode == 3, done.stderr
    assert said in done.stderr
    assert not list((tmp_path / "out").glob("*.journal.jsonl")), "nothing was driven"


def test_a_retest_hears_the_answers_and_opens_no_journal_before_it_is_safe(
    marked: Path, tmp_path: Path
) -> None:
    mark(marked, "")
    assert proved(marked, "sim:?fault=open%20W2", tmp_path / "out").returncode == 1
    (run,) = (tmp_path / "out").glob("*.results.json")
    kept = tmp_path / "retest"
    words = ("retest", run, marked, "--bench", "sim:", "--out", kept)
    assert loomproof(*words, "--hazard", "LAMP=none").returncode == 0
    assert len(list(kept.iterdir())) == 1
    for hazard, said in MARKS.items():
        refused = loomproof(*words, "--hazard", f"LAMP={hazard}")
        assert refused.returncode == 3
        assert said in refused.stderr
    assert len(list(kept.iterdir())) == 1, "nothing was driven"


def test_an_answer_names_a_connector_of_the_loom_and_a_hazard(fixtures: Path) -> None:
    loom: Loom = load(fixtures / "tail_lamp").loom
    assert hazards_of(loom, ["LAMP=electronics in place"]) == {"LAMP": Hazard.ELECTRONICS}
    for text, told in {
        "LAMB=none": "There is LAMP",
        "LAMP=unknown": "Write CONNECTOR=none",
        "LAMP": "Write CONNECTOR=none",
        "=none": "Write CONNECTOR=none",
    }.items():
        with pytest.raises(UsageError) as refused:
            hazards_of(loom, [text])
        assert told in str(refused.value) or told in (refused.value.cure or "")


def test_answers_that_contradict_each_other_are_refused(fixtures: Path) -> None:
    loom: Loom = load(fixtures / "tail_lamp").loom
    assert hazards_of(loom, ["LAMP=none", "LAMP=none"]) == {"LAMP": Hazard.NONE}
    for texts in (["LAMP=pyrotechnic", "LAMP=none"], ["LAMP=none", "LAMP=pyrotechnic"]):
        with pytest.raises(UsageError, match="LAMP"):
            hazards_of(loom, texts)


def test_an_answer_worse_than_the_description_stops_the_proof(fixtures: Path, tmp_path: Path) -> None:
    done = proved(fixtures / "tail_lamp", "sim:", tmp_path / "out", "--hazard", "BODY=pyrotechnic")
    assert done.returncode == 3
    assert "pyrotechnic circuits end at BODY" in done.stderr
