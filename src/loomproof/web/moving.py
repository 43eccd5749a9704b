"""What a page sees of a loom that is watched while it is moved: nets, each break and touch as it comes."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from loomproof.electrics.nets import nets_of
from loomproof.errors import UsageError
from loomproof.jobs.events import Change, Event, Moved, WatchBegins
from loomproof.jobs.job import Job
from loomproof.jobs.wiggle import Hands, Wiggle, likely
from loomproof.loom.model import End, Loom
from loomproof.loom.text import first_of
from loomproof.reports.moved_words import (
    HEADS,
    NOTHING_SEEN,
    SHARES,
    ends_told,
    length_told,
    likeliest_told,
    rows,
    summed,
)
from loomproof.reports.words import plural
from loomproof.web.session import Ending
from loomproof.web.sight import NOTHING, Seen, Sight

MOST_MARKS = 500
"""So many of the last marks stand on the page; all of them are in the figures at the end."""


class Watching(Sight):
    """A loom is watched. ``job`` keeps what was seen, ``hands`` what is being moved."""

    page = "/wiggle"

    def __init__(self, loom: Loom, hands: Hands, job: Job) -> None:
        self.loom, self._hands, self._job = loom, hands, job
        self._nets: tuple[tuple[End, ...], ...] = ()
        self._marks = 0
        self._open: dict[int, dict[str, Any]] = {}
        self._likely: dict[Moved, str] = {}

    @property
    def wiggled(self) -> Wiggle | None:
        """What was seen, once the watch has ended."""
        return self._job.wiggled

    def begun(self) -> Seen:
        """Return what can be said to be moved."""
        return Seen({"places": [place.name for place in self._hands.places], "digit": 0})

    def see(self, event: Event) -> Seen:
        """Show the nets as the watch begins, and each change as it begins and ends."""
        if isinstance(event, WatchBegins):
            self._nets = event.nets
            times = {"seconds": event.seconds, "began_s": time.monotonic()}
            return Seen({"nets": self._lines(), **times, "marks": 0}, waits=("watching", 0, 0))
        if isinstance(event, Moved):
            return self._mark(event) if event.length_us is None else self._over(event)
        return NOTHING

    def hear(self, said: Mapping[str, object]) -> Seen:
        """Take what is being moved now, by its digit; 0 for nothing named. Raises `UsageError`."""
        digit = said.get("digit")
        if not isinstance(digit, int) or not 0 <= digit <= len(self._hands.places):
            raise UsageError("nothing has that digit", cure="Load the page again.")
        self._hands.choose(digit)
        return Seen({"digit": digit})

    def ended(self, wiggle: Wiggle) -> Ending:
        """Return what the watch comes to."""
        watched = wiggle.watched
        lines = [*summed(watched)]
        if not wiggle.troubles:
            return Ending("told", "Nothing seen", (*lines, NOTHING_SEEN), {})
        if any(trouble.places for trouble in wiggle.troubles):
            lines.append(SHARES)
        word = f"{plural(len(watched.seen), 'change')} seen"
        return Ending("told", word, tuple(lines), {}, table=(HEADS, *rows(wiggle.troubles)))

    def left(self) -> Ending | None:
        """Return what was seen until a watch was broken off."""
        return None if self.wiggled is None else self.ended(self.wiggled)

    def stopped(self) -> Ending | None:
        """Return what was seen until a person stopped the watch: that is no fault."""
        if (left := self.left()) is None or self.wiggled is None:
            return None
        watched = self.wiggled.watched
        gone_s = max(watched.watched_s, watched.touches_s)
        note = f"Stopped by hand after {gone_s:.1f} s of {watched.asked_s:g} s."
        return replace(left, lines=(note, *left.lines))

    def _lines(self) -> list[dict[str, str]]:
        of = {end: net for net in nets_of(self.loom) for end in net.ends}
        return [
            {"ends": first_of(cavities, 4), "wires": first_of(of[cavities[0]].wires, 4)}
            for cavities in self._nets
        ]

    def _mark(self, moved: Moved) -> Seen:
        self._marks += 1
        mark = {
            "number": self._marks,
            "change": moved.change.value,
            "at_s": moved.began_s,
            "length_us": None,
            "length": "",
            "ends": ends_told(moved.cavities),
            "nets": moved.nets,
            "place": moved.place,
            "likely": self._likeliest(moved),
        }
        self._open[_line(moved)] = mark
        gone = {str(self._marks - MOST_MARKS): None} if self._marks > MOST_MARKS else {}
        return Seen({"marks": self._marks}, {**gone, str(self._marks): mark})

    def _over(self, moved: Moved) -> Seen:
        mark = self._open.pop(_line(moved), None)
        if mark is None or mark["number"] <= self._marks - MOST_MARKS:
            return NOTHING
        # What touches shows in several sets one after another: which nets they are is known at its end.
        length = {"length_us": moved.length_us, "length": length_told(moved.length_us)}
        now = {**mark, **length, "ends": ends_told(moved.cavities), "nets": moved.nets}
        return Seen(items={str(mark["number"]): now})

    def _likeliest(self, moved: Moved) -> str:
        """Return who is likeliest, worked out once for changes that are alike; shares are told in the end."""
        alike = Moved(0.0, moved.change, moved.nets, moved.cavities, None, moved.place)
        if alike not in self._likely:
            if len(self._likely) >= MOST_MARKS:
                self._likely.clear()
            suspects = likely(self.loom, self._nets, alike, self._hands)
            self._likely[alike] = likeliest_told(suspects, shares=False)
        return self._likely[alike]


def _line(moved: Moved) -> int:
    """Return on which line a change stands until it ends: of a break its net, one for all that touch."""
    return -1 if moved.change is Change.TOUCH else moved.nets[0]
