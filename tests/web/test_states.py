"""What the map says of cavities after a proof and after a retest: no more than the claims say."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

import loomproof as lp
from loomproof.jobs.became import fates, in_short
from loomproof.jobs.retest import Retested
from loomproof.judgement.verdict import Judgement
from loomproof.results.document import Document, Verdict
from loomproof.results.findings import Kind
from loomproof.results.grade import Grade
from loomproof.results.measured import Decision, Measured
from loomproof.web import mending
from loomproof.web.states import WORDS, State, of_document, of_retest
from tests.reports.sample import document, finding

HERE = Path(__file__).parents[1] / "records" / "with_grades"


@pytest.fixture(scope="module")
def passed() -> Document:
    return lp.verify(HERE / "pass.record.json").document()


def test_joints_beyond_the_bench_and_empty_cavities_are_not_called_sound(passed: Document) -> None:
    states = of_document(passed)
    open_ohms = {e for each in passed.claims if each.decision is Decision.UNDECIDED for e in each.cavities}
    assert open_ohms
    assert {end for end, state in states.items() if state == "joined"} == open_ohms
    assert [str(end) for end, state in states.items() if state == "empty"] == ["BODY:6"]
    assert Counter(states.values())[State.SOUND] == len(states) - len(open_ohms) - 1
    assert (
        len({sign for sign, _ in WORDS.values()}) == len({text for _, text in WORDS.values()}) == len(WORDS)
    )


def retested(of: Document) -> Retested:
    """A retest that reaches all of a loom and finds nothing, on a bench that decides as little as before."""
    judgement = Judgement(Verdict.PASS, (), of.claims, Grade.BENCH, Grade.BENCH, of.grade_text)
    measured = Measured((), (), complete=True, resistance_readings=6)
    return Retested(judgement, (), measured, of.coverage.tested, 1, 2, simulated=True)


def test_a_retest_calls_nothing_sound_that_it_could_not_decide(passed: Document) -> None:
    again = retested(passed)
    assert of_retest(passed, again, passed.coverage.tested) == of_document(passed)


def test_a_retest_is_headed_by_what_became_of_the_findings_and_is_no_pass_while_one_is_open(
    passed: Document,
) -> None:
    opened = replace(finding(2), kind=Kind.OPEN)
    before = document(verdict=Verdict.FAIL).model_copy(update={"findings": (finding(1), opened)})
    again = retested(passed)
    told = tuple(fates(before, again))
    assert in_short(told) == "1 gone, 1 not decided"
    assert mending.shown_as(again, told) == "undecided"
    assert mending.shown_as(again, told[1:]) == "pass"
