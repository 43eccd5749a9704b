"""The fitting sheet as steps: nothing is left out, dangers and live ends stand first, words name a step."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.fitting.sheet import fitting_sheet
from loomproof.loom.ends import End
from loomproof.loom.reading import load
from loomproof.reports.fitting_sheet import POWER_UP
from loomproof.reports.fitting_steps import LEAVE, Step, before_power, steps_of
from loomproof.results.fitting import Action, Job, Level, SafeRow, Sheet, SheetEnd, Warn

ENGINE = Path(__file__).parents[2] / "fixtures" / "hillclimb_engine"


@pytest.fixture(scope="module")
def sheet() -> Sheet:
    return fitting_sheet(load(ENGINE).loom)


def test_every_row_warning_question_and_step_of_the_sheet_is_there_once(sheet: Sheet) -> None:
    steps = steps_of(sheet)
    titles = [step.title for step in steps]
    for warn in sheet.warnings:
        assert titles.count(warn.text) == 1
    for question in sheet.questions:
        assert titles.count(question) == 1
    for text in sheet.power_up:
        assert sum(title.endswith(text) for title in titles) == 1
    for row in (*sheet.safe, *sheet.places):
        here = [step for step in steps if step.title.startswith(f"{row.facts.end}: ")]
        assert [row.why in step.lines for step in here] == [True]
    for joined in sheet.connect:
        here = [step for step in steps if step.title.startswith(f"{joined.facts.end} to ")]
        assert len(here) == 1
        assert all(check.text in here[0].lines for check in joined.checks)
    rows = len(sheet.safe) + len(sheet.places) + len(sheet.connect)
    assert len(steps) == rows + len(sheet.warnings) + len(sheet.questions) + len(sheet.power_up)
    assert len({step.key for step in steps}) == len(steps)


def test_dangers_stand_first_then_what_can_be_live_and_power_comes_last(sheet: Sheet) -> None:
    bad = replace(sheet, warnings=(*sheet.warnings, Warn(Level.DANGER, "a feed hangs free")))
    steps = steps_of(bad)
    assert (steps[0].title, steps[0].level) == ("a feed hangs free", Level.DANGER)
    parts = list(dict.fromkeys(step.part for step in steps))
    assert parts[:3] == ["Dangers and warnings", "Make safe: what can be live", "Make safe: other ends"]
    assert parts[-2:] == [POWER_UP, LEAVE]
    jobs = [part.removeprefix("Connect: ") for part in parts if part.startswith("Connect: ")]
    assert jobs == [job.value for job in Job if any(row.job is job for row in sheet.connect)]
    unused = [row for row in (*sheet.safe, *sheet.places) if row.action not in (Action.FIT, Action.LEAVE)]
    live = {str(row.facts.end) for row in unused if row.facts.live}
    assert {step.title.partition(": ")[0] for step in steps if step.part == parts[1]} == live
    assert live


def test_what_is_left_alone_is_nothing_to_do(sheet: Sheet) -> None:
    for step in steps_of(sheet):
        assert step.to_do is (step.part != LEAVE)


def test_before_power_comes_all_that_is_done_but_the_computer(sheet: Sheet) -> None:
    """As the caution has it: every row but the computer's is ticked before the battery is joined."""
    first = before_power(sheet)
    computer = {str(row.facts.end) for row in sheet.connect if row.job is Job.COMPUTER}
    assert computer
    assert not computer & {step.title.partition(" to ")[0] for step in first}
    assert not [step for step in first if step.part in (POWER_UP, LEAVE) or step.level is Level.NOTE]
    assert sum(step.part.startswith("Connect: ") for step in first) == len(sheet.connect) - len(computer)


def test_a_step_that_reads_otherwise_is_another_step() -> None:
    step = Step("Notes", "one", ("two",), ("three",))
    others = [
        replace(step, part="x"),
        replace(step, title="x"),
        replace(step, lines=("two", "x")),
        replace(step, lines=("two", "three"), live=()),
        replace(step, live=()),
    ]
    assert len({each.key for each in (step, *others)}) == 6
    assert replace(step).key == step.key


def test_the_order_of_rows_is_no_part_of_a_step(sheet: Sheet) -> None:
    """A row more before it must not make ticks of all that follows worthless."""
    later = replace(sheet, connect=tuple(replace(row, order=row.order + 1) for row in sheet.connect))
    assert [step.key for step in steps_of(later)] == [step.key for step in steps_of(sheet)]


def test_what_the_reason_says_already_is_not_said_twice() -> None:
    facts = SheetEnd(End("X", "1"), live=("permanent feed (feed)", "through K1"))
    row = SafeRow(facts, Action.CAP, "can be live: permanent feed (feed).")
    step = steps_of(Sheet("x", "", "", (), "", False, "", safe=(row,)))[0]
    assert step.live == ("through K1",)
