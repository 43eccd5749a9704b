"""A watch on a line that the test plays: what is kept alive, what is told as lost, how it ends."""

from __future__ import annotations

from collections import deque
from collections.abc import Generator
from dataclasses import dataclass, field
from typing import cast

import pytest

from loomproof.bench.frames import EVENT, Frame
from loomproof.bench.link import Link
from loomproof.bench.seam import WatchEvent, WatchSummary
from loomproof.bench.watching import watch_events
from loomproof.errors import BenchError, LinkError, LostEventError, RefusedError


@dataclass
class Line:
    """A link whose clock runs while it listens; ``coming`` are events by the time at which they come."""

    coming: list[tuple[float, str]] = field(default_factory=list)
    stop: str | Exception = "9,0,0"
    late: list[str] = field(default_factory=list)
    idle_s: float = 0.0
    ended: bool = False
    clock: float = 100.0
    events: deque[Frame] = field(default_factory=deque)
    asked: list[str] = field(default_factory=list)
    listened: list[float] = field(default_factory=list)

    def now(self) -> float:
        return self.clock

    def listen(self, timeout_s: float) -> None:
        assert timeout_s >= 0.0
        self.listened.append(timeout_s)
        due = [pair for pair in self.coming if pair[0] <= self.clock + timeout_s]
        if due:
            when = max(due[0][0], self.clock)
            self.clock, self.idle_s = when, 0.0
            for pair in [pair for pair in due if pair[0] <= when]:
                self.coming.remove(pair)
                self.events.append(Frame(EVENT, pair[1]))
        else:
            self.clock += timeout_s
            self.idle_s += timeout_s

    def ask(self, command: str, *, reply_bytes: int) -> str:
        assert reply_bytes == 72
        self.asked.append(command)
        if command == "WATC:STOP":
            self.events.extend(Frame(EVENT, body) for body in self.late)
            if isinstance(self.stop, Exception):
                raise self.stop
            self.idle_s = 0.0
            return self.stop
        self.idle_s = 0.0
        return "0,0,0"


def watch(
    line: Line, seconds: float | None = 4.0, sets: int = 2
) -> tuple[Generator[WatchEvent, None, None], list[WatchSummary]]:
    told: list[WatchSummary] = []
    return watch_events(cast(Link, line), sets, 8, seconds, told.append), told


def test_events_are_told_as_they_come_and_the_line_is_kept_alive() -> None:
    line = Line([(100.5, "0,5,0,#H1"), (100.5, "1,6,1,#H80"), (101.0, "2,7,1,#H0")], stop="9,3,0")
    events, told = watch(line)
    assert list(events) == [WatchEvent(0, 5, 0, 1), WatchEvent(1, 6, 1, 128), WatchEvent(2, 7, 1, 0)]
    assert told == [WatchSummary(9, 3, 0)]
    # The last line came at 101 s: a second and a half later one is asked for, and again at 104.
    assert line.asked == ["SYST:LINK?", "SYST:LINK?", "WATC:STOP"] or line.asked == [
        "SYST:LINK?",
        "WATC:STOP",
    ]
    assert line.listened == pytest.approx([1.5, 1.5, 1.5, 1.5])
    assert line.clock == pytest.approx(104.0)


def test_no_longer_is_listened_than_there_is_time_and_patience() -> None:
    line = Line(idle_s=1.0)
    events, told = watch(line, 1.2)
    assert list(events) == []
    assert line.listened == pytest.approx([0.5, 0.7])
    assert line.asked == ["SYST:LINK?", "WATC:STOP"]
    assert told == [WatchSummary(9, 0, 0)]
    silent = Line(idle_s=2.0)
    list(watch(silent, 0.1)[0])
    assert silent.listened[0] == 0.0
    assert silent.asked[0] == "SYST:LINK?"


def test_events_that_came_before_the_stop_are_told_after_it() -> None:
    line = Line(stop="9,1,0", late=["0,5,1,#H2"])
    events, told = watch(line, 0.5)
    assert list(events) == [WatchEvent(0, 5, 1, 2)]
    assert told == [WatchSummary(9, 1, 0)]
    assert not line.events


@pytest.mark.parametrize(
    ("stop", "lost"),
    # cycles, events, lost by the device itself; one was seen
    [("9,1,0", 0), ("9,2,0", 1), ("9,2,1", 1), ("9,4,1", 3), ("9,1,1", 1)],
)
def test_events_lost_on_the_way_are_counted_the_last_ones_too(stop: str, lost: int) -> None:
    line = Line([(100.1, "0,5,0,#H1")], stop=stop)
    events, told = watch(line, 1.0)
    assert next(events) == WatchEvent(0, 5, 0, 1)
    if not lost:
        assert list(events) == []
    else:
        total = stop.split(",")[1]
        with pytest.raises(LostEventError, match=f"{lost} of {total} watch events were lost"):
            list(events)
    cycles, count, _ = (int(text) for text in stop.split(","))
    assert told == [WatchSummary(cycles, count, lost)]
    assert not line.events


@pytest.mark.parametrize(
    ("body", "error", "said"),
    [
        ("0,5,0", LinkError, "is no watch event"),
        ("0,5,0,#H1,1", LinkError, "is no watch event"),
        ("x,5,0,#H1", LinkError, "outside the scanner link"),
        ("0,5,0,#H100", LinkError, "names point 9"),
        ("0,5,-1,#H0", LinkError, "it said so"),
        ("1,5,0,#H1", LostEventError, "watch event 0 was lost"),
        ("0,5,2,#H1", LostEventError, "watch event 0 was lost"),
        ("0,5,-2,#H1", LostEventError, "watch event 0 was lost"),
    ],
)
def test_what_is_no_event_of_this_watch_ends_it(body: str, error: type[Exception], said: str) -> None:
    line = Line([(100.1, body), (100.1, "1,6,0,#H1")])
    events, told = watch(line)
    with pytest.raises(error, match=said):
        list(events)
    assert told == [WatchSummary(9, 0, 0)], "how it ended is told all the same"
    assert line.asked[-1] == "WATC:STOP"
    assert not line.events, "what is left is nothing to the next watch"


def test_the_first_error_is_told_whatever_the_stop_answers() -> None:
    line = Line([(100.1, "0,5,0")], stop=LinkError("gone"))
    with pytest.raises(LinkError, match="is no watch event"):
        list(watch(line)[0])


@pytest.mark.parametrize(
    ("stop", "said"),
    [
        ("9,0", "answered WATC:STOP with '9,0'"),
        ("9,0,0,0", "answered WATC:STOP"),
        ("9,-1,0", "answered WATC:STOP"),
        ("", "answered WATC:STOP"),
        (RefusedError("no watch runs", code=-221), "its last event was lost on the line"),
        (RefusedError("not now", code=-222), "not now"),
    ],
)
def test_a_stop_that_is_not_answered_as_it_should_claims_nothing(stop: str | Exception, said: str) -> None:
    line = Line(stop=stop)
    events, told = watch(line, 0.5)
    with pytest.raises(BenchError, match=said):
        list(events)
    assert told == []


@pytest.mark.parametrize(("idle", "ended"), [(4.9, False), (5.0, True)])
def test_a_device_that_was_not_asked_for_five_seconds_has_ended_the_watch(idle: float, ended: bool) -> None:
    line = Line(idle_s=idle)
    events, _ = watch(line, 0.0)
    if ended:
        with pytest.raises(LinkError, match=r"nothing was asked of it for 5\.0 s"):
            list(events)
        assert line.asked == []
    else:
        assert list(events) == []
        assert line.asked == ["WATC:STOP"]


def test_a_watch_that_nobody_looks_at_any_more_is_stopped_and_its_end_is_told() -> None:
    line = Line([(100.1, "0,5,0,#H1"), (100.1, "1,6,0,#H0")], stop="9,2,0")
    events, told = watch(line, None)
    next(events)
    events.close()
    assert line.asked == ["WATC:STOP"]
    assert told == [WatchSummary(9, 2, 0)]
    assert not line.events
    gone = Line([(100.1, "0,5,0,#H1")], ended=True)
    events, told = watch(gone, None)
    next(events)
    events.close()
    assert (gone.asked, told) == ([], [])


def test_a_watch_without_an_end_goes_on() -> None:
    line = Line([(100.0 + 30 * k, f"{k},{k},0,#H1") for k in range(3)])
    events, _ = watch(line, None)
    assert [next(events).number for _ in range(3)] == [0, 1, 2]
    assert line.clock == pytest.approx(160.0)
    assert line.asked == ["SYST:LINK?"] * 38
    events.close()
