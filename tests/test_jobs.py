"""Jobs as a script or a page uses them: events as they come, an operator, a result."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from pathlib import Path

import pytest

import loomproof
from loomproof.bench.adapter import in_order
from loomproof.bench.opening import open_bench
from loomproof.electrics.nets import nets_of
from loomproof.errors import BrokenOffError, ReplayError, SafetyError, UsageError
from loomproof.jobs.demo import faulty_bench
from loomproof.jobs.events import ContactMoved, Finished, Judged, NetsFound, Progress, Prompt, Reading
from loomproof.jobs.job import Job
from loomproof.jobs.keep import Keeping
from loomproof.jobs.replay import replay
from loomproof.loom.model import End
from loomproof.loom.reading import load
from loomproof.planning.request import InsulationTest

VIEW = Path(__file__).parents[1] / "docs" / "examples" / "live_view.py"


def test_a_job_in_ten_lines_yields_readings_nets_judgements_and_its_end(fixtures: Path) -> None:
    loom = load(fixtures / "tail_lamp").loom
    with open_bench("sim:?fault=open%20W2", loom_path=fixtures / "tail_lamp") as bench:
        job = Job(loom, bench)
        running = job.prove()
        with pytest.raises(LookupError):
            _ = running.result
        events = list(running)
    assert {Progress, Reading, NetsFound, Judged, Finished} <= {type(event) for event in events}
    (nets,) = [event for event in events if isinstance(event, NetsFound)]
    assert not nets.as_described
    assert job.proof is running.result
    assert running.result.verdict == "fail"
    assert events[-1] == Finished(running.result.document.run, "fail")
    readings = [event for event in events if isinstance(event, Reading)]
    asked = running.result.document.counts
    assert sum(event.kind == "resistance" for event in readings) == asked.resistance_readings
    assert sum(event.kind == "sense" for event in readings) == asked.sense_vectors
    first = next(at for at, event in enumerate(events) if isinstance(event, Judged))
    assert any(isinstance(event, Progress) for event in events[first:]), "they come while it runs"
    part = next(event for event in events if isinstance(event, Progress) and event.total)
    assert part.remaining_s is not None
    assert part.remaining_s > 0


def test_a_watch_says_when_to_move_the_loom_tells_each_change_and_says_when_it_ends(fixtures: Path) -> None:
    path = fixtures / "tail_lamp"
    with open_bench("sim:?fault=loose%20W2%204%20Hz", loom_path=path) as bench:
        events = list(Job(load(path).loom, bench, watch_s=2.0).prove())
    told = [event for event in events if isinstance(event, Prompt | ContactMoved)]
    begin, *changes, end = told
    assert isinstance(begin, Prompt)
    assert begin.text.startswith("Move the loom now, for 2 s")
    assert isinstance(end, Prompt)
    assert "The watch has ended" in end.text
    assert changes
    assert all(isinstance(change, ContactMoved) and change.cavities for change in changes)
    # Each of several sets shows the contact open: an instant is told once, and counted so.
    begun = [round(change.time_s, 1) for change in changes if isinstance(change, ContactMoved)]
    assert len(begun) == len(set(begun))
    assert f"{len(begun)} changes" in end.text


def test_a_retest_is_a_job_as_well(fixtures: Path) -> None:
    path = fixtures / "tail_lamp"
    with open_bench("sim:", loom_path=path) as bench:
        found = Job(load(path).loom, bench).retest([End("LAMP", "2")]).run()
    assert found.judgement.verdict == "pass"


def test_a_job_at_an_address_opens_the_bench_keeps_the_proof_and_works_its_journal_out_again(
    fixtures: Path, tmp_path: Path
) -> None:
    path = fixtures / "tail_lamp"
    job = Job(load(path).loom, "sim:?fault=open%20W2", loom_path=path, where=Keeping(tmp_path))
    kept = job.prove_and_keep().run()
    assert kept.document.verdict == "fail"
    again = Job(job.loom).replay(kept.files["journal"])
    assert again.document == kept.document
    assert job.issue(kept.run) == kept.files["certificate"].read_bytes()
    assert job.correct(kept.run, "a slip", place="bay 2").startswith(f"{kept.run}-corrected-")
    # Both nets of the open wire are read again, on a simulator that is as broken as before.
    assert job.retest_after(kept.document).run().judgement.verdict == "fail"


def test_hook_ups_are_proved_on_an_open_bench_as_on_one_that_is_opened_for_each(
    fixtures: Path, tmp_path: Path
) -> None:
    path = fixtures / "tail_lamp"
    loom = load(path).loom
    verdicts: list[tuple[str, list[str]]] = []
    with open_bench("sim:?points=12&fault=open%20W2", loom_path=path) as bench:
        for at in (bench, "sim:?points=12&fault=open%20W2"):
            where = Keeping(tmp_path / str(len(verdicts)))
            kept = Job(loom, at, loom_path=path, where=where).hook_ups().run()
            verdicts.append((kept.document.verdict, [each.title for each in kept.document.findings]))
            assert kept.document.coverage.untested == ()
    assert verdicts[0] == verdicts[1]
    assert verdicts[0][0] == "fail"


def test_a_stopped_run_is_gone_on_with_by_its_name(fixtures: Path, tmp_path: Path) -> None:
    path = fixtures / "tail_lamp"
    job = Job(load(path).loom, "sim:?points=12", loom_path=path, where=Keeping(tmp_path))
    with pytest.raises(BrokenOffError, match="before hook-up 2") as caught:
        job.hook_ups(stop_after=1).run()
    assert caught.value.do is not None
    assert job.go_on(caught.value.do.on).run().document.verdict == "pass"


def test_what_wants_the_whole_loom_at_once_is_not_asked_hook_up_by_hook_up(fixtures: Path) -> None:
    path = fixtures / "tail_lamp"
    job = Job(load(path).loom, "sim:?points=12", loom_path=path, insulation=InsulationTest(100.0, 1000))
    with pytest.raises(UsageError, match="at once"):
        job.hook_ups()


def test_an_unknown_loom_is_traced_on_a_bench_that_stays_open(fixtures: Path, tmp_path: Path) -> None:
    path = fixtures / "tail_lamp"
    leads = in_order(load(path).loom.cavities)
    with faulty_bench(path, ()) as simulated, open_bench(simulated.address) as bench:
        job = Job.unknown(leads, bench, "found")
        traced = job.trace(tmp_path / "found").run()
        assert bench.capabilities().points == len(leads.entries)
    assert load(tmp_path / "found").loom.digest == traced.loom.digest
    assert {net.cavities for net in nets_of(traced.loom)} == {
        net.cavities for net in nets_of(load(path).loom)
    }


def test_a_job_without_a_bench_says_so(fixtures: Path) -> None:
    with pytest.raises(UsageError, match="no bench"):
        Job(load(fixtures / "tail_lamp").loom).prove_and_keep()


def test_a_live_view_is_thin_and_shows_a_proof_as_it_runs(fixtures: Path) -> None:
    assert len(VIEW.read_text(encoding="utf-8").splitlines()) < 200
    done = subprocess.run(
        [sys.executable, VIEW, fixtures / "tail_lamp", "sim:?fault=open%20W2"],
        capture_output=True,
        text=True,
        input="",
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    events = [json.loads(line) for line in done.stdout.splitlines()]
    assert events[-1]["event"] == "Finished"
    assert events[-1]["verdict"] == "fail"
    assert {"Progress", "Reading", "NetsFound", "Judged"} <= {each["event"] for each in events}


def test_what_is_no_journal_is_told_with_place_and_cure(fixtures: Path, tmp_path: Path) -> None:
    loom = load(fixtures / "tail_lamp").loom
    for content in (b'{\n  "verdict": "pass"\n}\n', b"%PDF-1.7\n\xff\xfe\n", b"[1]\n", b'{"run": "x"}\n'):
        file = tmp_path / "x.json"
        file.write_bytes(content)
        with pytest.raises(ReplayError, match=r"x\.json, line 1") as caught:
            replay(file, loom)
        assert caught.value.exit_code == 2
        assert caught.value.cure


def test_a_bench_that_is_not_cleared_is_not_driven_by_a_job(fixtures: Path) -> None:
    from tests.test_clearance import Counting

    bench = Counting()
    with pytest.raises(SafetyError, match="nobody has confirmed"):
        Job(load(fixtures / "tail_lamp").loom, bench).prove().run()
    assert bench.driven == 0


def test_the_library_neither_prints_nor_prompts() -> None:
    root = Path(loomproof.__file__).parent
    for path in root.rglob("*.py"):
        if path.relative_to(root).parts[0] in ("cli", "screens"):
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import | ast.ImportFrom):
                names = (
                    [node.module or ""] if isinstance(node, ast.ImportFrom) else [a.name for a in node.names]
                )
                assert not any(name.split(".")[0] == "click" for name in names), path
