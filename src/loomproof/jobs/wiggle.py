"""Watching a loom while a person moves it: from a bench to what was seen, who is suspected, and its words."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Generator, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass

from loomproof.bench.interface import Bench
from loomproof.diagnosis.moved import troubles_of
from loomproof.errors import UnfitError, UsageError, suggestion
from loomproof.jobs.gate import CAUTIONS, Assured, cleared
from loomproof.jobs.operator import Operator
from loomproof.loom.model import End, Loom
from loomproof.measuring.events import Event, Finished
from loomproof.measuring.preparing import prepare
from loomproof.measuring.wiggle import Moving, WiggleLog, wiggle
from loomproof.planning.request import Request
from loomproof.reports.moved_picture import moved_picture
from loomproof.results.wiggled import Moved, NetWatched, Place, Suspect, Trouble, Wiggled

MOST_PLACES = 9
"""So many places have a digit to choose them by."""


@dataclass
class Hands:
    """Which named place the person is moving, and how long each was moved; chosen from any thread.

    >>> from loomproof.jobs.wiggle import Hands
    >>> from loomproof.results.wiggled import Place
    >>> hands = Hands((Place("LAMP", frozenset({"LAMP"})),))
    >>> hands.choose(1), hands.now()
    ('LAMP', 'LAMP')
    """

    places: tuple[Place, ...] = ()
    clock: Callable[[], float] = time.monotonic
    _now: str = ""
    _since_s: float | None = None
    _spent_s: dict[str, float] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def choose(self, number: int) -> str:
        """Take the place of this number, from 1, as moved from now on, 0 for none; return its name."""
        name = self.places[number - 1].name if 0 < number <= len(self.places) else ""
        with self._lock:
            self._count()
            self._now = name
        return name

    def now(self) -> str:
        """Return what is being moved, "" for nothing said."""
        return self._now

    def spent_s(self) -> Mapping[str, float]:
        """Return for how long each place was moved, s."""
        with self._lock:
            self._count()
            return dict(self._spent_s)

    def _count(self) -> None:
        moment = self.clock()
        if self._now and self._since_s is not None:
            self._spent_s[self._now] = self._spent_s.get(self._now, 0.0) + moment - self._since_s
        self._since_s = moment


@dataclass(frozen=True)
class Wiggle:
    """What was watched and seen, and what can have done it; ``started`` as RFC 3339 writes it."""

    watched: Wiggled
    troubles: tuple[Trouble, ...]
    places: tuple[Place, ...] = ()
    started: str = ""

    @property
    def whole(self) -> bool:
        """Whether all of the time that was asked for was watched, and nothing of it was lost."""
        seen = self.watched
        return not (seen.lost or seen.unwatched_s or seen.as_at_rest or seen.watched_s < seen.asked_s)

    def picture(self, name: str) -> str:
        """Return what was seen of the loom of this name over time and place, as an SVG document."""
        return moved_picture(name, self.watched, self.troubles, [place.name for place in self.places])

    def plain(self, loom: Loom) -> dict[str, object]:
        """Return all of it as plain values for JSON; cavities as ``ECU:12``, times in s and µs as named."""
        return {
            "started": self.started,
            "loom": {"name": loom.name, "digest": loom.digest},
            "watched_s": self.watched.watched_s,
            "touches_s": self.watched.touches_s,
            **{each.name: _plain(getattr(self.watched, each.name)) for each in fields(self.watched)},
            "places": _plain(self.places),
            "troubles": _plain(self.troubles),
        }


def _plain(value: object) -> object:
    if isinstance(value, End):
        return str(value)
    if is_dataclass(value):
        return {each.name: _plain(getattr(value, each.name)) for each in fields(value)}
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, frozenset):
        return sorted(value)
    return [_plain(item) for item in value] if isinstance(value, tuple) else value


def places_said(said: Iterable[str]) -> dict[str, tuple[str, ...]]:
    """Read places and their parts, as ``left=LAMP,W2``. Raises `UsageError` for what names none."""
    places: dict[str, tuple[str, ...]] = {}
    for text in said:
        name, sign, listed = (each.strip() for each in text.partition("="))
        parts = tuple(part.strip() for part in listed.split(",") if part.strip())
        if not name or not sign or not parts or name in places:
            raise UsageError(f"the place {text!r}: each has a name of its own, and parts, as left=LAMP,W2")
        places[name] = parts
    return places


def places_of(loom: Loom, said: Mapping[str, Sequence[str]] | None = None) -> tuple[Place, ...]:
    """Return the named places, of each the connectors and wires that move with it; else nine connectors.

    Raises `UsageError` for what is neither a connector nor a wire of the loom, and for too many places.
    """
    if not said:
        return tuple(Place(each.name, frozenset({each.name})) for each in loom.connectors[:MOST_PLACES])
    if len(said) > MOST_PLACES:
        raise UsageError(f"{len(said)} places were named, and there are {MOST_PLACES} digits to choose by")
    places = []
    for name, parts in said.items():
        connectors = frozenset(part for part in parts if part in loom.by_name)
        wires = frozenset(part for part in parts if part in loom.wire_by_name)
        for part in parts:
            if part not in connectors | wires:
                raise UsageError(
                    f"place {name}: {part} is neither a connector nor a wire of this loom",
                    cure=suggestion(part, [*loom.by_name, *loom.wire_by_name]),
                )
        places.append(Place(name, connectors, wires))
    return tuple(places)


def watch_while_moved(
    request: Request,
    bench: Bench,
    operator: Operator,
    assured: Assured,
    log: WiggleLog,
    clock: Callable[[], float] = time.monotonic,
) -> Generator[Event, None, None]:
    """Clear an open bench and watch on it. What is seen is in ``log`` at any moment; the bench stays open.

    Raises as `loomproof.measuring.wiggle.wiggle` does, and `SafetyError` where the bench is not cleared.
    """
    yield CAUTIONS
    able = bench.capabilities()
    if able.watch_us is None or able.sense_ohm is None:
        raise UnfitError(
            "this bench cannot watch a loom while it is moved; nothing was driven",
            cure="Take a scanner that can watch. On this bench, prove the loom while each part is held bent.",
        )
    clearance = yield from cleared(request, bench, operator, assured)
    ready = yield from prepare(request, bench, clearance)
    yield from wiggle(ready.plan, bench, clearance, log, clock)
    yield Finished(request.run)


def likely(loom: Loom, nets: Sequence[tuple[End, ...]], moved: Moved, hands: Hands) -> tuple[Suspect, ...]:
    """Return who can have done one change by itself, likeliest first, before the watch is summed up.

    ``nets`` are those of `WatchBegins`; what was moved so far, and for how long, tells suspects apart.
    """
    watched = tuple(NetWatched(net, 0.0, 0.0) for net in nets)
    alone = Wiggled(0.0, watched, None, seen=(moved,), moved_s=hands.spent_s())
    return troubles_of(loom, alone, hands.places)[0].suspects


def new_log(seconds: float, hands: Hands) -> WiggleLog:
    """Return an empty log of a watch of so many seconds, with what these hands move."""
    return WiggleLog(seconds, Moving(hands.now, hands.spent_s))


def gathered(request: Request, log: WiggleLog, places: Sequence[Place]) -> Wiggle:
    """Return what a log holds by now, and who is suspected of it."""
    watched = log.result()
    return Wiggle(watched, troubles_of(request.loom, watched, places), tuple(places), request.started)
