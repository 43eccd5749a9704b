"""A run that was broken off: whether it can be gone on with from here, and the page that asks for it."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode

from loomproof.errors import UsageError
from loomproof.jobs.archive import Archive
from loomproof.jobs.hookups import go_on
from loomproof.jobs.shelf import came_to_its_end
from loomproof.jobs.trace_hookups import stopped_traces
from loomproof.loom.model import Loom
from loomproof.records.unfinished_runs import Started
from loomproof.reports.words import plural, when
from loomproof.web.answers import Answer, Asked, Go, House
from loomproof.web.wanted import STATE, STOPPED, stopped_runs

TRACED = "It is a trace plug by plug: the page Trace goes on with it."
ENDED = "It came to its end: there is nothing to go on with."
NO_HOOK_UPS = (
    "A page goes on with a proof by hook-ups alone; this is none, or its files are gone. Begin it again."
)


def why_not(run: Started, stopped: Collection[str], out: Path, traces: Collection[str] = ()) -> str:
    """Return why a run without a record can't be gone on with from the folder of results; "" where it can.

    ``stopped`` are the runs that wait in that folder, ``traces`` those that wait among the looms.
    """
    if run.run in traces:
        return TRACED
    if came_to_its_end(run):
        return ENDED
    if run.run in stopped:
        return ""
    beside = Path(run.journal).with_name(f"{run.run}{STATE}")
    if beside.is_file():
        return f"It is gone on with where its files are, in {beside.parent}; this server works in {out}."
    return NO_HOOK_UPS


def asked_for(house: House, asked: Asked) -> Answer:
    """Go to the page of the loom that a stopped run is of, where going on with it is asked for.

    Raises `UsageError` where the run can't be gone on with, or its loom is not here as it was.
    """
    named, place = asked.names["run"], house.workplace
    broken = {one.run: one for one in Archive(place.store).broken_off()}
    if (run := broken.get(named)) is None:
        raise UsageError(f"no run called {named[:60]!r} was broken off", cure="Look on the shelf.")
    if why := why_not(run, stopped_runs(place.out), place.out, traces_of(house)):
        raise UsageError(f"run {run.run} can't be gone on with from here", cure=why)
    name = place.described(run.run, run.digest)
    return Go(f"/looms/{quote(name, safe='')}?{urlencode({STOPPED: run.run})}")


def traces_of(house: House) -> list[str]:
    """Return the runs of traces that wait among the looms."""
    return [each.run for each in stopped_traces(house.workplace.folder)]


def told(run: str, loom: Loom, out: Path) -> dict[str, Any]:
    """Return what a stopped run was asked for, as the page that goes on with it says it.

    Raises `UsageError` where it does not wait there, `ReplayError` where the loom was changed since.
    """
    if run not in stopped_runs(out):
        raise UsageError(f"no stopped run is called {run[:60]!r} here", cure="Look on the shelf.")
    request, plan = go_on(run, loom, out)
    by = f" by {request.person}" if request.person else ""
    return {
        "run": run,
        "text": f"Begun {when(request.started)[:16]} UTC{by}: {plural(len(plan.hook_ups), 'hook-up')} on "
        f"{plan.points} points.",
    }
