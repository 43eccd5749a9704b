"""What pages see of jobs at the probe, and what is said to them there: a touch told, an adapter learned."""

from __future__ import annotations

import math
import threading
import time
from collections import deque
from collections.abc import Mapping
from dataclasses import asdict, fields
from typing import Any

from loomproof.errors import UsageError
from loomproof.jobs.events import Event, Lifted, Progress, Prompt, Shown, TouchAsked, Touched
from loomproof.jobs.learn_adapter import Patience, Word
from loomproof.jobs.naming import Key, Letters
from loomproof.jobs.simulated_probe import Probe
from loomproof.jobs.touched import Telling, TouchTold
from loomproof.loom.model import End, Loom
from loomproof.reports.drawing_svg import paints
from loomproof.reports.words import plural
from loomproof.web.session import Ending
from loomproof.web.sight import NOTHING, Seen, Sight

WAIT_S = 600.0
"""So long a touch is waited for: as for a lead that is being made."""

MOST_TOUCHES = 50
"""So many of the last touches stand on the page."""

MOST_WORDS = 400


class AtTheProbe(Sight):
    """A job at which a person holds the probe; ``loom`` is of what its faces are.

    ``hold`` holds a simulator's probe; `None` on any other bench.
    """

    page = "/touch"
    kind = ""

    def __init__(self, loom: Loom) -> None:
        self.loom = loom
        self._ends = {str(end): end for end in loom.cavities}
        self._words: deque[Word] = deque()
        self._done = False
        self.hold: Probe | None = None
        self._held_at: object = None

    def begun(self) -> Seen:
        """Return what kind of job this is."""
        return Seen({"kind": self.kind})

    def held_by(self, hold: Probe | None) -> None:
        """Take what holds the probe of a simulated bench."""
        self.hold = hold

    def probe_off(self) -> tuple[str, ...]:
        """Return what is said at the end of a probe that a person holds; the page's own is taken off."""
        if self.hold is not None:
            return ()
        return ("Take the probe off the loom: left on, it holds what it touches at 0 V in the next job.",)

    def see(self, event: Event) -> Seen:
        """Say whether the page holds the probe."""
        return Seen({"held": self.hold is not None}) if isinstance(event, Progress) else NOTHING

    @property
    def patience(self) -> Patience:
        """How the job waits for touches and hears what was said on the page meanwhile."""
        return Patience(WAIT_S, clock=self._clock, said=self._said)

    def hear(self, said: Mapping[str, object]) -> Seen:
        """Take a word between touches, or where the simulator's probe is to be. Raises `UsageError`."""
        if "probe" in said:
            return self._held(said["probe"])
        word = next((word for word in Word if word == said.get("word")), None)
        if word is None:
            raise UsageError("nothing of the kind can be said to this job", cure="Load the page again.")
        self._done = self._done or word is Word.DONE
        self._words.append(word)
        return NOTHING

    def _held(self, at: object) -> Seen:
        if self.hold is None:
            raise UsageError("no simulated probe is held from this page", cure="Hold the probe on the loom.")
        if at is not None and at not in self._ends:
            raise UsageError("there is no such end on this bench", cure="Load the page again.")
        if at is not None and self._held_at not in (None, at):
            self.hold(None)  # one probe is at one place
            self._held_at = None
        said = self.hold(self._ends[str(at)] if at is not None else None)
        if said.startswith("error"):
            raise UsageError(f"the simulator holds no probe there: {said}")
        self._held_at = at
        return Seen({"probe": at})

    def _clock(self) -> float:
        return math.inf if self._done else time.monotonic()

    def _said(self) -> Word | None:
        return self._words.popleft() if self._words else None


class Saying(AtTheProbe):
    """Of each touch it is told which net that is."""

    kind = "say"

    def __init__(self, telling: Telling) -> None:
        super().__init__(telling.loom)
        self._telling = telling
        self._touches = 0

    def see(self, event: Event) -> Seen:
        """Tell a touch, and keep it among the last ones."""
        if isinstance(event, TouchAsked):
            return Seen({"ready": True}, waits=("waiting for a touch", 0, 0))
        if isinstance(event, Lifted):
            return Seen({"on": False})
        if not isinstance(event, Touched):
            return super().see(event)
        told = self._telling.touch(event)
        self._touches += 1
        shown = {"number": self._touches, **touch_shown(told)}
        gone = {str(self._touches - MOST_TOUCHES): None} if self._touches > MOST_TOUCHES else {}
        line = {"number": self._touches, "ends": shown["ends"], "text": shown["short"]}
        return Seen({"touch": shown, "on": True}, {**gone, str(self._touches): line})

    def ended(self, _: object) -> Ending:
        """Return what the job comes to."""
        told = f"{plural(self._touches, 'touch', 'touches')} told."
        return Ending("told", "Ended", (told, *self.probe_off()), {})


def touch_shown(told: TouchTold) -> dict[str, Any]:
    """Return a touch as plain values: the sentences that a person hears, and all of each net."""
    nets = [
        {
            "ends": [{"end": str(each.end), "about": each.about} for each in net.ends],
            "missing": [{"end": str(each.end), "about": each.about} for each in net.missing],
            "wires": [
                {
                    "name": wire.name,
                    "a": str(wire.a),
                    "b": str(wire.b),
                    "colour": wire.colour,
                    "words": wire.colour_name,
                    "paints": paints(wire.colour) if wire.colour else (),
                    "size": wire.size,
                }
                for wire in net.wires
            ],
            "parts": net.parts,
            "purposes": net.purposes,
        }
        for net in told.nets
    ]
    short = "; ".join(purpose for net in told.nets for purpose in net.purposes)
    return {
        "ends": [str(end) for end in told.ends],
        "nets": nets,
        "bare": told.bare_points,
        "doubts": told.doubts,
        "aloud": " ".join(told.sentences),
        "short": short,
    }


class Learning(AtTheProbe):
    """An adapter's ends are touched in turn; ``known`` has the points of a table that is gone on with."""

    kind = "learn"

    def __init__(self, loom: Loom, table: str, known: Mapping[End, int]) -> None:
        super().__init__(loom)
        self._table, self._of = table, len(loom.cavities)
        self._points = dict(known)
        self._asked: list[End] = []
        self._asks = False

    def begun(self) -> Seen:
        """Return what is known of the table before the first touch."""
        items = {str(end): {"point": point} for end, point in self._points.items()}
        return Seen({"kind": self.kind, "table": self._table}, items)

    def see(self, event: Event) -> Seen:
        """Show which end is asked for, and the point that was found."""
        if isinstance(event, TouchAsked) and event.cavity is not None:
            self._asks = True
            return self._ask(event.cavity, event.number, event.of)
        if isinstance(event, Prompt):
            # The first one after an end is asked for says how; others say what became of it.
            name, self._asks = "how" if self._asks else "note", False
            return Seen({name: event.text.strip()})
        if isinstance(event, Touched):
            end, point = event.cavities[0], event.points[0]
            self._points[end] = point
            learned = {"end": str(end), "point": point}
            return Seen({"learned": learned, "note": ""}, {str(end): {"point": point}})
        return super().see(event)

    def _ask(self, end: End, number: int, of: int) -> Seen:
        """Show an end that is asked for: one passed before was left out, one asked again was taken back."""
        items: dict[str, Any] = {}
        if end in self._asked:
            again = self._asked[self._asked.index(end) :]
            self._asked = self._asked[: self._asked.index(end)]
            for each in again:
                self._points.pop(each, None)
                items[str(each)] = None
        elif self._asked and self._asked[-1] not in self._points:
            items[str(self._asked[-1])] = {"left": True}
        self._asked.append(end)
        asked = {"end": str(end), "number": number, "of": of}
        values: dict[str, Any] = {"ready": True, "asked": asked}
        if any(item is None for item in items.values()):
            values["learned"] = None  # what was said of it holds no more
        return Seen(values, items, ("waiting for a touch", number - 1, of))

    def ended(self, _: object) -> Ending:
        """Return what the job comes to."""
        return self.left()

    def left(self) -> Ending:
        """Return how much of the table is learned: it is kept whatever ends the job."""
        learned = f"{self._table}: {len(self._points)} of {plural(self._of, 'end')} learned."
        return Ending("told", "Ended", (learned,), {})


class Naming(AtTheProbe):
    """The ends of an unknown loom are named: what is typed goes to the job as keys.

    Ends are spoken of by the names under which the loom was traced; ``names`` is what they are called by now.
    """

    kind = "name"

    def __init__(self, traced: Loom, names: Mapping[End, End]) -> None:
        super().__init__(traced)
        self._ends = {str(end): now for end, now in names.items()}
        self._names = dict(names)
        self._keys: list[Key | Letters] = []
        self._number = self._heard = 0
        self._turn = threading.Condition()

    def begun(self) -> Seen:
        """Return what ends are called so far."""
        return Seen({"kind": self.kind}, {str(end): {"name": str(now)} for end, now in self._names.items()})

    def see(self, event: Event) -> Seen:
        """Show what stands there, and which ends are called otherwise than before."""
        if not isinstance(event, Shown):
            return super().see(event)
        new = {end: now for end, now in event.names.items() if self._names.get(end) != now}
        self._names |= new
        items = {str(end): {"name": str(now)} for end, now in new.items()}
        values = {"ready": True, "shown": _stands(event), "heard": self._heard}
        return Seen(values, items, ("waiting for a touch or an answer", event.done, event.of))

    def pressed(self, wait_s: float) -> list[Key | Letters]:
        """Return what was typed and pressed on the page since, waiting so long at most, s."""
        with self._turn:
            if not self._keys:
                self._turn.wait(wait_s)
            pressed, self._keys = self._keys, []
            self._heard = self._number
            return pressed

    def hear(self, said: Mapping[str, object]) -> Seen:
        """Take a line as it stands on the page, and what is done with it, by its number. Raises `UsageError`.

        What stands there by then says up to which number it has been heard.
        """
        if "probe" in said:
            return self._held(said["probe"])
        keys = [*_line(said.get("line")), *_presses(said)]
        number = said.get("number")
        with self._turn:
            self._keys += keys
            self._number = number if isinstance(number, int) else self._number
            self._turn.notify_all()
        return NOTHING

    def ended(self, named: Any) -> Ending:
        """Return what the job comes to."""
        return Ending("told", "Ended", (named.summary, *self.probe_off()), {})


def _stands(shown: Shown) -> dict[str, Any]:
    """Return what stands there as plain values; the keys of a terminal are not those of a page."""
    left_out = ("ends", "offers", "keys", "names")
    plain = {each.name: getattr(shown, each.name) for each in fields(shown) if each.name not in left_out}
    ends = [{**asdict(each), "end": str(each.end)} for each in shown.ends]
    return {**plain, "ends": ends, "offers": [asdict(each) for each in shown.offers]}


def _line(line: object) -> list[Key | Letters]:
    """Return the keys that make the line what it is on the page.

    A lone figure would take a suggestion: the blank before it says that a name begins so.
    """
    if not isinstance(line, str):
        return []
    text = line[:MOST_WORDS].lstrip()
    head = [Letters(" ")] if text[:1].isdigit() else []
    return [Key.CLEAR, *head, *([Letters(text)] if text else [])]


_PRESSED = {
    "enter": Key.ENTER,
    "complete": Key.COMPLETE,
    "other": Key.OTHER_END,
    "next": Key.NEXT,
    "previous": Key.PREVIOUS,
    "undo": Key.UNDO,
    "done": Key.STOP,
}
"""What is pressed on the page, by the word that it sends; so many ``times``, once else."""


def _presses(said: Mapping[str, object]) -> list[Key | Letters]:
    """Return the keys of what was pressed. Raises `UsageError`."""
    press, times = said.get("press"), said.get("times", 1)
    if press is None:
        return []
    if not isinstance(times, int) or not 0 <= times <= MOST_WORDS:
        raise UsageError("nothing is pressed so often", cure="Load the page again.")
    if press == "take":
        return [Key.CLEAR, Letters(str(times))]
    if press not in _PRESSED:
        raise UsageError("nothing of the kind can be said to this job", cure="Load the page again.")
    return [_PRESSED[str(press)]] * times
