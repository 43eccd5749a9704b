"""The address of a person with a meter, and the log of what was answered: whole, damaged, another loom's."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.bench import questions as q
from loomproof.bench.address import HandAddress, parse_address, read_beeps
from loomproof.bench.by_hand import AnswerLog, HandBench
from loomproof.errors import JournalError, NoBenchError, UsageError

HEAD = {"schema": 1, "loom": "lamp"}
SWEEP = q.Sweep(0b1, 0b110)


@pytest.mark.parametrize(
    "text",
    [
        "hand:",
        "hand:?beeps=30-60",
        "hand:?beeps=30-60&clips=10",
        "hand:?beeps=30-60&clips=10&ohms&acc=0.3:0.01&meter=the%20red%20one",
    ],
)
def test_an_address_is_read_back(text: str) -> None:
    where = parse_address(text)
    assert isinstance(where, HandAddress)
    assert parse_address(str(where)) == where


@pytest.mark.parametrize(
    "text",
    [
        "hand:meter",
        "hand:?clips=0",
        "hand:?clips=x",
        "hand:?beeps=",
        "hand:?beeps=60-30",
        "hand:?beeps=-5",
        "hand:?acc=1",
        "hand:?acc=1:2",
        "hand:?acc=-1:0.1",
        "hand:?ohms=3",
        "hand:?probes=2",
        "hand:?beeps=1e9",
    ],
)
def test_what_cannot_be_meant_is_refused(text: str) -> None:
    with pytest.raises(UsageError):
        parse_address(text)


def test_one_figure_stands_for_half_and_twice_itself() -> None:
    assert read_beeps("50") == (25.0, 100.0)
    assert read_beeps(" 47,5 - 60 ") == (47.5, 60.0)


def answering(*answers: int) -> HandBench:
    said = iter(answers)
    bench = HandBench(HandAddress((30.0, 60.0)))
    bench.attach(lambda _: [next(said)], AnswerLog(), lambda: 0.0)
    return bench


def test_a_question_is_asked_once_and_answered_from_the_log_after() -> None:
    with answering(0b010) as bench:
        assert bench.sweep(0b1, 0b110) == 0b010
        bench.rewind()
        assert bench.sweep(0b1, 0b110) == 0b010
        bench.rewind()
        with pytest.raises(JournalError, match="goes on with"):
            bench.sweep(0b10, 0b1)


def test_a_beep_where_nobody_touched_is_not_taken() -> None:
    with answering(0b1000) as bench, pytest.raises(ValueError, match="was not touched"):
        bench.sweep(0b1, 0b110)


def test_without_a_person_nobody_answers() -> None:
    with HandBench(HandAddress((30.0, 60.0))) as bench, pytest.raises(NoBenchError, match="nobody answers"):
        bench.sweep(0b1, 0b110)


def test_a_log_is_gone_on_with_and_taken_back(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "log.jsonl"
    log = AnswerLog(path, HEAD)
    log.begin("2031-05-04T10:00:00+00:00")
    for k in range(3):
        log.add(q.plain(SWEEP), ["#H2"], float(k))
    log.take_back()
    again = AnswerLog(path, HEAD)
    assert again.begun == "2031-05-04T10:00:00+00:00"
    assert again.answers == log.answers
    assert len(again.answers) == 2
    again.begin("2031-05-05T10:00:00+00:00")
    assert AnswerLog(path, HEAD).begun == "2031-05-04T10:00:00+00:00"
    assert AnswerLog(path, {**HEAD, "loom": "another"}).answers == []
    again.end()
    assert not path.exists()


def test_a_line_that_was_cut_off_was_not_answered(tmp_path: Path) -> None:
    """Killed in the middle of a write: the answer before it stands, that one does not."""
    path = tmp_path / "log.jsonl"
    log = AnswerLog(path, HEAD)
    log.begin("2031-05-04T10:00:00+00:00")
    log.add(q.plain(SWEEP), ["#H2"], 1.0)
    whole = path.read_bytes()
    log.add(q.plain(SWEEP), ["#H4"], 2.0)
    path.write_bytes(path.read_bytes()[:-5])
    cut = AnswerLog(path, HEAD)
    assert [line["answer"] for line in cut.answers] == [["#H2"]]
    cut.add(q.plain(SWEEP), ["#H6"], 3.0)
    assert [line["answer"] for line in AnswerLog(path, HEAD).answers] == [["#H2"], ["#H6"]]
    assert path.read_bytes().startswith(whole)


@pytest.mark.parametrize(
    "line", [b"{]", b"7", b"{}", b'{"ask":1,"answer":0,"t":0}', b'{"back":1}\n{"back":1}']
)
def test_a_damaged_log_is_told(tmp_path: Path, line: bytes) -> None:
    path = tmp_path / "log.jsonl"
    log = AnswerLog(path, HEAD)
    log.begin("2031-05-04T10:00:00+00:00")
    log.add(q.plain(SWEEP), ["#H2"], 1.0)
    path.write_bytes(path.read_bytes() + line + b"\n")
    with pytest.raises(JournalError, match="begun by hand"):
        AnswerLog(path, HEAD)
