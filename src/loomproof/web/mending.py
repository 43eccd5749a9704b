"""Mending: which look-first steps are ticked, and a run beside its retest."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator

from loomproof.errors import UsageError
from loomproof.jobs.answering import narrowed
from loomproof.jobs.archive import Archive
from loomproof.jobs.became import NO_CERTIFICATE, Became, Fate, fates, in_short, lines_of
from loomproof.jobs.looked import Look, look, looked
from loomproof.jobs.retest import Retested
from loomproof.loom.ends import End
from loomproof.reports import drawing_face
from loomproof.reports.words import headline, when
from loomproof.results.document import ConnectorEntry, Document
from loomproof.results.findings import Finding
from loomproof.web.answers import Answer, Asked, Data, Go, House, Page
from loomproof.web.pictures import within

MOST_FACES = 3
"""So many faces are drawn with a finding, as at a terminal."""

SIGNS = {Became.GONE: "✓", Became.STILL: "✗"}
"""What stands before what became of a finding; all else is not known."""


def tick(house: House, asked: Asked) -> Answer:
    """Tick a look-first step or take its tick back, for a form or for a script of ours."""
    by_script = isinstance(asked.json, dict)
    said: dict[str, object] = dict(asked.json) if isinstance(asked.json, dict) else dict(asked.form)
    number, place = str(said.get("finding", "")), str(said.get("place", ""))
    if said.get("done") not in ("yes", "no") or not (
        number.isascii() and number.isdigit() and len(number) < 7
    ):
        raise UsageError("it is not said which step is ticked", cure="Load the page again.")
    archive = Archive(house.workplace.store)
    found = archive.run(asked.names["run"])
    document = narrowed(archive, found.hash).document
    done = said["done"] == "yes"
    now = look(house.workplace.out, document, int(number), place, done=done, moment=house.now())
    here = now.get((int(number), place))
    return Data({"ticked": said_of(here)}) if by_script else Go(f"/runs/{found.run}#finding-{number}")


def said_of(made: Look | None) -> str:
    """Return when a step was ticked, in words; "" where it is not."""
    return "" if made is None else f"ticked {when(made.at)[:16]} UTC"


def steps(house: House, document: Document, number: int, finding: Finding) -> list[tuple[str, str]]:
    """Return the look-first steps of a finding, each with when it was ticked; "" for not."""
    ticked = looked(house.workplace.out, document.run)
    return [(place, said_of(ticked.get((number, place)))) for place in finding.places]


def retested(house: House, asked: Asked) -> Answer:
    """Show a run beside its last retest, finding by finding. Raises `UsageError` where there was none."""
    run = Archive(house.workplace.store).run(asked.names["run"])
    kept = house.memory.retests.get(run.hash)
    if kept is None:
        raise UsageError(
            f"run {run.run} was not retested since the server was started; a retest is not kept",
            cure="Retest it again.",
        )
    before, again = kept
    at_fault = {end for finding in again.findings for end in finding.cavities}
    told = tuple(fates(before, again))
    rows = [
        {
            "number": fate.number,
            "title": fate.finding.title,
            "became": fate.became.value,
            "sign": SIGNS.get(fate.became, "?"),
            "style": "pass"
            if fate.became is Became.GONE
            else "fail"
            if fate.became is Became.STILL
            else "open",
            "instead": [each.title for each in fate.instead],
            "pairs": list(_pairs(fate.finding, fate.number, before.connectors, at_fault)),
        }
        for fate in told
    ]
    said = again.judgement
    values = {
        "run": run.run,
        "before": headline(before.verdict.value, before.grade, before.grade_text),
        "before_verdict": before.verdict.value,
        "after": headline(said.verdict, said.grade, said.grade_text),
        "after_verdict": shown_as(again, told),
        "short": in_short(told),
        "simulated": again.simulated,
        "rows": rows,
        "lines": [*lines_of(before, again), NO_CERTIFICATE],
    }
    return Page("retested.html", values)


def shown_as(again: Retested, told: Iterable[Fate]) -> str:
    """Return the verdict that a retest is shown as: no pass where a finding is not known to be gone."""
    gone = all(fate.became is Became.GONE for fate in told)
    return again.judgement.verdict if gone or again.judgement.verdict != "pass" else "undecided"


def _pairs(
    finding: Finding, number: int, connectors: tuple[ConnectorEntry, ...], now: Collection[End]
) -> Iterator[tuple[str, str]]:
    """Yield each face that a finding names, as it was ringed before and as it is now."""
    ends = set(finding.cavities)
    there = [entry for entry in connectors if ends & set(_ends(entry))]
    for order, entry in enumerate(there if len(there) <= MOST_FACES else ()):
        yield face(entry, ends, f"b{number}-{order}"), face(entry, set(now), f"a{number}-{order}")


def _ends(entry: ConnectorEntry) -> Iterator[End]:
    return (End(entry.name, cavity) for row in entry.rows for cavity in row if cavity)


def faces(finding: Finding, number: int, connectors: tuple[ConnectorEntry, ...]) -> list[str]:
    """Return the faces of the connectors that a finding names, as SVG, its cavities ringed."""
    return [before for before, _ in _pairs(finding, number, connectors, ())]


def face(entry: ConnectorEntry, ringed: Collection[End], own: str) -> str:
    """Return a connector's face as a part of a page, with the cavities of these ends ringed."""
    marked = {end.cavity for end in ringed if end.connector == entry.name}
    drawn = drawing_face.face(
        entry.name, entry.kind, entry.rows, entry.colours, description=entry.description, marked=marked
    )
    return within(drawn, own)
