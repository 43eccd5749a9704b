"""A scanner that watches tells what it saw, or that it missed something."""

from __future__ import annotations

import pytest

from loomproof.errors import LinkError, LostEventError
from tests.bench.test_scanner import Rig

pytestmark = pytest.mark.usefixtures("all_closed")


def test_watch() -> None:
    rig = Rig()
    events = rig.bench.watch([1, 2])
    rig.line.to = lambda data: [data]
    start = rig.line.fro
    rig.line.fro = lambda data: [data, rig.scanner.event(0, 0, 7), rig.scanner.event(10, 1, 7)]
    first = next(events)
    rig.line.fro = start
    assert (first.number, first.index, first.low) == (0, 0, 7)
    assert next(events).number == 1
    rig.line.arrived += rig.scanner.event(900, 0, 1)
    assert next(events).time_us == 900
    events.close()
    assert rig.bench.watched is not None
    assert (rig.bench.watched.events, rig.bench.watched.lost) == (3, 0)
    assert rig.bench.sense([1]) == [7]


def test_watch_for_a_time_keeps_the_link_alive() -> None:
    rig = Rig()
    assert list(rig.bench.watch([1], seconds=30.0)) == []
    beats = [body for body in rig.scanner.executed if body == "SYST:LINK?"]
    assert len(beats) >= 15  # one at least every 2 s
    assert rig.scanner.executed[-1] == "WATC:STOP"


@pytest.mark.parametrize("fault", ["lost", "ended"])
def test_a_watch_that_missed_something_is_an_error(fault: str) -> None:
    rig = Rig()
    events = rig.bench.watch([1])
    if fault == "lost":
        rig.line.fro = lambda data: [data, rig.scanner.event(0, 0, 7, skip=True), rig.scanner.event(1, 0, 3)]
    else:
        rig.line.fro = lambda data: [data, rig.scanner.event(0, -1, 0)]
    with pytest.raises(LinkError, match="nothing is claimed"):
        next(events)
    assert rig.scanner.executed[-1] == "WATC:STOP"


def test_what_comes_while_the_watch_is_stopped_is_not_dropped() -> None:
    rig = Rig()
    execute = rig.scanner.execute

    def late(body: str) -> str:
        if body == "WATC:STOP":
            rig.line.arrived += rig.scanner.event(700, 0, 1)
        return execute(body)

    rig.scanner.execute = late  # type: ignore[method-assign]
    [event] = rig.bench.watch([1], seconds=3.0)
    assert (event.number, event.low) == (0, 1)
    assert rig.bench.watched is not None
    assert (rig.bench.watched.events, rig.bench.watched.lost) == (1, 0)


def test_the_last_event_lost_on_the_line_is_an_error() -> None:
    """Nothing comes after it whose number would tell; the count that the device gives at the end does."""
    rig = Rig()
    events = rig.bench.watch([1], seconds=3.0)
    start = rig.line.fro
    rig.line.fro = lambda data: [data, rig.scanner.event(0, 0, 7), rig.scanner.event(9, 0, 3, skip=True)]
    assert next(events).number == 0
    rig.line.fro = start
    with pytest.raises(LinkError, match="1 of 2 watch events were lost"):
        next(events)
    assert rig.bench.watched is not None
    assert rig.bench.watched.lost == 1


def test_what_is_left_of_a_watch_is_nothing_to_the_next_one() -> None:
    """One event is lost, others come while the watch is stopped: the next one counts from 0."""
    rig = Rig()
    execute = rig.scanner.execute

    def late(body: str) -> str:
        if body == "WATC:STOP":
            rig.scanner.event(700, 0, 1, skip=True)
            rig.line.arrived += rig.scanner.event(710, 0, 3) + rig.scanner.event(720, 0, 1)
        return execute(body)

    rig.scanner.execute = late  # type: ignore[method-assign]
    with pytest.raises(LostEventError):
        list(rig.bench.watch([1], seconds=3.0))
    rig.scanner.execute = execute  # type: ignore[method-assign]
    events = rig.bench.watch([1], seconds=3.0)
    rig.line.fro = lambda data: [data, rig.scanner.event(0, 0, 7)]
    assert next(events).number == 0


@pytest.mark.parametrize("closed_early", [True, False])
def test_a_watch_that_ended_by_itself_unheard_is_an_error(closed_early: bool) -> None:
    """Its last event, of index -1, was lost: the device says, when told to stop, that no watch runs."""
    rig = Rig()
    rig.scanner.refuse["WATC:STOP"] = 'ERR -221,"Settings conflict; no watch runs"'
    events = rig.bench.watch([1], seconds=3.0)
    if closed_early:
        rig.line.fro = lambda data: [data, rig.scanner.event(0, 0, 7)]
        next(events)
        with pytest.raises(LinkError, match=r"ended by itself .* lost on the line"):
            events.close()
    else:
        with pytest.raises(LinkError, match=r"ended by itself .* lost on the line"):
            next(events)
    assert rig.bench.watched is None
    assert rig.bench.sense([1]) == [7]
