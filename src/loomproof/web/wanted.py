"""What a form asks of a proof besides loom and bench: answers, waivers, watch, hook-ups, who it is for."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from loomproof.errors import UsageError
from loomproof.jobs.gate import Assured
from loomproof.jobs.job import Job
from loomproof.jobs.keep import Kept
from loomproof.jobs.running import Running
from loomproof.loom.choices import answered
from loomproof.loom.ends import ends_of
from loomproof.loom.model import End, Hazard, Loom
from loomproof.loom.text import flaw, pointed
from loomproof.planning.hookup_search import Constraints
from loomproof.planning.request import InsulationTest
from loomproof.results.grade import Grade
from loomproof.web.answers import Asked

CHOICE, SPLIT, STAY = "choice ", "split ", "stay "
"""How a form calls the fields of a choice and of a connector, before the name."""

STOPPED = "stopped run"
"""How a form calls the field of a run to go on with."""

STATED = ("serial", "customer", "order", "condition", "authoriser")
"""Lines that a person states for the certificate."""

STATE = ".hook-ups.json"
"""How the file ends from which a stopped run goes on, behind the run's name."""


def stated_of(asked: Asked) -> dict[str, Any]:
    """Return what a form states for the certificate. Raises `UsageError`."""
    said: dict[str, Any] = {name: text_of(asked, name) for name in STATED if asked.field(name)}
    if (humidity := number_of(asked, "humidity", 0.0, 100.0)) is not None:
        said["humidity_pct"] = humidity
    return said


def assured_of(asked: Asked, hazards: dict[str, Hazard]) -> Assured:
    """Return what a form says beforehand of what a bench is cleared by. Raises `UsageError`."""
    return Assured(
        hazards,
        number_of(asked, "meter volts", -1000.0, 1000.0),
        number_of(asked, "self-test days", 0.0, 1e6),
    )


def more_of(asked: Asked, loom: Loom) -> dict[str, Any]:
    """Return what a form asks of a proof of a loom, as `Job` takes it. Raises `UsageError`."""
    choices = {name: asked.field(CHOICE + name) for name in (choice.name for choice in loom.choices)}
    seen = text_of(asked, "seen", lines=True)
    return {
        "answers": answered(loom, ((name, said) for name, said in choices.items() if said)),
        "waived": _waived(asked.field("waived"), loom),
        "inspection": tuple(filter(None, map(str.strip, seen.splitlines()))),
        "repeats": whole_of(asked, "repeats", 1, 100) or 1,
        "locate": not asked.field("no places"),
        "place_within_m": (number_of(asked, "places within", 0.1, 10_000.0) or 0.0) / 100.0,
        "watch_s": number_of(asked, "watch", 1.0, 3600.0) or 0.0,
        "insulation": _insulation(asked),
        "grade": _grade(asked.field("grade")),
        "probe": bool(asked.field("probe")),
    }


def begun(job: Job, asked: Asked, out: Path) -> Running[Kept]:
    """Return the proof that a form asks for: whole, by hook-ups, or a stopped one. Raises `UsageError`.

    A stopped run is one of those that wait in the folder of results.
    """
    stop_after = whole_of(asked, "stop after", 1, 100_000)
    if stopped := asked.field(STOPPED):
        if stopped not in stopped_runs(out):
            raise UsageError(f"no stopped run is called {stopped[:60]!r} here", cure="Load the page again.")
        return job.go_on(stopped, stop_after)
    names = [connector.name for connector in job.loom.connectors]
    split = tuple(name for name in names if asked.field(SPLIT + name))
    stay = tuple(name for name in names if asked.field(STAY + name))
    if asked.field("hook-ups"):
        return job.hook_ups(Constraints(split, stay), stop_after)
    if split or stay or stop_after:
        raise UsageError(
            "leads in groups, plugs that stay and a stop after some hook-ups go with hook-ups",
            cure="Choose hook-ups, or leave these out.",
        )
    return job.prove_and_keep()


def plugging(asked: Asked) -> bool:
    """Whether a form asks for hook-ups, which make their adapters themselves."""
    return bool(asked.field("hook-ups") or asked.field(STOPPED))


def stopped_runs(out: Path) -> list[str]:
    """Return the runs that were stopped between hook-ups and wait in the folder of results, newest first."""
    if not out.is_dir():
        return []
    names = (path.name.removesuffix(STATE) for path in out.glob(f"*{STATE}"))
    return sorted((name for name in names if not (out / f"{name}.results.json").exists()), reverse=True)


def text_of(asked: Asked, name: str, *, lines: bool = False) -> str:
    """Return a line of text from a form, or several. Raises `UsageError` for what no record carries."""
    said = asked.field(name)
    for line in map(str.strip, said.splitlines() if lines else (said,)):
        if wrong := flaw(line):
            raise UsageError(f"{name}: the text {wrong}", cure="Write it in plain letters.")
    return said


def number_of(asked: Asked, name: str, least: float, most: float) -> float | None:
    """Return a number from a form, ``None`` where none is given. Raises `UsageError`."""
    said = asked.field(name)
    if not said:
        return None
    try:
        value = float(pointed(said))
    except ValueError:
        value = math.nan
    if not least <= value <= most:
        raise UsageError(
            f"{name}: {said[:40]!r} is no number from {least:g} to {most:g}",
            cure="Correct it, or leave it empty.",
        )
    return value


def whole_of(asked: Asked, name: str, least: int, most: int) -> int | None:
    """Return a whole number from a form, ``None`` where none is given. Raises `UsageError`."""
    value = number_of(asked, name, least, most)
    if value is not None and value != int(value):
        raise UsageError(f"{name}: {value:g} is no whole number", cure="Correct it, or leave it empty.")
    return None if value is None else int(value)


def _waived(said: str, loom: Loom) -> tuple[End, ...]:
    try:
        ends = ends_of(said)
    except ValueError as error:
        raise UsageError(f"waived: {error}", cure="Write cavities like ECU:12 ECU:13.") from None
    known = set(loom.cavities)
    for end in ends:
        if end not in known:
            raise UsageError(f"waived: the loom has no cavity {end}", cure="Take one of its own.")
    return ends


def _insulation(asked: Asked) -> InsulationTest | None:
    volts = number_of(asked, "insulation", 0.001, 100_000.0)
    dwell_ms = whole_of(asked, "insulation ms", 1, 60_000)
    if volts is None:
        if dwell_ms is not None:
            raise UsageError("a dwell goes with a voltage for the insulation test", cure="Say both, or none.")
        return None
    return InsulationTest(volts, dwell_ms or 1000)


def _grade(said: str) -> Grade | None:
    if said and said not in list(Grade):
        raise UsageError(f"{said[:40]!r} is no grade", cure="Load the page again.")
    return Grade(said) if said else None
