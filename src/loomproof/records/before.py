"""What a record tells of the time before it: findings mended since the last pass, clocks that went back."""

from __future__ import annotations

import datetime

from sqlalchemy import Connection, select

from loomproof.records.schema import FINDINGS, LOOMS, REPAIRS, RUNS
from loomproof.results.document import Document, Verdict

_MOST_RUNS = 200
"""How far back the search for the last pass goes; a loom mended in more tries lists the last ones."""


def mended(connection: Connection, document: Document) -> list[dict[str, object]]:
    """Return the faults of this loom (name and serial) since its last pass that are gone now.

    Each with the run that first found it and what people noted as done, oldest first.
    """
    loom = document.loom
    runs = connection.execute(
        select(RUNS.c.id, RUNS.c.run, RUNS.c.verdict)
        .join_from(RUNS, LOOMS, RUNS.c.loom_id == LOOMS.c.id)
        .where(LOOMS.c.name == loom.name, LOOMS.c.serial == loom.serial)
        .order_by(RUNS.c.id.desc())
        .limit(_MOST_RUNS)
    ).all()
    names: dict[int, str] = {}
    for row in runs:
        if row.verdict == Verdict.PASS.value:
            break
        names[row.id] = row.run
    if not names:
        return []
    still = {(finding.kind.value, finding.title) for finding in document.findings}
    repairs = connection.execute(
        select(REPAIRS).where(REPAIRS.c.run_id.in_(names)).order_by(REPAIRS.c.id)
    ).all()
    found: dict[tuple[str, str], dict[str, object]] = {}
    faults = connection.execute(
        select(FINDINGS)
        .where(FINDINGS.c.run_id.in_(names), FINDINGS.c.severity == "fault")
        .order_by(FINDINGS.c.run_id, FINDINGS.c.number)
    ).all()
    for fault in faults:
        key = (fault.kind, fault.title)
        if key in still:
            continue
        entry = found.setdefault(key, {"run": names[fault.run_id], "finding": fault.title, "repairs": []})
        noted = entry["repairs"]
        assert isinstance(noted, list)
        noted += [
            {"person": repair.person, "done": repair.done, "words": repair.words}
            for repair in repairs
            if (repair.run_id, repair.finding) == (fault.run_id, fault.number)
        ]
    whole: list[dict[str, object]] = [
        {
            "run": names[repair.run_id],
            "finding": "the whole run",
            "repairs": [{"person": repair.person, "done": repair.done, "words": repair.words}],
        }
        for repair in repairs
        if repair.finding == 0
    ]
    return [*found.values(), *whole]


def remarks(document: Document, ended_before: str) -> list[str]:
    """Return what is odd about the times; ``ended_before`` is when the chain's record before ended."""
    said = []
    started, ended = _moment(document.started), _moment(document.ended)
    before = _moment(ended_before)
    if started and ended and ended < started:
        said.append(
            f"The clock went back during this proof: started {document.started}, ended {document.ended}."
        )
    if before and started and started < before:
        said.append(
            f"The clock went back before this proof: the record before it ended {ended_before}, "
            f"this proof started {document.started}. The chain says which came first."
        )
    return said


def _moment(text: str) -> datetime.datetime | None:
    try:
        moment = datetime.datetime.fromisoformat(text)
    except ValueError:
        return None
    return moment if moment.tzinfo else moment.replace(tzinfo=datetime.UTC)
