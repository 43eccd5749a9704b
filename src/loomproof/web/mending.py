"""Mending: which look-first steps are ticked, and a run beside its retest."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator

from loomproof.errors import LoomproofError, UsageError
from loomproof.jobs.answering import narrowed
from loomproof.jobs.archive import Archive, Run
from loomproof.jobs.became import NO_CERTIFICATE, Became, Fate, fates, in_short, lines_of
from loomproof.jobs.looked import Look, look, looked
from loomproof.jobs.retest import Retested, replayed, retests_in
from loomproof.loom.ends import End
from loomproof.loom.reading import load
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
    """Show a run beside its last retest, finding by finding.

    Of one that another server made, the readings are worked out again. Raises `UsageError` where there was
    none, or where that can't be done.
    """
    run = Archive(house.workplace.store).run(asked.names["run"])
    before, again = house.memory.retests.get(run.hash) or _worked_out_again(house, run)
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


def _worked_out_again(house: House, run: Run) -> tuple[Document, Retested]:
    """Return a run and its last retest by the readings in the folder of results. Raises `UsageError`."""
    before = Archive(house.workplace.store).document(run.hash)
    journals = tuple(retests_in(house.workplace.out, before.run))
    if not journals:
        raise UsageError(
            f"run {run.run} was not retested, as far as {house.workplace.out} tells", cure="Retest it."
        )
    loom = load(house.workplace.loom(house.workplace.described(before.run, before.loom.digest))).loom
    try:
        found = before, replayed(journals[0], loom)
    except LoomproofError as error:
        raise UsageError(
            f"the last retest of run {run.run} can't be worked out again: {error.message}",
            cure=f"Its readings are in {journals[0]}. Retest it again.",
        ) from error
    house.memory.retests.put(found, run.hash)
    return found


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
