"""Finding contacts with a probe: an adapter learned end by end, or the nets of a loom that is on."""

from __future__ import annotations

import time
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import Literal

from loomproof.bench.adapter import Adapter, Lead, read_adapter, write_adapter
from loomproof.bench.interface import Bench
from loomproof.bench.seam import PointSet, point_set, points_of
from loomproof.errors import AdapterError, Todo, UsageError
from loomproof.jobs.at_bench import BenchAt, reached, starts_its_own
from loomproof.jobs.files import now, rfc3339
from loomproof.jobs.gate import CAUTIONS, Assured, cleared, cleared_empty
from loomproof.jobs.operator import Operator
from loomproof.loom.model import End, Loom
from loomproof.measuring.clearance import Clearance, require_empty
from loomproof.measuring.events import Event, Lifted, Prompt, TouchAsked, Touched
from loomproof.measuring.probe import ALIKE, net_touched, touches
from loomproof.planning.request import Request

PAUSE_S = 0.02
"""Between two looks for a touch: a person is slower."""


class Word(StrEnum):
    """What the person at the probe can say between touches."""

    UNDO = "undo"
    SKIP = "skip"
    DONE = "done"
    """Enough for now: what was learned stays."""


@dataclass(frozen=True)
class Patience:
    """How long to wait for each touch, s, by which clock, and what the person has said meanwhile."""

    wait_s: float = 60.0
    clock: Callable[[], float] = time.monotonic
    pause: Callable[[float], None] = time.sleep
    said: Callable[[], Word | None] = lambda: None


@dataclass(frozen=True)
class Guide:
    """Which ends are asked for, in order, and how; ``labels`` are the points that their labels say, if any.

    ``shorted``: from the second lead of a plug on a lead may be found through a shorting plug over that plug.
    ``about`` says what else is known of an end, to find its lead by.
    """

    ends: Sequence[End]
    labels: Mapping[End, int] = field(default_factory=dict)
    shorted: bool = False
    about: Callable[[End], str] = lambda _: ""

    def asked(self, end: End, number: int, of: int, *, joined: bool) -> Prompt:
        """Return what a person is asked for an end, which is this of so many; ``joined``: by the plug."""
        if not self.labels:
            return Prompt(f"Touch {end} …")
        how = "push it into its plug, the shorting plug on" if joined else "make it and touch its end"
        return Prompt(f"Lead {number} of {of}, {end}{self.about(end)}, point {self.labels[end]}: {how} …")

    def found(self, end: End, point: int) -> Iterator[Prompt]:
        """Yield what else is to be said of an end that was found at a point: its label is wrong."""
        if self.labels and self.labels[end] != point:
            yield Prompt(f"  {end}: it is at point {point}, not {self.labels[end]}; label it so")


@dataclass(frozen=True)
class _At:
    """The bench at which ends are found, cleared with nothing on it, and how they are asked for."""

    bench: Bench
    clearance: Clearance
    patience: Patience
    guide: Guide

    def next_joined(self, plug: Sequence[int], refused: PointSet) -> PointSet | Word | None:
        """Return what the shorting plug newly joins to the leads of this plug, once all of those reach it."""
        require_empty(self.clearance, self.bench)
        until = self.patience.clock() + self.patience.wait_s
        known, last, alike = point_set(plug), 0, 0
        while True:
            (low,) = self.bench.sense([1 << (plug[0] - 1)])
            alike, last = (alike + 1 if low == last else 1), low
            new = low & ~known
            if alike >= ALIKE and known & ~low == 0 and new and new != refused:
                return new
            if (word := self.patience.said()) is not None:
                return word
            if self.patience.clock() >= until:
                return None
            self.patience.pause(PAUSE_S)


def learn_adapter(
    loom: Loom,
    at: BenchAt,
    target: Path,
    operator: Operator,
    *,
    loom_path: Path | None = None,
    patience: Patience | None = None,
    resume: bool = False,
    guide: Guide | None = None,
) -> Generator[Event, None, Adapter]:
    """Have each end of an adapter touched in the loom's order, no loom on, and write the table.

    What was learned is written after each end. ``resume`` goes on with a table that is there already, whose
    leads stay as they are; ``guide`` says how ends are asked for. Raises `UsageError` where nobody can touch
    or a table is there and is not gone on with, `SafetyError` where nobody says that no loom is on,
    `AdapterError` where a point stays low or nothing was touched.
    """
    before = _known(loom, target, resume=resume)
    somebody_there(at)
    with reached(at, loom_path) as bench:
        clearance = yield from cleared_empty(bench, operator)
        end_of = {lead.point: lead.end for lead in before}
        kept = {lead.point: lead for lead in before}
        guide = guide or Guide(loom.cavities)

        def save() -> Adapter:
            leads = (kept.get(point) or Lead(point, end_of[point]) for point in sorted(end_of))
            learned = Adapter(target.stem, tuple(leads))
            if end_of:
                write_adapter(learned, target)
            elif not before:  # the one end that was learned was taken back
                target.unlink(missing_ok=True)
            return learned

        ends = [end for end in guide.ends if end not in set(end_of.values())]
        yield from _learn_all(ends, end_of, _At(bench, clearance, patience or Patience(), guide), save)
        if not end_of:
            raise AdapterError(
                "nothing was touched; no table was written",
                cure="Is the probe joined to the scanner's 0 V? Is there time enough for each end?",
                do=Todo.WAIT,
            )
        return save()


def _known(loom: Loom, target: Path, *, resume: bool) -> tuple[Lead, ...]:
    """Return the leads that are known already, of a table to go on with. Raises `UsageError`."""
    if not target.exists():
        if resume:
            raise UsageError(f"there is no {target} to go on with", cure="Begin one.")
        return ()
    if not resume:
        raise UsageError(
            f"{target} is there already", cure="Give another name, or take it away first.", do=Todo.RESUME
        )
    known = read_adapter(target).entries
    strangers = [lead.end for lead in known if lead.end not in set(loom.cavities)]
    if strangers:
        raise UsageError(
            f"{target} has a lead to {strangers[0]}, which the loom has not", cure="Is it another loom's?"
        )
    return known


def _learn_all(
    ends: Sequence[End], end_of: dict[int, End], at: _At, save: Callable[[], object]
) -> Generator[Event, None, None]:
    """Have ends touched in turn, each saved; the last one can be taken back, and any be left out."""
    done: list[int | None] = []
    taken_back = 0
    while len(done) < len(ends):
        end = ends[len(done)]
        found = yield from _learn(end, end_of, at, (len(done) + 1, len(ends)), taken_back)
        taken_back = 0
        if found is Word.DONE:
            return
        if found is not Word.UNDO:
            done.append(found)
        elif done:
            point = done.pop()
            if point is not None:
                del end_of[point]
                taken_back = 1 << (point - 1)
            yield Prompt(f"  {ends[len(done)]}: taken back")
        else:
            yield Prompt("  nothing was learned yet that could be taken back")
        save()


def _learn(
    end: End, end_of: dict[int, End], at: _At, place: tuple[int, int], refused: PointSet
) -> Generator[Event, None, int | Literal[Word.UNDO, Word.DONE] | None]:
    """Have one end touched, again and again until it is one free point, and add it to what is known.

    Gives the point, ``None`` for an end that is left out, `Word.UNDO` where the last one is to be taken back,
    `Word.DONE` where the person has enough.
    ``place`` is its number and how many there are; ``refused`` what the shorting plug joins and is not it.
    """
    while True:
        plug = [point for point, known in end_of.items() if known.connector == end.connector]
        joined = at.guide.shorted and bool(plug)
        yield TouchAsked(end, *place)
        yield at.guide.asked(end, *place, joined=joined)
        low = at.next_joined(plug, refused) if joined else _next_touch(at.bench, at.clearance, at.patience)
        if low is Word.UNDO or low is Word.DONE:
            return low
        if low is None or low is Word.SKIP:
            yield Prompt(f"  {end}: {'left out' if low else 'not touched, left out'}")
            return None
        points = points_of(low)
        if len(points) == 1 and points[0] not in end_of:
            end_of[points[0]] = end
            yield Touched(points, (end,))
            yield from at.guide.found(end, points[0])
            if not joined:
                _lifted(at.bench, at.patience)
            return points[0]
        several = _at_once(points) if joined else _several(points)
        said = f"point {points[0]} is {end_of[points[0]]} already" if len(points) == 1 else several
        loom_on = len(points) > 1 and not joined
        yield Prompt(f"  {end}: {said}{'. Is a loom on the bench? Take it off.' if loom_on else ''}")
        if joined:
            refused = low
            continue
        _lifted(at.bench, at.patience)
        if at.bench.sense([0])[0]:
            raise AdapterError(
                f"{end}: {said}, and it still reads low",
                cure="Take the loom off, and touch one end at a time.",
            )


def _at_once(points: Sequence[int]) -> str:
    return f"point {', '.join(map(str, points))} came at once; one is expected"


def _several(points: Sequence[int]) -> str:
    return f"touching it reaches point {', '.join(map(str, points))}; one is expected"


def name_touched(
    loom: Loom,
    at: BenchAt,
    adapter: Adapter,
    operator: Operator,
    *,
    loom_path: Path | None = None,
    assured: Assured | None = None,
    patience: Patience | None = None,
) -> Generator[Event, None, None]:
    """With the loom on, tell of each touch which net it is, until the person is done or the wait is over.

    The sense current runs through whatever is joined to an end: raises `SafetyError` where the bench is not
    cleared for this loom.
    """
    somebody_there(at)
    with reached(at, loom_path) as bench:
        yield CAUTIONS
        request = Request(loom, adapter, run="", started=rfc3339(now()))
        clearance = yield from cleared(request, bench, operator, assured or Assured())
        end_of: Mapping[int, End] = adapter.end_of
        yield Prompt("Touch any end with the probe; it says which net that is.")
        yield TouchAsked()
        while (low := _next_touch(bench, clearance, patience or Patience())) not in (None, Word.DONE):
            if not isinstance(low, Word):
                yield Touched(points_of(low), net_touched(low, end_of))
                if _lifted(bench, patience or Patience(), low):
                    yield Lifted()


def somebody_there(at: BenchAt) -> None:
    """Refuse a simulator of our own, which nobody can touch: `UsageError`."""
    if starts_its_own(at):
        raise UsageError(
            "nobody can touch anything on a simulator that ends with us",
            cure="Start one by itself, and type to it what is touched: touch CAVITY.",
            do=Todo.SIMULATE,
        )


def _next_touch(bench: Bench, clearance: Clearance, patience: Patience) -> int | Word | None:
    until = patience.clock() + patience.wait_s
    for low in touches(bench, clearance, 0):
        if low:
            return low
        if (word := patience.said()) is not None:
            return word
        if patience.clock() >= until:
            break
        patience.pause(PAUSE_S)
    return None


def _lifted(bench: Bench, patience: Patience, told: int = -1) -> bool:
    """Wait until the probe is off what was told, be it on something else by then; ``False``: nobody waits on.

    What was touched was told already, so that the person goes on.
    """
    until = patience.clock() + patience.wait_s
    while bench.sense([0])[0] & told:
        if patience.clock() >= until:
            return False
        patience.pause(PAUSE_S)
    return True
