"""From what lies here to the next sensible step for each: pure, and offered only; nothing is claimed."""

from __future__ import annotations

from dataclasses import dataclass

from loomproof.errors import Do, Todo
from loomproof.jobs.lying_here import Here, LoomHere
from loomproof.records.listed import Listed

MOST_LOOMS = 8
"""So many looms are spoken of; those whose last run is newest come first."""


@dataclass(frozen=True, slots=True)
class Step:
    """What is spoken of ("" for nothing that lies here), how it stands in words, what can be done next."""

    about: str
    stands: str
    does: tuple[Do, ...]


def next_steps(here: Here) -> tuple[Step, ...]:
    """Return the steps for what lies here, those of looms first; at least one, with something to do."""
    if not here.looms:
        begin = (Do(Todo.DEMO), Do(Todo.NEW_LOOM), Do(Todo.IMPORT), Do(Todo.TRACE))
        steps = [Step("", "No loom lies in this folder. To begin:", begin)]
        if here.runs:
            run = here.runs[0]
            kept = f"{run.loom}: the newest run in the store, {_listed(run)}"
            steps.append(Step("", kept, (Do(Todo.RUNS), _look(run))))
        return tuple(steps)
    order = {run.run: number for number, run in enumerate(here.runs)}
    last = [(loom, _last(here, loom)) for loom in here.looms]
    last.sort(key=lambda each: len(order) if each[1] is None else order[each[1].run])
    steps = [_step(here, loom, run) for loom, run in last[:MOST_LOOMS]]
    if (left := len(last) - MOST_LOOMS) > 0:
        steps.append(Step("", f"{left} more looms lie here.", ()))
    if here.elsewhere:
        steps.append(Step("", "The store is a database, not looked into here.", (Do(Todo.RUNS),)))
    return tuple(steps)


def _last(here: Here, loom: LoomHere) -> Listed | None:
    for run in here.runs:
        if run.loom == loom.name and run.serial == loom.serial:
            return run
    return None


def _step(here: Here, loom: LoomHere, run: Listed | None) -> Step:
    about = loom.path if loom.path == loom.name else f"{loom.path} ({loom.name})"
    if run is None:
        if here.elsewhere:
            return Step(about, "lies here", (Do(Todo.CHECK_LOOM, loom.path),))
        table = _table(here, loom)
        make = () if table else (Do(Todo.NEW_ADAPTER),)
        stands = "no proof of it is listed; " + (
            f"{table} is an adapter table for it" if table else "no adapter table of it lies here"
        )
        return Step(about, stands, (Do(Todo.CHECK_LOOM, loom.path), *make, _prove(here, loom)))
    stands = f"last run {_listed(run)}"
    if run.verdict == "pass":
        return Step(about, stands, (Do(Todo.CERTIFICATE, run.run), Do(Todo.FIT, loom.path)))
    again = Do(Todo.RETEST, run.run) if run.verdict == "fail" else _prove(here, loom)
    return Step(about, stands, (Do(Todo.FINDINGS, run.run), again))


def _table(here: Here, loom: LoomHere) -> str:
    """Return the adapter table that lies here for a loom: all of its plugs are the loom's; "" for none."""
    return next((path for path, plugs in here.adapters if plugs <= loom.connectors), "")


def _prove(here: Here, loom: LoomHere) -> Do:
    return Do(Todo.PROVE_HERE if here.bench else Todo.PROVE, loom.path)


def _listed(run: Listed) -> str:
    return f"{run.run}, listed as {run.verdict.upper()} on {run.ended[:10]}, {run.bench}"


def _look(run: Listed) -> Do:
    return Do(Todo.CERTIFICATE if run.verdict == "pass" else Todo.FINDINGS, run.run)
