"""A retest looks first where its run did: what repairs had taught by then goes over with the run."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import loomproof as lp
from loomproof.diagnosis.candidates import candidates
from loomproof.diagnosis.learned import Case, learn
from loomproof.jobs.job import Job
from loomproof.jobs.keep import Keeping
from loomproof.jobs.retest import replayed

pytestmark = pytest.mark.usefixtures("simulated_within")

FAULT = "sim:?fault=open%20W2"


def test_a_retest_is_judged_with_what_its_run_was(fixtures: Path, tmp_path: Path) -> None:
    path = fixtures / "tail_lamp"
    loom = lp.load(path)
    job = Job(loom, FAULT, loom_path=path, where=Keeping(tmp_path, str(tmp_path / "kept.db")))
    with lp.open_bench(FAULT, loom=loom) as bench:
        before = lp.Job(loom, bench).prove().run().document
    (opened,) = before.findings
    among = candidates(opened)
    (lamp,) = (one for one in among if one.cause == "bad_contact" and one.connector == "LAMP")
    lesson = learn([Case(loom.name, lamp, among)] * 3)
    assert lesson is not None
    assert not opened.places[0].startswith("LAMP:2"), "by the shipped order"

    again = job.retest_after(before.model_copy(update={"learned": lesson})).run()
    assert again.findings[0].places[0].startswith("LAMP:2")
    assert again.findings[0].repair[0].startswith("Before you open"), "the adapter's lead is tried first"
    (journal,) = tmp_path.glob("*.retest.journal.jsonl")
    header = json.loads(journal.read_text(encoding="utf-8").partition("\n")[0])
    assert header["run"]["learned"]["cases"] == 3
    assert replayed(journal, loom).findings == again.findings
    plain = job.retest_after(before).run()
    assert plain.findings[0].places == opened.places
