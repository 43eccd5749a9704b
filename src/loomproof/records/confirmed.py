"""Causes that people confirmed when they wrote repairs down: kept beside a run, each a line of JSON."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass

from sqlalchemy import Connection, inspect, not_, select

from loomproof.records.names import WITHDRAWN as WITHDRAWN
from loomproof.records.schema import CONFIRMED, FINDING_PLACES, FINDINGS, LOOMS, RUNS, SIMULATED_CHAIN
from loomproof.records.since_last_pass import key_by
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


@dataclass(frozen=True, slots=True)
class Ranked:
    """Where a confirmed cause stood among what its finding left open.

    ``rank`` counts from 1 in the order in which the finding told them, of ``among``; 0: it was none of them.
    ``first_cause`` is the cause that was named first.
    """

    rank: int
    among: int
    first_cause: str


def ranked(line: str) -> Ranked:
    """Return where the cause of a line of JSON stood; of a line that can't be read nothing: 0 of 0."""
    try:
        plain = json.loads(line)
        among, found = list(plain["among"]), plain["found"]
        first = str(among[0]["cause"]) if among else ""
    except (ValueError, KeyError, TypeError):
        return Ranked(0, 0, "")
    return Ranked(among.index(found) + 1 if found in among else 0, len(among), first)


def add_confirmed(store: Store, run: str, one: ConfirmedLine) -> None:
    """Keep a confirmed cause with this run (a name or hash); a later one stands for an earlier."""
    values = {name: getattr(one, name) for name in ("finding", "person", "said", "cause", "line")}
    store.add_unsealed(CONFIRMED, [values], store.run(run))


def confirmed_lines(store: Store, limit: int, *, run: str = "") -> tuple[ConfirmedLine, ...]:
    """Return the last ``limit`` confirmed causes, oldest first, each finding's newest alone.

    Of one ``run``, or of all. Nothing of a finding of which the last word withdrew what was said before.
    """
    query = select(CONFIRMED, RUNS.c.run).join_from(CONFIRMED, RUNS, CONFIRMED.c.run_id == RUNS.c.id)
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
    return tuple(one for one in reversed(newest.values()) if one.cause != WITHDRAWN)


Told = tuple[int, int]
"""A finding: the id of its run, and its number there."""


def teaching_lines(
    store: Store, limit: int, *, simulated: bool, without: Collection[int] = ()
) -> tuple[ConfirmedLine, ...]:
    """Return the last ``limit`` confirmed causes that can teach, oldest first: of simulated or real benches.

    One fault of one loom (its name and serial) is one case, however often it was proved and confirmed: what
    was said last of it counts. Looms of one name without a serial can't be told apart and count as one.
    ``without`` are ids of rows that nothing vouches for.
    """
    played = RUNS.c.bench.startswith(SIMULATED_CHAIN, autoescape=True)
    query = (
        select(CONFIRMED, RUNS.c.run, LOOMS.c.name.label("loom"), LOOMS.c.serial)
        .join_from(CONFIRMED, RUNS, CONFIRMED.c.run_id == RUNS.c.id)
        .join(LOOMS, LOOMS.c.id == RUNS.c.loom_id)
        .where(played if simulated else not_(played))
        .order_by(CONFIRMED.c.id.desc())
        .limit(limit + len(without))
    )
    with store.reading() as connection:
        if not inspect(connection).has_table(CONFIRMED.name):
            return ()  # a store from before they were kept, that may only be read
        rows = [row for row in connection.execute(query).all() if row.id not in without]
        faults = faults_of(connection, {row.run_id for row in rows})
    said: set[tuple[str, int]] = set()
    newest: dict[tuple[str, ...], ConfirmedLine] = {}
    for row in rows[:limit]:
        if (row.run, row.finding) in said:
            continue  # what was said later stands, also where a correction gave the loom another serial
        said.add((row.run, row.finding))
        if row.cause == WITHDRAWN:
            continue  # what was said of the same fault in another run stands
        # Of a run whose body was deleted no finding is left to be known again.
        fault = faults.get((row.run_id, row.finding)) or f"{row.run} {row.finding}"
        one = ConfirmedLine(row.run, row.finding, row.person, row.said, row.cause, row.line)
        newest.setdefault((row.loom, row.serial, fault), one)
    return tuple(reversed(newest.values()))


def faults_of(connection: Connection, runs: Collection[int]) -> dict[Told, str]:
    """Return what each finding of these runs is known again by from proof to proof."""
    places: dict[Told, dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
    for row in connection.execute(select(FINDING_PLACES).where(FINDING_PLACES.c.run_id.in_(runs))):
        places[row.run_id, row.number][row.what].append(row.name)
    found = connection.execute(select(FINDINGS).where(FINDINGS.c.run_id.in_(runs)))
    return {
        (row.run_id, row.number): key_by(row.kind, row.cause, places[row.run_id, row.number]) for row in found
    }
