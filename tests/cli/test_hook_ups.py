"""A loom bigger than the scanner: planned, proved hook-up by hook-up, stopped and gone on with."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path

import pytest

from loomproof.bench.adapter import in_order
from loomproof.electrics.expectation import expect
from loomproof.errors import BrokenOffError
from loomproof.jobs import hookups as hooking
from loomproof.jobs.at_bench import Setup
from loomproof.jobs.keep import Keeping
from loomproof.loom.reading import load
from loomproof.measuring.events import finish
from loomproof.planning.hookup_search import plan_hook_ups
from loomproof.planning.request import Request
from loomproof.results.document import Document, Verdict
from loomproof.results.findings import Kind
from tests.cleared import Answers
from tests.cli.running import loomproof

ENGINE = "hillclimb_engine"


def test_a_plan_that_a_person_can_carry_out(fixtures: Path, tmp_path: Path) -> None:
    done = loomproof("plan", fixtures / ENGINE, "--points", "64", "--json", tmp_path / "plan.json")
    assert done.returncode == 0, done.stderr
    assert "4 hook-ups on 64 points" in done.stdout
    assert "No plan has fewer" in done.stdout
    value = json.loads((tmp_path / "plan.json").read_text())
    assert len(value["hook_ups"]) == value["bound"] == 4


def test_too_few_points_name_the_connector_and_show_the_plan_with_its_leads_split(fixtures: Path) -> None:
    done = loomproof("plan", fixtures / ENGINE, "--points", "32")
    assert done.returncode == 2
    assert "ECU-A takes 32 points of 32" in done.stderr
    assert "Not possible as it was asked: ECU-A takes 32" in done.stderr
    told = (
        "What was asked is not possible. This is another plan: the leads of ECU-A are split in groups, which"
    )
    assert done.stdout.startswith(told)
    assert "hook-ups on 32 points" in done.stdout


def prove(loom: Path, out: Path, bench: str, *words: str | Path) -> Document | str:
    done = loomproof("prove", loom, "--bench", bench, "--out", out, *words)
    found = list(out.glob("*.results.json"))
    if not found:
        return done.stderr
    return Document.model_validate_json(found[0].read_text(encoding="utf-8"))


def test_a_plan_that_splits_more_than_was_asked_says_so(fixtures: Path) -> None:
    asked = ("--points", "4", "--split", "LAMP")
    done = loomproof("plan", fixtures / "tail_lamp", *asked)
    assert done.returncode == 2
    assert done.stderr.startswith("Not possible with the leads of LAMP split as it was asked: BODY takes ")
    assert "This is another plan: the leads of BODY are split in groups as well, which" in done.stdout


def refused_once_finished(loom: Path, out: Path, bench: str, run: str) -> None:
    """A finished run is not sealed a second time, and its files stay as they are."""
    before = {path: path.read_bytes() for path in out.iterdir()}
    kept = loomproof("prove", loom, "--bench", bench, "--out", out, "--hook-ups", "--continue", run)
    assert kept.returncode == 2
    assert f"the run {run} is finished and kept" in kept.stderr
    assert f"loomproof certificate {run} writes its certificate" in kept.stderr
    elsewhere = ("--store", out.parent / "other.sqlite", "--continue", run)
    other = loomproof("prove", loom, "--bench", bench, "--out", out, *elsewhere)
    assert other.returncode == 2
    assert f"the run {run} is finished" in other.stderr
    assert "other.sqlite" in other.stderr
    assert {path: path.read_bytes() for path in out.iterdir()} == before
    noted = loomproof("repaired", run, "a contact was pushed home", "--person", "I. Torvald")
    assert noted.returncode == 0, f"the run's name means one run: {noted.stderr}"


def test_stopped_overnight_and_gone_on_with(fixtures: Path, tmp_path: Path) -> None:
    tail, bench = fixtures / "tail_lamp", "sim:?points=12"
    stopped = prove(tail, tmp_path, bench, "--hook-ups", "--stop-after", "1")
    assert isinstance(stopped, str)
    assert "stopped before hook-up 2 of 2" in stopped
    assert not list(tmp_path.glob("*.pdf")), "nothing is claimed from half a proof"
    run = next(tmp_path.glob("*.hook-ups.json")).name.removesuffix(".hook-ups.json")
    # A journal that broke off is set aside, not believed.
    (tmp_path / f"{run}.hook-up-2.journal.jsonl").write_bytes(b'{"schema": 1, "cut off')
    # What is printed is what is typed.
    (line,) = re.findall(r"Go on with: loomproof (.+)", stopped)
    assert loomproof(*shlex.split(line)).returncode == 0
    document = Document.model_validate_json((tmp_path / f"{run}.results.json").read_text(encoding="utf-8"))
    assert document.verdict is Verdict.PASS
    assert document.run == run
    assert document.coverage.untested == ()
    assert len(document.coverage.tested) == 12  # nobody saw the lead of the empty BODY:6 whole
    assert document.adapter.name == "2 hook-ups on 12 points"
    assert (tmp_path / f"{run}.hook-up-2.2.journal.jsonl").exists()
    refused_once_finished(tail, tmp_path, bench, run)
    again = loomproof("replay", tmp_path / f"{run}.journal.jsonl", tail)
    assert again.stdout == (tmp_path / f"{run}.results.json").read_text(encoding="utf-8")


def test_a_hook_up_that_the_bench_refused_is_tried_again(fixtures: Path, tmp_path: Path) -> None:
    """A voltage on the loom stops a hook-up; once it is gone the run goes on from there."""
    tail, bench = fixtures / "tail_lamp", "sim:?points=8"
    prove(tail, tmp_path, bench, "--hook-ups", "--split", "BODY", "--stop-after", "1")
    run = next(tmp_path.glob("*.hook-ups.json")).name.removesuffix(".hook-ups.json")
    for other in ("sim:?points=8&seed=9", "sim:?points=8&no-ohms"):
        refused = prove(tail, tmp_path, other, "--continue", run)
        assert isinstance(refused, str)
        assert "the run was begun on loomproof simulated scanner SIM000000" in " ".join(refused.split())
    live = prove(tail, tmp_path, f"{bench}&fault=voltage%2012%20BODY:1", "--continue", run)
    assert isinstance(live, str)
    assert "-12 V" in live
    document = prove(tail, tmp_path, bench, "--continue", run)
    assert isinstance(document, Document)
    assert document.verdict is Verdict.PASS


def pieces(journal: Path) -> list[bytes]:
    """The journals of a run's hook-ups, one by one."""
    found: list[bytes] = []
    for line in journal.read_bytes().splitlines(keepends=True):
        if line.startswith(b'{"schema":'):
            found.append(b"")
        found[-1] += line
    return found


def test_hook_ups_taken_out_exchanged_or_added_are_no_proof(fixtures: Path, tmp_path: Path) -> None:
    """A short that only one hook-up can see must not go with the piece that saw it."""
    tail, bench = fixtures / "tail_lamp", "sim:?points=8&fault=short%20LAMP:4%20BODY:6"
    document = prove(tail, tmp_path / "a", bench, "--hook-ups", "--split", "BODY")
    assert isinstance(document, Document)
    assert document.verdict is Verdict.FAIL
    whole = pieces(tmp_path / "a" / f"{document.run}.journal.jsonl")
    assert len(whole) > 3
    other = prove(tail, tmp_path / "b", "sim:?points=8", "--hook-ups", "--split", "BODY")
    assert isinstance(other, Document)
    foreign = pieces(tmp_path / "b" / f"{other.run}.journal.jsonl")
    doctored = tmp_path / "doctored.jsonl"
    for kept in (
        whole[1:],
        [whole[0], *whole[2:]],
        [whole[1], whole[0], *whole[2:]],
        [whole[0], *whole],
        [foreign[0], *whole[1:]],
        [*whole[:-1], whole[-1] + whole[-1].splitlines(keepends=True)[-1]],
    ):
        doctored.write_bytes(b"".join(kept))
        done = loomproof("replay", doctored, tail)
        assert done.returncode == 2, done.stdout
        assert "doctored.jsonl" in done.stderr
        assert "hook-up" in done.stderr
    for number in range(1, len(whole)):
        doctored.write_bytes(b"".join(whole[:number]))
        done = loomproof("replay", doctored, tail)
        assert done.returncode in (1, 3), "the last ones may be missing, and then nothing passes"


def test_a_plan_from_which_a_hook_up_was_taken_and_another_runs_journal_do_not_pass(
    fixtures: Path, tmp_path: Path
) -> None:
    tail, bench = fixtures / "tail_lamp", "sim:?points=8"
    words = ("--hook-ups", "--split", "BODY", "--stop-after", "1")
    prove(tail, tmp_path / "good", bench, *words)
    good = next((tmp_path / "good").glob("*.hook-up-1.journal.jsonl"))
    for planned in (4, 3):
        out = tmp_path / str(planned)
        prove(tail, out, f"{bench}&fault=open%20W4", *words)
        (state,) = out.glob("*.hook-ups.json")
        run = state.name.removesuffix(".hook-ups.json")
        value = json.loads(state.read_text(encoding="utf-8"))
        assert len(value["plan"]["hook_ups"]) == 4
        if planned == 3:
            del value["plan"]["hook_ups"][1]
            state.write_text(json.dumps(value), encoding="utf-8")
            document = prove(tail, out, bench, "--continue", run)
            assert document == "" or isinstance(document, str) or document.verdict is not Verdict.PASS
        else:
            (out / f"{run}.hook-up-1.journal.jsonl").write_bytes(good.read_bytes())
            document = prove(tail, out, bench, "--continue", run)
            assert isinstance(document, Document)
            assert (out / f"{run}.hook-up-1.2.journal.jsonl").exists(), "it is not this run's: asked again"


@pytest.mark.parametrize(
    ("fault", "kind", "hook_ups"),
    [
        ("swap%20MAP:3%20BOOST:2", Kind.MISWIRE, 5),
    ],
)
def test_faults_across_hook_ups_are_found(
    fixtures: Path, tmp_path: Path, fault: str, kind: Kind, hook_ups: int
) -> None:
    """The last needs a hook-up more: the crossed ends are never plugged together in the plan."""
    document = prove(fixtures / ENGINE, tmp_path, f"sim:?points=64&fault={fault}", "--hook-ups")
    assert isinstance(document, Document)
    assert document.verdict is Verdict.FAIL
    assert [finding.kind for finding in document.findings] == [kind]
    assert len(list(tmp_path.glob("*.hook-up-*.adapter.csv"))) == hook_ups


def test_a_saved_plan_is_asked_again_and_refused_for_other_points(fixtures: Path, tmp_path: Path) -> None:
    tail, saved = fixtures / "tail_lamp", tmp_path / "plan.json"
    assert loomproof("plan", tail, "--bench", "sim:", "--json", saved).returncode == 0
    done = loomproof("prove", tail, "--bench", "sim:", "--plan", saved, "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    other = loomproof("prove", tail, "--bench", "sim:?no-ohms", "--plan", saved, "--out", tmp_path / "out")
    assert other.returncode == 2
    assert "other questions than the saved plan" in other.stderr
    wrong = loomproof("prove", fixtures / ENGINE, "--bench", "sim:", "--plan", saved)
    assert wrong.returncode == 2
    assert "another description" in wrong.stderr


def test_nothing_is_opened_before_somebody_says_that_it_is_plugged(fixtures: Path, tmp_path: Path) -> None:
    loom = load(fixtures / "tail_lamp").loom
    nets = [net.cavities for net in expect(loom).nets]
    plan = plan_hook_ups(loom, nets, len(loom.cavities))
    request = Request(loom=loom, adapter=in_order(loom.cavities), run="r", started="2026-01-01T00:00:00Z")
    nobody = Answers(yes=False)
    # Nothing answers there; it must not come to that.
    setup = Setup("tcp:127.0.0.1:1", nobody, Keeping(tmp_path), fixtures / "tail_lamp")
    with pytest.raises(BrokenOffError, match="stopped before hook-up 1 of 1"):
        finish(hooking.prove_hook_ups(request, plan, setup))
    assert nobody.asked == ["plug 1"]
    assert [path.name for path in tmp_path.iterdir()] == ["r.hook-up-1.adapter.csv"], (
        "what to plug, no reading"
    )


def test_a_state_that_is_not_there_or_is_broken_is_told(fixtures: Path, tmp_path: Path) -> None:
    words = ("prove", fixtures / "tail_lamp", "--bench", "sim:", "--out", tmp_path, "--continue")
    missing = loomproof(*words, "none")
    assert missing.returncode == 2
    assert "no stopped run none" in missing.stderr
    (tmp_path / "bad.hook-ups.json").write_text('{"header": {}, "plan": []}')
    broken = loomproof(*words, "bad")
    assert broken.returncode == 2
    assert "is no hook-up plan" in broken.stderr


def test_a_bench_with_too_few_points_names_the_way_out(fixtures: Path, tmp_path: Path) -> None:
    done = loomproof("prove", fixtures / ENGINE, "--bench", "sim:?points=64", "--out", tmp_path)
    assert done.returncode == 2
    assert "127 cavities and the bench 64 points" in done.stderr
    assert "--hook-ups" in done.stderr
