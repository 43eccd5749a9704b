"""Causes that people confirmed when they wrote repairs down: kept beside a run, each a line of JSON."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import insert, inspect, not_, select

from loomproof.records.inserting import showable
from loomproof.records.schema import CONFIRMED, RUNS, SIMULATED_CHAIN
from loomproof.records.store import Store


@dataclass(frozen=True, slots=True)
class ConfirmedLine:
    """One confirmed cause of a finding (its number in the run, from 1): who said it and when (RFC 3339).

    ``line`` is the JSON of what was found, among which candidates, on a loom of which family.
    """

    run: str
    finding: int
    person: str
    said: str
    cause: str
    line: str


def add_confirmed(store: Store, run: str, one: ConfirmedLine) -> None:
    """Keep a confirmed cause with this run (a name or hash); a later one stands for an earlier."""
    found = store.run(run)
    with store.writing() as connection:
        values = {name: getattr(one, name) for name in ("finding", "person", "said", "cause", "line")}
        connection.execute(insert(CONFIRMED).values(run_id=found.id, **showable(values)))


def confirmed_lines(
    store: Store, limit: int, *, run: str = "", simulated: bool | None = None
) -> tuple[ConfirmedLine, ...]:
    """Return the last ``limit`` confirmed causes, oldest first, each finding's newest alone.

    Of one ``run``, or of all; with ``simulated`` only of simulated benches, or only of real ones.
    """
    query = select(CONFIRMED, RUNS.c.run).join_from(CONFIRMED, RUNS, CONFIRMED.c.run_id == RUNS.c.id)
    if simulated is not None:
        played = RUNS.c.bench.startswith(SIMULATED_CHAIN, autoescape=True)
        query = query.where(played if simulated else not_(played))
    if run:
        query = query.where(RUNS.c.id == store.run(run).id)
    with store.reading() as connection:
        if not inspect(connection).has_table(CONFIRMED.name):
            return ()  # a store from before they were kept, that may only be read
        rows = connection.execute(query.order_by(CONFIRMED.c.id.desc()).limit(limit)).all()
    # A correction is a run of the same name: what was said of its finding is said of one finding.
    newest: dict[tuple[str, int], ConfirmedLine] = {}
    for row in rows:
        one = ConfirmedLine(row.run, row.finding, row.person, row.said, row.cause, row.line)
        newest.setdefault((row.run, row.finding), one)
    return tuple(reversed(newest.values()))
