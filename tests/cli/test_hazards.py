"""What is marked, and what nobody has answered for, stays without current, whatever has a point."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.bench.adapter import in_order
from loomproof.cli.options import hazards_given
from loomproof.cli.proving import refuse_loom_on, refuse_unsafe
from loomproof.errors import SafetyError, UsageError
from loomproof.flow import Request
from loomproof.loom.model import Hazard, Loom
from loomproof.loom.reading import load
from tests.bench.device import Clock, Scanner
from tests.bench.test_selftest import bench_on
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


def test_on_a_real_bench_every_connector_is_answered_for_before_the_first_hook_up(fixtures: Path) -> None:
    loom = load(fixtures / "tail_lamp").loom
    loom = replace(loom, connectors=tuple(replace(c, hazard=Hazard.UNKNOWN) for c in loom.connectors))
    first = in_order([end for end in loom.cavities if end.connector == "BODY"])
    request = Request(loom=loom, adapter=first, run="", started="")
    names = {c.name for c in loom.connectors} - {"BODY"}
    answers = {"BODY": Hazard.NONE}
    with pytest.raises(SafetyError, match="nobody has said what is at") as refused:
        refuse_unsafe(replace(request, hazards=answers), made_safe=True, confirm=lambda _: True)
    assert all(name in str(refused.value) for name in names if name in {e.connector for e in loom.cavities})
    said: dict[str, Hazard] = {c.name: Hazard.NONE for c in loom.connectors}
    refuse_unsafe(replace(request, hazards=said), made_safe=True, confirm=lambda _: True)


def test_an_answer_names_a_connector_of_the_loom_and_a_hazard(fixtures: Path) -> None:
    loom: Loom = load(fixtures / "tail_lamp").loom
    assert hazards_given(["LAMP=electronics in place"], loom) == {"LAMP": Hazard.ELECTRONICS}
    for text, told in {
        "LAMB=none": "There is LAMP",
        "LAMP=unknown": "write CONNECTOR=none",
        "LAMP": "write CONNECTOR=none",
        "=none": "write CONNECTOR=none",
    }.items():
        with pytest.raises(UsageError) as refused:
            hazards_given([text], loom)
        assert told in str(refused.value) or told in (refused.value.cure or "")


def test_answers_that_contradict_each_other_are_refused(fixtures: Path) -> None:
    loom: Loom = load(fixtures / "tail_lamp").loom
    assert hazards_given(["LAMP=none", "LAMP=none"], loom) == {"LAMP": Hazard.NONE}
    for texts in (["LAMP=pyrotechnic", "LAMP=none"], ["LAMP=none", "LAMP=pyrotechnic"]):
        with pytest.raises(UsageError, match="LAMP"):
            hazards_given(texts, loom)


def test_an_answer_worse_than_the_description_stops_the_proof(fixtures: Path, tmp_path: Path) -> None:
    done = proved(fixtures / "tail_lamp", "sim:", tmp_path / "out", "--hazard", "BODY=pyrotechnic")
    assert done.returncode == 3
    assert "pyrotechnic circuits end at BODY" in done.stderr


def test_a_real_bench_tests_itself_only_once_somebody_says_that_no_loom_is_on(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A self-test knows no loom; what hangs on the points would be driven unasked."""
    asked: list[str] = []

    def no(question: str) -> bool:
        asked.append(question)
        return False

    with bench_on(Scanner(Clock(), points=8)) as bench:
        with pytest.raises(SafetyError, match="no loom is on the bench"):
            refuse_loom_on(bench, "tcp:memory:1", made_safe=False, confirm=no)
        assert asked
        assert "No loom is on the bench" in capsys.readouterr().err
        refuse_loom_on(bench, "tcp:memory:1", made_safe=False, confirm=lambda _: True)
        refuse_loom_on(bench, "tcp:memory:1", made_safe=True, confirm=lambda _: False)
        refuse_loom_on(bench, "sim:", made_safe=False, confirm=lambda _: False)
