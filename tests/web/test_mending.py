"""Look-first steps without a browser: ticked once, dated once, kept with the run; only steps there are."""

from __future__ import annotations

import datetime
from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.errors import InputError, UsageError
from loomproof.jobs.looked import kept_in, look, looked
from loomproof.results.document import Document, Verdict
from tests.reports.sample import document

FIRST = datetime.datetime(2026, 1, 5, 10, 15, tzinfo=datetime.UTC)
LATER = FIRST + datetime.timedelta(hours=1)


@pytest.fixture(scope="module")
def proof() -> Document:
    made = document(verdict=Verdict.FAIL, run="20260105-101500-../aa")
    assert made.findings
    finding = replace(made.findings[0], places=("at X1:1", "along W1"))
    return made.model_copy(update={"findings": (finding,)})


def test_a_step_is_ticked_once_and_dated_once(proof: Document, tmp_path: Path) -> None:
    look(tmp_path, proof, 1, "at X1:1", done=True, moment=FIRST)
    now = look(tmp_path, proof, 1, "at X1:1", done=True, moment=LATER)
    assert now[1, "at X1:1"].at == "2026-01-05T10:15:00.000Z"
    assert looked(tmp_path, proof.run) == now
    assert look(tmp_path, proof, 1, "at X1:1", done=False, moment=LATER) == {}
    assert len(kept_in(tmp_path, proof.run).read_text().splitlines()) == 2
    assert kept_in(tmp_path, proof.run).parent == tmp_path


@pytest.mark.parametrize(("finding", "place"), [(1, "somewhere"), (2, "at X1:1"), (0, "at X1:1")])
def test_only_steps_that_there_are_can_be_ticked(
    proof: Document, tmp_path: Path, finding: int, place: str
) -> None:
    with pytest.raises(UsageError, match="no such step"):
        look(tmp_path, proof, finding, place, done=True, moment=FIRST)
    assert not list(tmp_path.iterdir())


def test_a_file_that_holds_no_ticks_is_named(proof: Document, tmp_path: Path) -> None:
    kept_in(tmp_path, proof.run).write_text('{"finding": "x"}\n')
    with pytest.raises(InputError, match="looked"):
        looked(tmp_path, proof.run)
