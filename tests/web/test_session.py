"""One job in a thread: what pages see of it, what it asks, how it is stopped; jobs here are made up."""

from __future__ import annotations

import threading
from collections.abc import Callable, Generator
from typing import Any

import pytest

from loomproof.errors import AdapterError, Problem, UsageError
from loomproof.jobs.events import Event, Finished, Progress, Prompt, Reading, TouchAsked, WatchBegins
from loomproof.jobs.keep import Orders
from loomproof.jobs.running import Running
from loomproof.loom.model import End
from loomproof.web.asking import PageOperator
from loomproof.web.session import LIFE_S, LONELY, Ending, Session, Work
from loomproof.web.states import State
from tests.web.asking import PATIENCE_S, join

A, B, C = (End("X", cavity) for cavity in "123")
Job = Callable[[PageOperator, Callable[[], Orders]], Generator[Event, None, Any]]


class At:
    """Points that a job and a test come to together; what does not come within patience fails."""

    def __init__(self) -> None:
        self._there = {name: threading.Event() for name in ("here", "on", "left")}

    def come(self, name: str) -> None:
        self._there[name].set()

    def wait(self, name: str) -> None:
        assert self._there[name].wait(PATIENCE_S), name


def begin(session: Session, job: Job) -> None:
    def make(operator: PageOperator, hold: Callable[[], Orders]) -> Work:
        running: Running[Any] = Running(job(operator, hold))
        return Work("Proof of X", "x", (A, B, C), running, ended)

    session.begin(make)


def ended(_: object) -> Ending:
    return Ending(
        "pass", "PASS", ("grade bench",), {A: State.SOUND, B: State.SOUND, C: State.SOUND}, "/runs/1"
    )


def test_a_page_that_comes_back_finds_everything_and_one_that_stayed_what_is_new() -> None:
    session, at = Session(), At()

    def job(_: PageOperator, __: Callable[[], Orders]) -> Generator[Event, None, None]:
        yield Progress("sensing", 1, 2, 3.0)
        yield Reading("sense", (A,), (B,))
        at.come("here")
        at.wait("on")
        yield Prompt("Take care:", ("of this",))
        yield Reading("resistance", (A,), (C,), 0.1)
        yield Reading("sense", (A,), (B,))

    begin(session, job)
    at.wait("here")
    seen = session.since(0)
    # The event just before the job came here is shown once the next one is taken.
    assert seen["phase"] == "running"
    assert seen["progress"] == {"what": "sensing", "done": 1, "total": 2, "left_s": 3.0}
    assert seen["cavities"]["X:3"] == "waiting"
    at.come("on")
    last = join(session)
    assert (last["phase"], last["ending"]["word"], last["ending"]["page"]) == ("ended", "PASS", "/runs/1")
    assert last["told"] == [{"text": "Take care:", "lines": ["of this"]}]
    assert set(last["cavities"].values()) == {"sound"}
    new = session.since(seen["stamp"])
    assert "title" not in new
    assert new["phase"] == "ended"
    assert session.since(last["stamp"]) == {"cavities": {}, "stamp": last["stamp"]}


def test_a_cavity_goes_on_and_never_back() -> None:
    session, at = Session(), At()

    def job(_: PageOperator, __: Callable[[], Orders]) -> Generator[Event, None, None]:
        yield Reading("resistance", (A,), (B,), 0.1)
        yield Reading("sense", (A,), (C,))
        yield Reading("resistance", (A, B), (C,), 1e6)
        yield Progress("waiting")
        at.come("here")
        at.wait("on")

    begin(session, job)
    at.wait("here")
    assert session.since(0)["cavities"] == {"X:1": "measured", "X:2": "measured", "X:3": "sensed"}
    at.come("on")
    join(session)


def test_one_job_at_a_time() -> None:
    session, at = Session(), At()

    def job(_: PageOperator, __: Callable[[], Orders]) -> Generator[Event, None, None]:
        at.come("here")
        at.wait("on")
        yield Finished("1")

    begin(session, job)
    at.wait("here")
    with pytest.raises(UsageError, match="runs already"):
        begin(session, job)
    at.come("on")
    assert join(session)["phase"] == "ended"


def test_an_order_to_stop_lets_the_job_release_once() -> None:
    session, at = Session(), At()
    left: list[str] = []

    def job(_: PageOperator, __: Callable[[], Orders]) -> Generator[Event, None, None]:
        try:
            at.come("here")
            at.wait("on")
            yield Progress("one")
            left.append("went on")
        except KeyboardInterrupt:
            yield Progress("releasing")
            left.append("released")
            raise

    begin(session, job)
    at.wait("here")
    session.stop()
    session.stop()
    at.come("on")
    last = join(session)
    assert left == ["released"]
    assert last["error"]["message"] == "it was stopped before its end; nothing is claimed from it"
    assert last["ending"] is None


def test_an_order_to_stop_waits_for_no_event() -> None:
    """A bench may be asked for half a minute before anything is told; Ctrl-C at a terminal does not wait."""
    session, at = Session(), At()

    def job(_: PageOperator, __: Callable[[], Orders]) -> Generator[Event, None, None]:
        yield Progress("one")
        at.come("here")
        while True:
            threading.Event().wait(0.001)

    begin(session, job)
    at.wait("here")
    session.stop()
    assert "stopped" in join(session)["error"]["message"]


def test_what_is_asked_is_answered_once() -> None:
    session, at = Session(), At()
    said: list[bool] = []

    def job(operator: PageOperator, _: Callable[[], Orders]) -> Generator[Event, None, None]:
        yield Prompt("Before a proof:", ("Battery off.",))
        at.come("here")
        said.append(operator.confirm("Is all of that done?"))

    begin(session, job)
    question = asked(session, at)
    assert (question["kind"], question["text"]) == ("yes", "Is all of that done?")
    # What is confirmed comes with the question: nobody says yes to what stands elsewhere.
    assert question["told"] == [{"text": "Before a proof:", "lines": ["Battery off."]}]
    with pytest.raises(UsageError):
        session.answer(question["number"] + 1, True)
    session.answer(question["number"], True)
    with pytest.raises(UsageError, match="answered already"):
        session.answer(question["number"], False)
    assert join(session)["question"] is None
    assert said == [True]


@pytest.mark.parametrize("said", [False, None, "yes", 1, {"yes": True}])
def test_nothing_but_yes_confirms(said: object) -> None:
    assert PageOperator(lambda _: said).confirm("Is all of that done?") is False


@pytest.mark.parametrize(
    ("said", "holds"), [("500", True), (" 500 ", True), ("50", False), (500, False), (True, False)]
)
def test_a_voltage_is_typed(said: object, holds: bool) -> None:
    assert PageOperator(lambda _: said).type_voltage(500.0) is holds


@pytest.mark.parametrize(
    ("said", "volts"), [("0,02", 0.02), ("12.6", 12.6), ("", None), ("nan", None), (5, None)]
)
def test_a_meter_is_read_as_a_number_or_not_at_all(said: object, volts: float | None) -> None:
    assert PageOperator(lambda _: said).read_meter() == volts


def asked(session: Session, at: At) -> dict[str, Any]:
    """Return the question that a job puts after it came here."""
    at.wait("here")
    for _ in range(10_000):
        if (question := session.since(0)["question"]) is not None:
            assert isinstance(question, dict)
            return question
        threading.Event().wait(0.002)
    raise AssertionError("nothing was asked")


def test_a_question_does_not_hold_an_order_to_stop_up() -> None:
    session, at = Session(), At()

    def job(operator: PageOperator, _: Callable[[], Orders]) -> Generator[Event, None, None]:
        yield Progress("one")
        at.come("here")
        operator.confirm("Is it so?")
        raise AssertionError("it went on")

    begin(session, job)
    asked(session, at)
    session.stop()
    assert "stopped" in join(session)["error"]["message"]


def test_what_is_being_sealed_is_not_broken_off() -> None:
    session, at = Session(), At()
    orders: list[Orders] = []

    def job(_: PageOperator, hold: Callable[[], Orders]) -> Generator[Event, None, None]:
        yield Progress("one")
        orders.append(hold())
        at.come("here")
        at.wait("on")
        yield Progress("sealing")

    begin(session, job)
    at.wait("here")
    session.stop()
    at.come("on")
    assert join(session)["ending"]["word"] == "PASS"
    assert orders[0].stop


@pytest.mark.parametrize("begins", [WatchBegins(600.0), TouchAsked()])
def test_a_watch_ends_without_who_drives_though_the_bench_tells_nothing(begins: Event) -> None:
    """One of a loom that is moved, and a search for the probe."""
    time_s = [100.0]
    session, at = Session(clock=lambda: time_s[0]), At()

    def job(_: PageOperator, __: Callable[[], Orders]) -> Generator[Event, None, None]:
        yield begins
        yield Progress("one")
        at.come("here")
        while True:
            threading.Event().wait(0.001)

    begin(session, job)
    at.wait("here")
    time_s[0] += 1.0
    session.alive()
    time_s[0] += LIFE_S
    session.look()
    assert session.running
    assert not session.since(0)["stopping"]
    time_s[0] += 0.1
    error = join(session)["error"]
    assert "stopped" in error["message"]
    assert error["lines"][0] == LONELY


def test_a_watch_that_asks_ends_without_who_drives() -> None:
    time_s = [100.0]
    session, at = Session(clock=lambda: time_s[0]), At()

    def job(operator: PageOperator, _: Callable[[], Orders]) -> Generator[Event, None, None]:
        yield WatchBegins(600.0)
        yield Progress("one")
        at.come("here")
        operator.hold_probe(A)
        raise AssertionError("it went on")

    begin(session, job)
    asked(session, at)
    time_s[0] += LIFE_S + 0.1
    assert LONELY in join(session)["error"]["lines"]


@pytest.mark.parametrize("watched", [False, True])
def test_a_proof_goes_on_without_who_drives_and_its_page_finds_it_again(watched: bool) -> None:
    """A watch that has ended holds nothing up either, whatever the job does after it."""
    time_s = [100.0]
    session, at = Session(clock=lambda: time_s[0]), At()

    def job(_: PageOperator, __: Callable[[], Orders]) -> Generator[Event, None, None]:
        if watched:
            yield WatchBegins(600.0)
            yield Finished("1")
        yield Progress("one")
        at.come("here")
        at.wait("on")
        yield Progress("two")

    begin(session, job)
    at.wait("here")
    time_s[0] += 3600.0
    session.look()
    assert session.since(0)["progress"]["what"] == "one"
    at.come("on")
    last = join(session)
    assert (last["error"], last["ending"]["word"]) == (None, "PASS")


def test_errors_are_told_as_they_are_written() -> None:
    session = Session(how=lambda do: "" if do is None else "so")
    error = AdapterError("two leads on one point", cure="Move one.")
    error.problems = (Problem("point 3 is taken", file="a.csv", row=4, column="point"),)

    def job(_: PageOperator, __: Callable[[], Orders]) -> Generator[Event, None, None]:
        yield Progress("one")
        raise error

    begin(session, job)
    assert join(session)["error"] == {
        "message": "two leads on one point",
        "lines": ["a.csv, row 4, column point: point 3 is taken", "Move one."],
    }


def test_a_mistake_of_the_program_claims_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    session = Session()

    def job(_: PageOperator, __: Callable[[], Orders]) -> Generator[Event, None, None]:
        yield Progress("one")
        raise ZeroDivisionError("of all things")

    begin(session, job)
    assert "a mistake of the program" in join(session)["error"]["message"]
    assert "ZeroDivisionError" in capsys.readouterr().err
    begin(session, lambda _, __: iter_nothing())
    assert join(session)["ending"]["word"] == "PASS"


def iter_nothing() -> Generator[Event, None, None]:
    yield Progress("one")
