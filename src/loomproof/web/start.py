"""The start: which looms there are, what one is and lacks, the bench for it, and the proof that begins."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from loomproof.errors import DescriptionError, LoomproofError, UsageError
from loomproof.jobs import adapters
from loomproof.jobs.archive import Archive
from loomproof.jobs.keep import Kept, Orders
from loomproof.loom.model import ConnectorKind, Loom
from loomproof.loom.reading import load
from loomproof.loom.summary import summary_of
from loomproof.reports.stated import risk
from loomproof.reports.words import SIMULATED, VERDICTS, graded, plural, reasons
from loomproof.results.grade import Grade
from loomproof.web import going_on, look
from loomproof.web.answers import Answer, Asked, Go, House, Page
from loomproof.web.asking import PageOperator
from loomproof.web.beginning import hazards_asked, job_of
from loomproof.web.keeping import runs_of
from loomproof.web.session import Ending, Work, told
from loomproof.web.states import of_document
from loomproof.web.wanted import STOPPED, begun, more_of, stopped_runs

RECENT = 5
"""So many of the last proofs stand on the start page."""


def looms(house: House, _: Asked) -> Answer:
    """List the looms of the folder, and what was proved last."""
    shelf = Archive(house.workplace.store).shelf(limit=RECENT)
    return Page("looms.html", {"looms": list(house.workplace.found()), "recent": runs_of(shelf)})


def prepare(house: House, asked: Asked) -> Answer:
    """Show one loom: what it is, what its description lacks or has wrong, and the form of a proof."""
    return _prepared(house, asked)


def check(house: House, asked: Asked) -> Answer:
    """Check the adapter of the form against the loom, and against the bench unless it is a simulator."""
    path = house.workplace.loom(asked.names["loom"])
    try:
        leads = house.workplace.adapter(asked.field("adapter"))
        if not isinstance(leads, str) or leads == "in-order":
            raise UsageError(
                "there is no adapter table to check",
                cure="Pick a table. Without one, point 1 goes to the description's first cavity, and so on.",
            )
        if house.session.running:
            raise UsageError("a job is using the bench", cure="Check the adapter when it has ended.")
        address = house.workplace.bench(asked.field("bench"), path)
        asks = None if address.startswith("sim:") else address
        found = adapters.check(Path(leads), load(path).loom, address=asks, loom_path=path)
    except LoomproofError as error:
        return _prepared(house, asked, error=error)
    said = [str(problem) for problem in found.problems]
    if found.missing:
        said.append(f"No point goes to {', '.join(map(str, found.missing))}.")
    fits = f"{plural(len(found.adapter.points), 'lead')}, and nothing that does not fit."
    return _prepared(house, asked, checked=said or [fits])


def prove(house: House, asked: Asked) -> Answer:
    """Begin the proof that the form asks for; what is wrong with it is said beside the form."""
    name = asked.names["loom"]
    try:
        house.session.begin(lambda operator, hold: _work(house, asked, name, operator, hold))
    except LoomproofError as error:
        return _prepared(house, asked, error=error)
    return Go("/prove")


def _work(house: House, asked: Asked, name: str, operator: PageOperator, hold: Callable[[], Orders]) -> Work:
    path = house.workplace.loom(name)
    loom = load(path).loom
    job = job_of(house, asked, path, loom, operator, hold, **more_of(asked, loom))
    running = begun(job, asked, house.workplace.out)
    return Work(f"Proof of {loom.name}", name, loom.cavities, running, ended)


def ended(kept: Kept) -> Ending:
    """Return what a proof came to, as its document says it."""
    document = kept.document
    lines = [graded(document), *reasons(document), risk(document)]
    if document.bench.simulated:
        lines.append(SIMULATED)
    verdict = document.verdict.value
    return Ending(
        verdict, VERDICTS[verdict], tuple(filter(None, lines)), of_document(document), f"/runs/{kept.run}"
    )


def _prepared(
    house: House, asked: Asked, *, error: LoomproofError | None = None, checked: list[str] | None = None
) -> Answer:
    """Return the page of one loom with what was typed so far, and what is wrong."""
    name = asked.names["loom"]
    path = house.workplace.loom(name)
    run = asked.field(STOPPED) or asked.query.get(STOPPED, "")
    values: dict[str, Any] = {"name": name, "given": asked.form, "checked": checked, "wrong": None}
    try:
        described = load(path)
        values["stopped_run"], unable = _gone_on_with(run, described.loom, house)
        error = error or unable
        values["error"] = None if error is None else told(error, house.how)
        values |= _described(
            described.loom, [str(note) for note in (*described.warnings, *described.left_out)]
        )
        values["benches"] = house.workplace.offered(path)
        values["stopped"] = stopped_runs(house.workplace.out)
        values["grades"] = [each.value for each in Grade]
    except DescriptionError as wrong:
        return look.wrong(house, name, wrong)
    return Page("loom.html", values, 200 if error is None else 409)


def _gone_on_with(
    run: str, loom: Loom, house: House
) -> tuple[Mapping[str, Any] | None, LoomproofError | None]:
    """Return what a stopped run was asked for, or why it can't be gone on with; nothing of none."""
    try:
        return (going_on.told(run, loom, house.workplace.out), None) if run else (None, None)
    except LoomproofError as error:
        return None, error


def _described(loom: Loom, notes: list[str]) -> Mapping[str, Any]:
    """Return what the page says of a loom whose description holds."""
    summary = summary_of(loom)
    parts = [
        plural(summary.connectors, "connector"),
        plural(summary.cavities, "cavity", "cavities"),
        plural(summary.wires, "wire"),
        plural(summary.components, "component"),
    ]
    return {
        "loom": loom,
        "plugs": [each.name for each in loom.connectors if each.kind is not ConnectorKind.SPLICE],
        "counts": ", ".join(parts),
        "missing": summary.missing,
        "notes": notes,
        **hazards_asked(loom),
    }
