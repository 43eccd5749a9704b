"""Lines of the log: what the table of runs says, in the order in which they were sealed."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, Select, func, or_, select

from loomproof.records.order import Place, sealed_order
from loomproof.records.schema import LOOMS, RUNS


@dataclass(frozen=True, slots=True)
class Run:
    """One line of the log. ``id`` is the number under which this store has it, and says nothing else."""

    id: int
    run: str
    kind: str
    loom: str
    serial: str
    digest: str
    bench: str
    sequence: int
    previous: str
    hash: str
    key: str
    verdict: str
    started: str
    ended: str
    person: str
    adapter: str
    faults: int
    notes: int


RUN_COLUMNS = select(
    RUNS.c.id,
    RUNS.c.run,
    RUNS.c.kind,
    # A run whose loom was taken out of the table is still a run.
    func.coalesce(LOOMS.c.name, "").label("loom"),
    func.coalesce(LOOMS.c.serial, "").label("serial"),
    func.coalesce(LOOMS.c.digest, "").label("digest"),
    RUNS.c.bench,
    RUNS.c.sequence,
    RUNS.c.previous,
    RUNS.c.hash,
    RUNS.c.key,
    RUNS.c.verdict,
    RUNS.c.started,
    RUNS.c.ended,
    RUNS.c.person,
    RUNS.c.adapter,
    RUNS.c.faults,
    RUNS.c.notes,
).join_from(RUNS, LOOMS, RUNS.c.loom_id == LOOMS.c.id, isouter=True)


def places(connection: Connection, loom: str | None = None) -> tuple[Place, ...]:
    """Return where runs stand, of one loom or of all, in the order in which they were sealed."""
    query = select(RUNS.c.id, RUNS.c.bench, RUNS.c.sequence, RUNS.c.started, RUNS.c.kind)
    if loom is not None:
        query = query.where(RUNS.c.loom_id.in_(looms_called(loom)))
    return sealed_order(Place(*row) for row in connection.execute(query).all())


def runs_by_id(connection: Connection, wanted: Sequence[Place]) -> tuple[Run, ...]:
    """Return the runs that stand there, in that order."""
    found: dict[int, Run] = {}
    for at in range(0, len(wanted), AT_ONCE):
        ids = [place.id for place in wanted[at : at + AT_ONCE]]
        rows = connection.execute(RUN_COLUMNS.where(RUNS.c.id.in_(ids))).all()
        found.update((row.id, as_run(row)) for row in rows)
    return tuple(found[place.id] for place in wanted)


def looms_called(loom: str) -> Select[int]:
    """Ids of looms of this name, serial or description digest."""
    return select(LOOMS.c.id).where(or_(LOOMS.c.name == loom, LOOMS.c.serial == loom, LOOMS.c.digest == loom))


AT_ONCE = 500
"""So many values in one query: SQLite takes 999 parameters at least."""


def newest(connection: Connection, own: Collection[str]) -> int:
    """Return the id of the newest proof, as it was last corrected; 0 where there is none.

    Among the proofs sealed by ``own`` keys (hex) where there are any, else among all.
    """
    everything = places(connection)
    mine = set(connection.execute(select(RUNS.c.id).where(RUNS.c.key.in_(list(own)))).scalars())
    chosen = [place for place in everything if place.id in mine] or everything
    proofs = [place for place in chosen if place.kind == "proof"] or chosen
    if not proofs:
        return 0
    last = proofs[-1]
    # A correction keeps the times of what it corrects.
    corrected = [
        place
        for place in chosen
        if place.kind == "correction" and (place.bench, place.started) == (last.bench, last.started)
    ]
    return max((last, *corrected), key=lambda place: place.sequence).id


def as_run(row: Row[*tuple[Any, ...]]) -> Run:
    """Return a row of `RUN_COLUMNS` as what it is."""
    return Run(**row._mapping)
