"""The fitting sheet as steps in the order of working: what is dangerous or can be live stands first."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from loomproof.reports.fitting_sheet import POWER_UP, number
from loomproof.results.fitting import Action, ConnectRow, Job, Level, SafeRow, Sheet, SheetEnd

LEAVE = "Leave alone"


@dataclass(frozen=True)
class Step:
    """One thing to do: under which ``part`` of the list, in which words, and whether there is anything to do.

    ``key`` is made of all of its words: a step that reads otherwise is another one.
    """

    part: str
    title: str
    lines: tuple[str, ...] = ()
    live: tuple[str, ...] = ()
    level: Level | None = None
    to_do: bool = True

    @property
    def key(self) -> str:
        """Return a name of this step among all steps of all sheets, of 16 hex digits."""
        words = "\x1f".join((self.part, self.title, *self.lines, "\x1e", *self.live))
        return hashlib.sha256(words.encode()).hexdigest()[:16]


def steps_of(sheet: Sheet) -> tuple[Step, ...]:
    """Return the steps of a sheet, each once: dangers, live ends, other ends, own parts, then what is joined.

    The first power-up is last but for what is left alone, as the sheet has it.
    """
    return tuple(dict.fromkeys(_steps(sheet)))


def before_power(sheet: Sheet) -> tuple[Step, ...]:
    """Return the steps to be done before the first power-up: all others but the computer's, and notes."""
    late = {POWER_UP, f"Connect: {Job.COMPUTER.value}"}
    return tuple(
        step
        for step in steps_of(sheet)
        if step.to_do and step.part not in late and step.level is not Level.NOTE
    )


def _steps(sheet: Sheet) -> Iterator[Step]:
    yield from _warnings(sheet, "Dangers and warnings", (Level.DANGER, Level.WARNING))
    safe = [row for row in sheet.safe if row.action is not Action.LEAVE]
    places = [row for row in sheet.places if row.action is not Action.LEAVE]
    unused = [row for row in places if row.action is not Action.FIT]
    live = [row for row in (*safe, *unused) if row.facts.live]
    yield from _safe("Make safe: what can be live", live)
    yield from _safe("Make safe: other ends", [row for row in safe if row not in live])
    yield from _safe("Fuses and relays", [row for row in places if row not in live])
    for question in sheet.questions:
        yield Step("Ask before fitting: the description is silent", question)
    yield from _warnings(sheet, "Notes", (Level.NOTE,))
    for row in sheet.connect:
        yield _connect(row)
    for order, text in enumerate(sheet.power_up, 1):
        yield Step(POWER_UP, f"{order}. {text}")
    left = [row for row in (*sheet.safe, *sheet.places) if row.action is Action.LEAVE]
    yield from _safe(LEAVE, left, to_do=False)


def _warnings(sheet: Sheet, part: str, levels: tuple[Level, ...]) -> Iterator[Step]:
    for level in levels:
        for warn in sheet.warnings:
            if warn.level is level:
                yield Step(part, warn.text, level=level)


def _safe(part: str, rows: Iterable[SafeRow], *, to_do: bool = True) -> Iterator[Step]:
    for row in rows:
        optional = "optional: connect it, or " if row.optional else ""
        title = f"{row.facts.end}: {optional}{row.action.value}"
        live = tuple(way for way in row.facts.live if way not in row.why)
        yield Step(part, title, (*_facts(row.facts), row.why), live, to_do=to_do)


def _connect(row: ConnectRow) -> Step:
    title = f"{row.facts.end} to {row.goes_to}"
    lines = (*_facts(row.facts), *(check.text for check in row.checks))
    return Step(f"Connect: {row.job.value}", title, lines, row.facts.live)


def _facts(facts: SheetEnd) -> Iterator[str]:
    """Yield what an end is known by, in a line: colour, section, what it is for, designation, fuse, load."""
    designation = f" [{facts.designation} {facts.meaning}]" if facts.designation else ""
    size = f"{number(facts.csa_mm2)} mm²" if facts.csa_mm2 is not None else ""
    named = f"{facts.purpose or facts.circuit}{designation}"
    load = f"{facts.load_a:g} A" if facts.load_a else ""
    fuse = f"fuse {facts.fuse}" if facts.fuse else ""
    known = ", ".join(filter(None, (f"{facts.colour} {size}".strip(), named, fuse, load)))
    if known:
        yield known
