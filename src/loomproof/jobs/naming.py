"""Naming the ends of a loom that nobody knows, touch by touch; each answer is kept as it is given."""

from __future__ import annotations

from collections.abc import Generator, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Protocol

from loomproof.bench.adapter import Adapter, in_order, read_adapter
from loomproof.bench.interface import Bench
from loomproof.bench.seam import NOT_RELEASED, end_told, point_set, points_of
from loomproof.errors import AdapterError, BenchError, BrokenOffError, Todo
from loomproof.jobs.at_bench import BenchAt, reached
from loomproof.jobs.files import now, rfc3339
from loomproof.jobs.gate import CAUTIONS, Assured, cleared
from loomproof.jobs.learn_adapter import PAUSE_S, somebody_there
from loomproof.jobs.naming_files import ADAPTER, Kept, leads_for, opened, saved, set_aside
from loomproof.jobs.operator import Operator
from loomproof.loom.model import Loom
from loomproof.measuring.clearance import Clearance
from loomproof.measuring.counting_bench import Asker
from loomproof.measuring.events import Event, Prompt
from loomproof.measuring.ohmmeter import Ohmmeter
from loomproof.measuring.plausibility import temperature_of
from loomproof.measuring.preparing import checked, cleared_meter
from loomproof.measuring.probe import Felt, feeling
from loomproof.measuring.reference_check import refuse_wrong_references
from loomproof.naming.answers import Answer, Named
from loomproof.naming.completing import known_of
from loomproof.naming.desk import Desk, step
from loomproof.naming.happening import Key, Letters, Lifted, Measured, Touch
from loomproof.naming.progress import progress_said
from loomproof.naming.shown import shown
from loomproof.planning.net_access import Scope
from loomproof.planning.request import Request
from loomproof.planning.suspects import single_points
from loomproof.reports.words import plural

__all__ = ["Key", "Keys", "Letters", "NamedLoom", "name_ends"]


class Keys(Protocol):
    """Where a person types. Called again and again; it may look after its screen meanwhile."""

    def pressed(self, wait_s: float) -> Sequence[Key | Letters]:
        """Return what was pressed, waiting so long at most, s. Raises `BrokenOffError` where nobody can."""
        ...


@dataclass(frozen=True)
class NamedLoom:
    """A loom with the names that it has by now, how many touches it took, and what of it is new."""

    named: Named
    folder: Path
    touches: int
    answers: int
    taken: int

    @property
    def summary(self) -> str:
        """What was named and what is left, in a sentence or two."""
        return (
            f"{progress_said(self.named)}; {plural(self.touches, 'touch', 'touches')} and "
            f"{plural(self.answers, 'answer')} today, {self.taken} of them suggestions that were taken."
        )


@dataclass
class _Book:
    """What is written down of a naming, kept in step with its desk."""

    folder: Path
    leads: Adapter
    kept: list[Kept] = field(default_factory=list)
    written: tuple[Answer, ...] = ()
    begun: bool = False

    def keep(self, named: Named) -> None:
        """Write the folder where an answer was given or taken back since."""
        answers = named.answers
        if answers == self.written:
            return
        same = 0
        while same < min(len(self.kept), len(answers)) and self.kept[same].answer == answers[same]:
            same += 1
        moment = rfc3339(now())
        self.kept = [*self.kept[:same], *(Kept(answer, moment) for answer in answers[same:])]
        saved(self.folder, named, self.kept, self.leads)
        self.written = answers


def name_ends(
    folder: Path,
    at: BenchAt,
    operator: Operator,
    keys: Keys,
    adapter: Adapter | str | None = None,
    car: Loom | None = None,
    assured: Assured | None = None,
) -> Generator[Event, None, NamedLoom]:
    """Name the ends of the loom in a folder, which is written after each answer.

    ``adapter`` is the one that it was traced with (or its file, or ``in-order`` for the traced order), or
    ``None`` for the one that is kept in the folder;
    ``car`` a description of what the loom plugs into, whose names are offered. Yields `Shown` whenever
    something else stands on the screen. Raises as `loomproof.jobs.naming_files.opened` does, `AdapterError`
    for a table that is not of this loom, `SafetyError` where the bench is not cleared, the bench's errors,
    and `BrokenOffError` for an order to stop: what was answered is kept whatever ends it.
    """
    somebody_there(at)
    found = opened(folder)
    leads = leads_for(found, _table(folder, found.named, adapter))
    desk = replace(Desk(found.named, known_of(car), began=len(found.named.answers)), said=found.told)
    book = _Book(folder, leads, list(found.kept), found.named.answers)
    with _kept_whatever(book), reached(at) as bench:
        yield CAUTIONS
        yield Prompt("Keep the probe off the loom until the screen asks for a touch.")
        today = tuple(replace(lead, end=found.named.names[lead.end]) for lead in leads.entries)
        request = Request(found.named.loom, replace(leads, entries=today), "", rfc3339(now()))
        clearance = yield from cleared(request, bench, operator, assured or Assured())
        temperature_c = temperature_of(bench)
        checked(bench, clearance, single_points(leads.point_of))
        meter = _ohmmeter(bench, clearance, request, leads, temperature_c)
        if found.edited:
            set_aside(folder)
        saved(folder, found.named, book.kept, leads)
        book.begun = True
        desk = yield from _dialogue(desk, book, feeling(bench, clearance, 0), keys, meter)
        bench.confirm()
    new = desk.named.answers[min(desk.began, len(desk.named.answers)) :]
    taken = sum(bool(answer.whence) for answer in new)
    return NamedLoom(desk.named, folder, desk.touches, len(new), taken)


def _table(folder: Path, named: Named, adapter: Adapter | str | None) -> Adapter:
    """Return the adapter that is given, else the one that the folder keeps. Raises `AdapterError`."""
    if isinstance(adapter, Adapter):
        return adapter
    if adapter == "in-order":
        return in_order(named.traced.cavities)
    if adapter is None and not (folder / ADAPTER).exists():
        raise AdapterError(
            f"{folder} keeps no adapter table yet, which says which point goes to which end",
            cure="Name the table that the loom was traced with.",
            do=Todo.ADAPTER,
        )
    return read_adapter(folder / ADAPTER if adapter is None else Path(adapter))


def _ohmmeter(
    bench: Bench, clearance: Clearance, request: Request, leads: Adapter, temperature_c: float | None
) -> Ohmmeter | None:
    """Return what reads ohms between ends, by the names of the beginning; ``None`` for a bench without."""
    meter = cleared_meter(clearance, request, temperature_c)
    if meter is None:
        return None
    scope = Scope((), (), (), leads.point_of, leads.end_of, ())
    ohmmeter = Ohmmeter(Asker(bench, clearance, point_set(leads.points)), meter, scope)
    refuse_wrong_references(ohmmeter, leads.references)
    return ohmmeter


def _dialogue(
    desk: Desk, book: _Book, probe: Iterator[Felt], keys: Keys, meter: Ohmmeter | None
) -> Generator[Event, None, Desk]:
    """Go on until the person stops; whatever ends it, what was answered is written."""
    try:
        last = shown(desk)
        yield last
        while not desk.stopped:
            before = desk
            felt = next(probe)
            if felt.new:
                desk = step(desk, _touch(felt, book.leads))
            elif desk.held and not felt.low:
                desk = step(desk, Lifted())
            for pressed in keys.pressed(PAUSE_S):
                desk = step(desk, pressed)
                book.keep(desk.named)
            pair = desk.to_read
            if meter is not None and pair is not None and felt.quiet:
                desk = step(desk, Measured(*pair, *meter.read(*pair)))
            if desk != before and (stands := shown(desk)) != last:
                last = stands
                yield last
    finally:
        book.keep(desk.named)
    return desk


def _touch(felt: Felt, leads: Adapter) -> Touch:
    points = points_of(felt.low)
    ends = tuple(leads.end_of[point] for point in points if point in leads.end_of)
    return Touch(ends, tuple(point for point in points if point not in leads.end_of))


@contextmanager
def _kept_whatever(book: _Book) -> Iterator[None]:
    """Say, where something ends the naming, that what was answered is kept, and whether the bench let go."""
    going_on = f"Every answer is kept in {book.folder}, and naming goes on from there."
    try:
        yield
    except KeyboardInterrupt as stop:
        kept = going_on if book.begun else "Nothing was asked yet."
        raise BrokenOffError(
            "the naming was stopped", cure=f"{end_told(stop) or NOT_RELEASED} {kept}"
        ) from None
    except BenchError as error:
        unsure = NOT_RELEASED if end_told(error) == NOT_RELEASED else ""
        error.cure = " ".join(filter(None, (error.cure, unsure, going_on if book.begun else "")))
        raise
