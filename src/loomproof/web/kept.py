"""What is kept: the shelf of proofs, one run with its findings, what was seen and mended, the retest."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from loomproof.diagnosis import Observation, named
from loomproof.errors import LoomproofError, UsageError
from loomproof.jobs.answering import narrowed
from loomproof.jobs.archive import Archive, Run
from loomproof.jobs.became import NO_CERTIFICATE, fates, in_short, lines_of
from loomproof.jobs.keep import Orders
from loomproof.jobs.retest import Retested, retests_in
from loomproof.jobs.teaching import choices, found_text
from loomproof.loom.reading import load
from loomproof.records.store import Standing
from loomproof.reports.stated import risk
from loomproof.reports.words import (
    SIMULATED,
    VERDICTS,
    averaged,
    bench_text,
    cause,
    evidence,
    headline,
    place_text,
    plural,
    reasons,
    sentence,
    when,
    wires,
)
from loomproof.reports.words import asked as requests
from loomproof.results.document import ConnectorEntry, Document
from loomproof.results.findings import Finding
from loomproof.web import mending
from loomproof.web.answers import Answer, Asked, File, Go, House, Page
from loomproof.web.asking import PageOperator
from loomproof.web.beginning import job_of
from loomproof.web.session import Ending, Work, told
from loomproof.web.states import of_retest


def run(house: House, asked: Asked) -> Answer:
    """Show one run: verdict, findings as cards, what was told and done of them."""
    return _shown(house, asked)


def certificate(house: House, asked: Asked) -> Answer:
    """Give the certificate of a run."""
    archive = Archive(house.workplace.store)
    found = archive.run(asked.names["run"])
    return File(archive.certificate(found.hash), "application/pdf", "certificate.pdf")


def saw(house: House, asked: Asked) -> Answer:
    """Take what one more look showed; the explanations that do not fit it any more go."""
    archive, found = _found(house, asked)
    try:
        if asked.field("forget"):
            narrowed(archive, found.hash, forget=True)
        else:
            narrowed(archive, found.hash, [asked.field("saw")])
    except UsageError as error:
        return _shown(house, asked, error)
    return Go(f"/runs/{found.run}")


def mended(house: House, asked: Asked) -> Answer:
    """Note who mended a finding, and how, or withdraw what was noted; the next certificate shows it."""
    archive, found = _found(house, asked)
    try:
        if not (asked.field("person") and asked.field("words")):
            withdrawn, noted = "who withdraws it and why it does not hold", "who mended it and what was done"
            raise UsageError(
                f"{withdrawn if asked.field('withdraw') else noted} is not said", cure="Say both."
            )
        done = (
            asked.field("person"),
            asked.field("words"),
            asked.number("finding"),
            asked.field("found") or None,
        )
        if asked.field("withdraw"):
            archive.withdraw(found.hash, *done[:3])
        else:
            archive.repaired(found.hash, *done)
    except LoomproofError as error:
        return _shown(house, asked, error)
    return Go(f"/runs/{found.run}")


_HEADS = {Standing.STANDS: "Mended: ", Standing.WITHDRAWN: "Withdrawn: ", Standing.WITHDRAWS: ""}
"""How a note of a repair begins on the page."""


def mend_simulated(house: House, asked: Asked) -> Answer:
    """Mend the loom of a demonstration. Raises `UsageError` where there is none."""
    if house.workplace.mend is None:
        raise UsageError("this loom is mended by hand")
    house.workplace.mend()
    run = asked.field("run")
    return _shown(house, Asked(asked.seat, {"run": run}), note="The simulated loom is mended.")


def retest(house: House, asked: Asked) -> Answer:
    """Begin the retest of what the repairs of a run can have touched."""
    archive, found = _found(house, asked)
    try:
        before = archive.document(found.hash)
        house.session.begin(lambda operator, hold: _work(house, asked, before, operator, hold))
    except LoomproofError as error:
        return _shown(house, asked, error)
    return Go("/prove")


def _work(
    house: House, asked: Asked, before: Document, operator: PageOperator, hold: Callable[[], Orders]
) -> Work:
    name = house.workplace.described(before.run, before.loom.digest)
    path = house.workplace.loom(name)
    loom = load(path).loom
    job = job_of(house, asked, path, loom, operator, hold)
    key = Archive(house.workplace.store).run(before.run).hash

    def ended(again: Retested) -> Ending:
        said = again.judgement
        states = of_retest(before, again, loom.cavities)
        told = tuple(fates(before, again))
        lines = [*lines_of(before, again), headline(said.verdict, said.grade, said.grade_text)]
        if again.simulated:
            lines.append(SIMULATED)
        lines.append(NO_CERTIFICATE)
        house.memory.retests.put((before, again), key)
        page = f"/runs/{before.run}/retested"
        return Ending(mending.shown_as(again, told), in_short(told), tuple(lines), states, page, BESIDE)

    return Work(f"Retest after {before.run}", name, loom.cavities, job.retest_after(before), ended)


BESIDE = "Before and after, finding by finding"
"""What the way from a retest to its page is called: there is no certificate of one."""


def _found(house: House, asked: Asked) -> tuple[Archive, Run]:
    """Return the archive and the run that is named, by the store: a request's text is never a file's name."""
    archive = Archive(house.workplace.store)
    return archive, archive.run(asked.names["run"])


def _shown(house: House, asked: Asked, error: LoomproofError | None = None, note: str = "") -> Answer:
    archive, found = _found(house, asked)
    answered = narrowed(archive, found.hash)
    document = answered.document
    repairs = [
        {
            "finding": each.finding,
            "head": _HEADS[each.standing],
            "text": f"{each.words} ({each.person}, {when(each.done)[:16]})",
            "stands": each.standing is Standing.STANDS,
        }
        for _, each in archive.repairs(found.hash)
    ]
    repairs += [
        {"finding": each.finding, "head": "Mended: ", "text": f"it was: {found_text(each)}", "stands": True}
        for each in archive.confirmed(found.hash)
    ]
    try:
        loom = house.workplace.described(document.run, document.loom.digest)
        path: Path | None = house.workplace.loom(loom)
    except UsageError:
        loom, path = "", None
    values = {
        "run": found.run,
        "document": document,
        "word": VERDICTS[document.verdict.value],
        "headline": headline(document.verdict.value, document.grade, document.grade_text),
        "sentence": sentence(document),
        "reasons": reasons(document),
        "facts": facts(document),
        "when": when(document.ended),
        "remarks": archive.remarks(found.hash),
        "counts": f"{plural(document.counts.faults, 'fault')}, {plural(document.counts.notes, 'note')}",
        "cards": [
            {
                **card(finding, number, document.connectors),
                "steps": mending.steps(house, document, number, finding),
                "choices": choices(finding),
            }
            for number, finding in _numbered(document)
        ],
        "retested": house.memory.retests.get(found.hash) is not None
        or any(retests_in(house.workplace.out, document.run)),
        "repairs": repairs,
        "doubted": archive.not_vouched_for() if repairs or answered.taken else (),
        "taken": [str(each) for each in answered.taken],
        "corrected": archive.corrected_by(found.hash),
        "benches": None if path is None else house.workplace.offered(path),
        "given": asked.form,
        "note": note,
        "loom": loom,
        "error": None if error is None else told(error, house.how),
    }
    return Page("run.html", values, 200 if error is None else 409)


def facts(document: Document) -> dict[str, str]:
    """Return bench, requests and risk of a run, in the words of terminal and certificate."""
    said = {
        "bench": bench_text(document),
        "asked": requests(document.counts, document.bench.address),
        "read": averaged(document),
        "risk": risk(document),
    }
    return {name: text for name, text in said.items() if text}


def _numbered(document: Document) -> Iterator[tuple[int, Finding]]:
    return enumerate(document.findings, 1)


def card(finding: Finding, number: int, connectors: tuple[ConnectorEntry, ...]) -> dict[str, Any]:
    """Return a finding as its card shows it, in the words of terminal and certificate."""
    looks = sorted(named([finding]), key=str)
    return {
        "number": number,
        "fault": finding.severity.value == "fault",
        "title": finding.title,
        "where": ", ".join(map(str, finding.cavities)),
        "wires": ", ".join(wires(finding)),
        "parts": ", ".join(finding.components),
        "cause": cause(finding),
        "evidence": [evidence(entry) for entry in finding.evidence],
        "place": "" if finding.place is None else place_text(finding.place),
        "places": finding.places,
        "repair": finding.repair,
        "cautions": finding.cautions,
        "others": finding.alternatives,
        "faces": mending.faces(finding, number, connectors),
        "looks": [
            (str(thing), str(Observation(thing, sound=True)), str(Observation(thing, sound=False)))
            for thing in looks
        ],
    }
