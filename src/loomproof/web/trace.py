"""A loom that nobody knows is traced: what it hangs on, the trace that begins, what it came to."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode

from loomproof.errors import LoomproofError, UsageError, suggestion
from loomproof.jobs import adapters
from loomproof.jobs.adapters import Adapter, read_adapter
from loomproof.jobs.bringing import place_for
from loomproof.jobs.job import Job
from loomproof.jobs.keep import Keeping
from loomproof.jobs.trace import QUESTIONS, TracedLoom, unknown_loom
from loomproof.jobs.trace_hookups import StoppedTrace, stopped_traces
from loomproof.loom.model import Loom
from loomproof.loom.reading import load
from loomproof.planning.hookup_search import Constraints
from loomproof.reports.words import plural
from loomproof.web.answers import Answer, Asked, Go, House, Page
from loomproof.web.asking import PageOperator
from loomproof.web.beginning import hazards_asked, hazards_of
from loomproof.web.session import Ending, Work, told
from loomproof.web.wanted import assured_of, text_of, whole_of
from loomproof.web.workplace import IN_ORDER, SIMULATED

CALLED, ADAPTER, DESCRIBED, HOOK_UPS, STOPPED = "called", "adapter", "described", "hook-ups", "stopped"
CHOSEN = (CALLED, ADAPTER, DESCRIBED, HOOK_UPS, STOPPED)
"""What the first form says, by the names of its fields; the second carries it on."""


@dataclass(frozen=True)
class Wanted:
    """What is to be traced: the folder to be written, its plugs, the leads to them; ``described``: by what.

    ``leads`` is ``None`` for hook-ups, which make their tables themselves, ``in-order`` for the order of a
    description. ``stopped`` is the trace that is gone on with.
    """

    folder: Path
    loom: Loom
    leads: Adapter | str | None
    described: str
    plugging: bool
    stopped: StoppedTrace | None


def prepare(house: House, asked: Asked) -> Answer:
    """Ask what is on the bench; once that is said, at which bench, and what a clearance wants."""
    said = replace(asked, form=asked.query)
    return _prepared(house, said, chosen=any(asked.query.get(name) for name in CHOSEN))


def leads(house: House, asked: Asked) -> Answer:
    """Take what is on the bench: a table known here or sent, which is kept then, or a description."""
    try:
        if asked.files:
            if asked.field(ADAPTER):
                raise UsageError(
                    "a table was picked, and another one sent", cure="Take one of both: which one is on?"
                )
            asked = replace(asked, form={**asked.form, ADAPTER: _kept(house, asked)})
        _wanted(house, asked)
    except LoomproofError as error:
        return _prepared(house, asked, error)
    return Go(f"/trace?{urlencode({name: asked.field(name) for name in CHOSEN if asked.field(name)})}")


def begin(house: House, asked: Asked) -> Answer:
    """Begin the trace that the form asks for; what is wrong with it is said beside the form."""
    try:
        house.session.begin(lambda operator, _: _work(house, asked, operator))
    except LoomproofError as error:
        return _prepared(house, asked, error, chosen=True)
    return Go("/prove")


def _kept(house: House, asked: Asked) -> str:
    """Keep the table that was sent, and return its name among those that were made here."""
    folder, _ = _place(house, asked)
    (file, *more) = asked.files
    if more:
        raise UsageError("more than one file was sent", cure="Send the one adapter table that is on.")
    target = house.workplace.free_table(folder.name)
    adapters.keep(file.data, file.name, target)
    return target.name


def _wanted(house: House, asked: Asked) -> Wanted:
    """Return what a form says of the loom and what it hangs on. Raises `UsageError`, `InputError`."""
    place = house.workplace
    folder, stopped = _place(house, asked)
    plugging = bool(asked.field(HOOK_UPS)) or stopped is not None
    described = _fitting(house, stopped) if stopped else asked.field(DESCRIBED)
    known = load(place.loom(described)).loom if described else None
    said = asked.field(ADAPTER)
    if plugging:
        if said:
            raise UsageError(
                "plug by plug the adapter tables are made as it goes on", cure="Pick no table for it."
            )
        if known is None:
            raise UsageError(
                "plug by plug it has to be known which connectors and cavities there are",
                cure="Pick the loom in which its plugs are described.",
            )
        return Wanted(folder, known, None, described, plugging, stopped)
    if known is None and said in ("", IN_ORDER):
        raise UsageError(
            "nothing says which connectors and cavities are on the bench",
            cure="Pick or drop an adapter table, or pick the loom in which its plugs are described.",
        )
    found = place.adapter(said)
    if found is None:
        raise UsageError("it is not said which point goes to which cavity", cure="Pick a table.")
    if not isinstance(found, Adapter) and found != IN_ORDER:
        found = read_adapter(Path(found))
    if known is not None:
        return Wanted(folder, known, found, described, plugging, None)
    assert isinstance(found, Adapter)
    unknown = unknown_loom(found, text_of(asked, CALLED))
    # What is said of connectors that were traced is not so yet.
    plugs = tuple(replace(each, description="") for each in unknown.connectors)
    return Wanted(folder, replace(unknown, connectors=plugs), found, "", plugging, None)


def _place(house: House, asked: Asked) -> tuple[Path, StoppedTrace | None]:
    """Return which folder is to be written, and the stopped trace that is to go on, if one is.

    Raises `UsageError` for a name that is taken.
    """
    place, name = house.workplace.folder, asked.field(STOPPED)
    waiting = {each.name: each for each in stopped_traces(place)}
    if name and name not in waiting:
        raise UsageError(
            f"no trace called {name[:60]!r} waits here", cure=suggestion(name, waiting) or "Begin one."
        )
    folder = place / name if name else place_for(text_of(asked, CALLED), place)
    if folder.exists():
        raise UsageError(f"there is a loom called {folder.name} already", cure="Give another name.")
    if not name and folder.name in waiting:
        raise UsageError(
            f"a trace of {folder.name} was stopped and waits", cure="Go on with it, or give another name."
        )
    return folder, waiting.get(name)


def _fitting(house: House, stopped: StoppedTrace) -> str:
    """Return the loom here that has the plugs of a stopped trace. Raises `UsageError`."""
    for name, path in house.workplace.found().items():
        try:
            if set(load(path).loom.cavities) == stopped.cavities:
                return name
        except LoomproofError:
            continue  # a description with errors is none that was traced by
    raise UsageError(
        f"the loom by whose plugs {stopped.name} is traced is not in {house.workplace.looms}, or was changed",
        cure="Begin a new trace, under another name.",
    )


def _work(house: House, asked: Asked, operator: PageOperator) -> Work:
    wanted = _wanted(house, asked)
    place = house.workplace
    address = place.bench(asked.field("bench"), place.folder)
    if not _another(address):
        raise UsageError(
            "a simulated bench of the server's own has no unknown loom on it", cure="Pick another bench."
        )
    job = Job(
        wanted.loom,
        address,
        wanted.leads,
        operator,
        where=Keeping(place.out, place.store),
        assured=assured_of(asked, hazards_of(asked, wanted.loom)),
    )
    running = job.trace(
        wanted.folder,
        known=bool(wanted.described),
        hook_ups=Constraints() if wanted.plugging else None,
        go_on=wanted.stopped is not None,
        stop_after=whole_of(asked, "stop after", 1, 100_000) if wanted.plugging else None,
    )
    name = wanted.folder.name
    return Work(f"Trace of {name}", "", (), running, lambda traced: ended(name, traced))


def ended(name: str, traced: TracedLoom) -> Ending:
    """Return what a trace came to: how much was found, and what only the loom's owner can know."""
    lines = [
        traced.summary,
        f"It is among the looms as {name}. What only its owner can tell is asked in its file {QUESTIONS}:",
        *traced.questions,
        "Touch names its ends; a diagram is laid over it from the foot of Trace. What was wrong with it as "
        "it was traced is now described as if it belonged so.",
    ]
    return Ending("told", "Traced", tuple(lines), {}, f"/looms/{quote(name, safe='')}/look", "Look at it")


def _prepared(
    house: House, asked: Asked, error: LoomproofError | None = None, *, chosen: bool = False
) -> Answer:
    """Return the page with what was said so far: of what is on the bench, once ``chosen`` of the bench."""
    wanted, place = None, house.workplace
    try:
        wanted = _wanted(house, asked) if chosen else None
    except LoomproofError as wrong:
        error = error or wrong
    values: dict[str, Any] = {
        "given": asked.form,
        "error": None if error is None else told(error, house.how),
        "wanted": wanted,
        "chosen": {name: asked.field(name) for name in CHOSEN if asked.field(name)},
        "benches": {at: text for at, text in place.offered(place.folder).items() if _another(at)},
        "looms": list(place.found()),
        "stopped": [] if house.session.running else stopped_traces(place.folder),
    }
    if wanted is not None:
        values |= {"what": _what(wanted), **hazards_asked(wanted.loom)}
    return Page("trace.html", values, 200 if error is None else 409)


def _another(address: str) -> bool:
    """Whether a bench is another than a simulator of the server's own, which knows its loom."""
    return not address.startswith(SIMULATED)


def _what(wanted: Wanted) -> str:
    """Return what is to be traced by what, in a sentence."""
    leads = wanted.leads
    if isinstance(leads, Adapter):
        plugs = {lead.end.connector for lead in leads.entries}
        lead = f"{plural(len(leads.entries), 'lead')} to {plural(len(plugs), 'connector')}, by {leads.name}"
        return f"{lead}, over what {wanted.described} describes" if wanted.described else lead
    if wanted.stopped is not None:
        done = f"{wanted.stopped.done} of {plural(wanted.stopped.of, 'hook-up')} read"
        return f"goes on, {done}; by the plugs of {wanted.described}"
    how = "plug by plug" if wanted.plugging else "point 1 to the first cavity, and so on"
    return f"{how}, by the plugs of {wanted.described}"
