"""What a record tells of the time before it: findings mended since the last pass, clocks that went back."""

from __future__ import annotations

import datetime
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, select

from loomproof.records.schema import FINDING_PLACES, FINDINGS, LOOMS, REPAIRS, RUNS
from loomproof.results.document import Document, Verdict
from loomproof.results.findings import Finding, Kind, finding_key

_MOST_RUNS = 200
"""How far back the search for the last pass goes; a loom mended in more tries lists the last ones."""


KEY_PLACES = ("wire", "component", "cavity")
"""What a finding's key is made of, in the order of `finding_key`, as the table of places calls it."""


def key_by(kind: str, cause: str, places: Mapping[str, Iterable[str]]) -> str:
    """Return a finding's key from its rows: ``places`` are names by what they are."""
    return finding_key(kind, cause, *(places.get(what, ()) for what in KEY_PLACES))


@dataclass(frozen=True, slots=True)
class _Fault:
    """A fault as the tables hold it; ``places`` by what they are."""

    run_id: int
    number: int
    kind: str
    cause: str
    title: str
    places: Mapping[str, tuple[str, ...]]

    @property
    def key(self) -> str:
        return key_by(self.kind, self.cause, self.places)


def mended(
    connection: Connection, document: Document, without: Collection[int] = ()
) -> list[dict[str, object]]:
    """Return the faults of this loom (name and serial) since its last pass that this proof shows to be gone.

    Each once, however many runs found it, with the run that first did and what people noted as done, oldest
    first. A fault is gone where nothing stands at its place and this proof could see it (`_could_see`). A
    note on a whole run counts where any of that run's faults is gone, or it had none. ``without`` are notes,
    by their numbers, that nobody vouches for.
    """
    names = _since_pass(connection, document.loom.name, document.loom.serial)
    if not names:
        return []
    noted_of = select(REPAIRS).where(REPAIRS.c.run_id.in_(names)).order_by(REPAIRS.c.id)
    repairs = [row for row in connection.execute(noted_of).all() if row.id not in without]
    found: dict[str, dict[str, object]] = {}
    gone_of: set[int] = set()
    faults = _faults(connection, names)
    for fault in faults:
        if _stands(fault, document.findings) or not _could_see(fault, document):
            continue
        gone_of.add(fault.run_id)
        entry = found.setdefault(
            fault.key, {"run": names[fault.run_id], "finding": fault.title, "repairs": []}
        )
        noted = entry["repairs"]
        assert isinstance(noted, list)
        noted += [
            _told(repair)
            for repair in repairs
            if (repair.run_id, repair.finding) == (fault.run_id, fault.number)
        ]
    standing = {fault.run_id for fault in faults} - gone_of
    whole: list[dict[str, object]] = [
        {"run": names[repair.run_id], "finding": "the whole run", "repairs": [_told(repair)]}
        for repair in repairs
        if repair.finding == 0 and repair.run_id not in standing
    ]
    return [*found.values(), *whole]


def not_taken_over(connection: Connection, name: str, serial: str, others: Collection[str]) -> dict[str, str]:
    """Return runs of a loom under ``others`` with notes of repairs since the last pass, serial by run.

    What was noted there is not told of ``serial``, which is another loom. Nothing where this one has runs of
    its own: then its serial was said before.
    """
    if not serial or _since_pass(connection, name, serial, stop=False):
        return {}
    found: dict[str, str] = {}
    for other in others:
        runs = {} if other == serial else _since_pass(connection, name, other)
        noted = select(REPAIRS.c.run_id).where(REPAIRS.c.run_id.in_(runs)).distinct()
        found |= {runs[run_id]: other for run_id in connection.execute(noted).scalars()}
    return found


def _since_pass(connection: Connection, name: str, serial: str, *, stop: bool = True) -> dict[int, str]:
    """Return the runs of a loom since its last pass, or all without ``stop``, name by id, newest first."""
    runs = connection.execute(
        select(RUNS.c.id, RUNS.c.run, RUNS.c.verdict)
        .join_from(RUNS, LOOMS, RUNS.c.loom_id == LOOMS.c.id)
        .where(LOOMS.c.name == name, LOOMS.c.serial == serial)
        .order_by(RUNS.c.id.desc())
        .limit(_MOST_RUNS)
    ).all()
    names: dict[int, str] = {}
    for row in runs:
        if stop and row.verdict == Verdict.PASS.value:
            break
        names[row.id] = row.run
    return names


def _faults(connection: Connection, runs: Collection[int]) -> list[_Fault]:
    """Return the faults of these runs, oldest first."""
    places: dict[tuple[int, int], dict[str, list[str]]] = {}
    for place in connection.execute(select(FINDING_PLACES).where(FINDING_PLACES.c.run_id.in_(runs))):
        mine = places.setdefault((place.run_id, place.number), {})
        mine.setdefault(place.what, []).append(place.name)
    rows = connection.execute(
        select(FINDINGS)
        .where(FINDINGS.c.run_id.in_(runs), FINDINGS.c.severity == "fault")
        .order_by(FINDINGS.c.run_id, FINDINGS.c.number)
    ).all()
    return [
        _Fault(
            row.run_id,
            row.number,
            row.kind,
            row.cause,
            row.title,
            {what: tuple(named) for what, named in places.get((row.run_id, row.number), {}).items()},
        )
        for row in rows
    ]


def _stands(fault: _Fault, now: Iterable[Finding]) -> bool:
    """Whether something is still wrong where the fault was: the fault itself, or what it has become."""
    return any(
        finding.identity == fault.key
        or set(fault.places.get("wire", ())) & set(finding.wires)
        or set(fault.places.get("component", ())) & set(finding.components)
        or set(fault.places.get("cavity", ())) & set(map(str, finding.cavities))
        for finding in now
    )


_IN_OHMS = (Kind.HIGH_RESISTANCE, Kind.LEAKAGE, Kind.WRONG_VALUE)


def _could_see(fault: _Fault, document: Document) -> bool:
    """Whether this proof would have found the fault: its cavities tested, by what finds such a fault.

    What shows in ohms wants a bench that measures them, and what comes and goes wants to be watched for.
    """
    covered = document.coverage
    if set(fault.places.get("cavity", ())) & set(map(str, (*covered.untested, *covered.waived))):
        return False
    if fault.kind in _IN_OHMS:
        return document.bench.accuracy_ohm is not None
    return fault.kind != Kind.INTERMITTENT or document.counts.watched_s > 0


def _told(repair: Row[*tuple[Any, ...]]) -> dict[str, str]:
    return {"person": repair.person, "done": repair.done, "words": repair.words}


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
