"""What is true of every bench, whatever its driver does."""

from __future__ import annotations

import gc
import math
from collections.abc import Iterator

import pytest

from loomproof.bench.questions import Answer, NextEvent, Question, Release, Resistance, Sense, Watch, Watched
from loomproof.bench.seam import (
    NOT_RELEASED,
    RELEASED,
    Capabilities,
    WatchEvent,
    WatchSummary,
    end_told,
)
from loomproof.errors import LinkError, NoBenchError, UnfitError
from tests.memory_bench import MemoryBench, simulated

ABLE = Capabilities(4, ohms=(0.0, 1e6), volt_max=30.0, watch_us=1000)


class Scripted(MemoryBench):
    """Answers what it was told to, and remembers what it was asked."""

    def __init__(self, *answers: Answer | BaseException) -> None:
        super().__init__(ABLE)
        self.answers: Iterator[Answer | BaseException] = iter(answers)
        self.heard: list[Question] = []
        self.disconnected = 0

    def _answer(self, question: Question) -> Answer:
        self.heard.append(question)
        answer = next(self.answers, None)
        if isinstance(answer, BaseException):
            raise answer
        return answer

    def _disconnect(self) -> None:
        self.disconnected += 1


@pytest.mark.parametrize(
    ("question", "answer"),
    [
        (Resistance(1, 2), None),
        (Resistance(1, 2), math.nan),
        (Resistance(1, 2), [1]),
        (Sense((1,)), 0.0),
        (Sense((1,)), [1, 1]),
    ],
)
def test_an_answer_to_another_question_is_not_believed(question: Question, answer: Answer) -> None:
    bench = Scripted(answer)
    verb = (lambda: bench.sense([1])) if isinstance(question, Sense) else (lambda: bench.resistance(1, 2))
    with pytest.raises(UnfitError, match="the driver of the bench"):
        verb()
    assert bench.heard == [question]


def test_what_cannot_be_meant_never_reaches_the_driver() -> None:
    bench = Scripted()
    for a, b in ((0, 1), (1, 0), (3, 1)):
        with pytest.raises(ValueError, match="two sets"):
            bench.resistance(a, b)
    for asked in (lambda: bench.sense([16]), lambda: bench.voltage(1, 16), lambda: list(bench.watch([16]))):
        with pytest.raises(UnfitError, match="point 5 was asked for; the bench has 4 points"):
            asked()
    with pytest.raises(UnfitError, match="point 0"):
        bench.sense([-1])
    assert bench.heard == []


def test_a_watch_is_ended_however_it_is_left() -> None:
    event, summary = WatchEvent(0, 5, 0, 1), WatchSummary(9, 1, 0)
    whole = Scripted(None, event, None, summary)
    assert list(whole.watch([1, 2], 3.0)) == [event]
    assert whole.heard == [Watch((1, 2), 3.0), NextEvent(2), NextEvent(2), Watched()]
    assert whole.watched == summary
    left = Scripted(None, event, summary)
    events = left.watch([1])
    assert left.heard == [], "nothing is begun before the first event is asked for"
    next(events)
    events.close()
    assert left.heard[-1] == Watched()
    assert left.watched == summary
    failed = Scripted(None, LinkError("gone"), summary)
    with pytest.raises(LinkError, match="gone"):
        list(failed.watch([1]))
    assert failed.heard[-1] == Watched()
    closed = Scripted(None, event)
    events = closed.watch([1])
    next(events)
    closed.close()
    events.close()
    assert closed.heard[-1] == Release()


def test_a_with_block_left_by_an_error_releases_and_says_so() -> None:
    for answer, told in ((None, RELEASED), (LinkError("gone"), NOT_RELEASED)):
        bench = Scripted(answer)
        with pytest.raises(ZeroDivisionError) as caught, bench:
            _ = 1 / 0
        assert bench.heard == [Release()]
        assert bench.disconnected == 1
        assert end_told(caught.value) == told
        with pytest.raises(NoBenchError, match="closed"):
            bench.release()


def test_an_order_to_stop_in_the_middle_of_the_release_is_heeded_after_it() -> None:
    bench = Scripted(KeyboardInterrupt())
    with pytest.raises(KeyboardInterrupt) as caught, bench:
        pass
    assert bench.heard == [Release(), Release()]
    assert bench.disconnected == 1
    assert end_told(caught.value) == RELEASED


def test_a_bench_that_is_collected_before_it_was_closed_says_so() -> None:
    def used(close: bool) -> None:
        bench = Scripted()
        bench._holds(simulated())
        if close:
            bench.close()
        del bench
        gc.collect()

    with pytest.warns(ResourceWarning, match="never closed; its points may still be driven"):
        used(close=False)
    used(close=True)  # or a warning would fail this test
