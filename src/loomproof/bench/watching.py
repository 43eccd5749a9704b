"""A watch over the scanner link: events as they come, and a loss told as a loss, the last one's too."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Generator

from loomproof.bench.capability_report import NOT_THE_LINK
from loomproof.bench.frames import EVENT, Frame, read_set
from loomproof.bench.link import Link
from loomproof.bench.seam import MOST_US, WatchEvent, WatchSummary
from loomproof.errors import BenchError, LinkError, LostEventError, RefusedError

KEEP_ALIVE_S = 1.5
SILENCE_ENDS_S = 5.0
"""How long after the last good line a device ends a watch by itself."""

NO_WATCH_RUNS = -221
COUNTER_BYTES = 24
ENDED_BY_ITSELF = -1
_AGAIN = "Watch again; a shorter cable or a lower rate loses less."


def watch_events(
    link: Link, sets: int, points: int, seconds: float | None, ended: Callable[[WatchSummary], None]
) -> Generator[WatchEvent, None, None]:
    """Yield the events of a watch that has just been started, for so long or until closed; then stop it.

    ``ended`` is told how it ended. What arrived before the device had stopped is yielded too. Raises
    `LostEventError` where an event was lost, the last ones included, and `LinkError` where the watch ended by
    itself: by its own word, or because the device says, when told to stop, that none runs.
    """
    until = math.inf if seconds is None else link.now() + seconds
    seen = 0

    def waiting() -> Generator[WatchEvent, None, None]:
        nonlocal seen
        while link.events:
            event = _event(link.events.popleft(), seen, sets, points)
            seen += 1
            yield event

    try:
        while (left := until - link.now()) > 0:
            link.listen(max(0.0, min(left, KEEP_ALIVE_S - link.idle_s)))
            yield from waiting()
            if link.idle_s >= KEEP_ALIVE_S:
                link.ask("SYST:LINK?", reply_bytes=3 * COUNTER_BYTES)
    except GeneratorExit:
        # Nobody looks at what is left; only how it ended is told.
        if not link.ended:
            ended(_stop(link, seen))
        link.events.clear()
        raise
    except BaseException:
        with contextlib.suppress(BenchError):  # the first error is the one to tell
            ended(_stop(link, seen))
        link.events.clear()
        raise
    summary = _stop(link, seen)
    ended(summary)
    try:
        yield from waiting()
    finally:
        link.events.clear()  # what is left of this watch is nothing to the next one
    if summary.lost:
        lost = LostEventError(
            f"{summary.lost} of {summary.events} watch events were lost on the line, the last ones; "
            "nothing is claimed from this watch",
            cure=_AGAIN,
        )
        lost.lost = summary.lost
        raise lost


def _stop(link: Link, seen: int) -> WatchSummary:
    if link.idle_s >= SILENCE_ENDS_S:
        raise _ended_by_itself(f"nothing was asked of it for {link.idle_s:.1f} s")
    try:
        reply = link.ask("WATC:STOP", reply_bytes=3 * COUNTER_BYTES).split(",")
    except RefusedError as refusal:
        if refusal.code != NO_WATCH_RUNS:
            raise
        raise _ended_by_itself("its last event was lost on the line") from refusal
    if len(reply) != 3 or not all(field.isdigit() for field in reply):
        raise LinkError(f"the scanner answered WATC:STOP with {','.join(reply)!r}", cure=NOT_THE_LINK)
    cycles, events, lost = (int(field) for field in reply)
    missing = events - lost - seen - len(link.events)
    return WatchSummary(cycles, events, lost + max(0, missing))


def _event(frame: Frame, number: int, sets: int, points: int) -> WatchEvent:
    assert frame.sequence == EVENT
    fields = frame.body.split(",")
    try:
        if len(fields) != 4:
            raise ValueError(f"{frame.body!r} is no watch event")
        found = WatchEvent(int(fields[0]), int(fields[1]), int(fields[2]), read_set(fields[3], points))
        if found.time_us > MOST_US:
            raise ValueError(f"{frame.body!r} has a time of more than 64 bits")
    except ValueError as error:
        raise LinkError(f"the scanner reported outside the scanner link: {error}") from None
    if found.index == ENDED_BY_ITSELF:
        raise _ended_by_itself("it said so")
    if found.number != number or not 0 <= found.index < sets:
        lost = LostEventError(
            f"watch event {number} was lost on the line; nothing is claimed from this watch", cure=_AGAIN
        )
        lost.lost = max(1, found.number - number)
        raise lost
    return found


def _ended_by_itself(why: str) -> LinkError:
    return LinkError(f"the watch ended by itself ({why}); nothing is claimed from it", cure="Watch again.")
