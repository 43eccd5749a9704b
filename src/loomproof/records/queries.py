"""Reading many records at once: for histories, reports, checks and exports."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, and_, case, func, select

from loomproof.errors import StoreError
from loomproof.records.lines import AT_ONCE, Run, places, runs_by_id
from loomproof.records.order import Place
from loomproof.records.schema import ADAPTERS, BENCH_CHECKS, RECORDS, REPAIRS, RUNS
from loomproof.records.store import Repair, Store, unpacked


@dataclass(frozen=True, slots=True)
class FoundRow:
    """One finding and one thing that it names (``what``: cavity, connector, wire or component).

    ``key`` is the finding's identity from run to run.
    """

    run: str
    ended: str
    loom: str
    serial: str
    number: int
    kind: str
    cause: str
    severity: str
    title: str
    what: str
    name: str
    key: str


def sealed_records(store: Store, loom: str | None = None) -> Iterator[tuple[Run, bytes]]:
    """Give every run with its sealed record, of one loom or of all, in the order of their sealing.

    Those whose body was deleted by a rule are left out.
    """
    with store.reading() as connection:
        wanted = places(connection, loom)
        for at in range(0, len(wanted), _RECORDS_AT_ONCE):
            yield from _with_records(store, connection, wanted[at : at + _RECORDS_AT_ONCE])


def each_record(store: Store) -> Iterator[tuple[Run, bytes | None]]:
    """Give every run, chain by chain, with its record as it is packed.

    ``None`` for one that is gone, nothing in it where its body was deleted.
    """
    with store.reading() as connection:
        wanted = sorted(places(connection), key=lambda place: (place.bench, place.sequence))
        for at in range(0, len(wanted), _RECORDS_AT_ONCE):
            part = wanted[at : at + _RECORDS_AT_ONCE]
            packed = _packed(connection, [place.id for place in part])
            for run in runs_by_id(connection, part):
                yield run, packed.get(run.id)


def last_records(
    store: Store, loom: str | None = None, limit: int | None = None
) -> tuple[tuple[Run, bytes | None], ...]:
    """Return the last runs with their sealed records, ``None`` for one that is gone or can't be unpacked."""
    with store.reading() as connection:
        wanted = places(connection, loom)[-limit if limit else None :]
        return packed_records(connection, runs_by_id(connection, wanted))


def packed_records(connection: Connection, runs: Sequence[Run]) -> tuple[tuple[Run, bytes | None], ...]:
    """Return runs with their sealed records, ``None`` for one that is gone or can't be unpacked."""
    packed = _packed(connection, [run.id for run in runs])
    given: list[tuple[Run, bytes | None]] = []
    for run in runs:
        try:
            given.append((run, unpacked(packed.get(run.id), run.run)))
        except StoreError:
            given.append((run, None))
    return tuple(given)


def _with_records(
    store: Store, connection: Connection, wanted: Sequence[Place]
) -> Iterator[tuple[Run, bytes]]:
    packed = _packed(connection, [place.id for place in wanted])
    for run in runs_by_id(connection, wanted):
        if packed.get(run.id) != b"":
            yield run, unpacked(packed.get(run.id), f"{store.where}: run {run.run}")


def _packed(connection: Connection, ids: Sequence[int]) -> dict[int, bytes]:
    found: dict[int, bytes] = {}
    for at in range(0, len(ids), AT_ONCE):
        rows = connection.execute(select(RECORDS).where(RECORDS.c.run_id.in_(ids[at : at + AT_ONCE]))).all()
        found.update((row.run_id, row.packed) for row in rows)
    return found


_RECORDS_AT_ONCE = 100


def sealed_runs(store: Store, runs: Collection[str]) -> frozenset[str]:
    """Return those of the runs named that the store has a record of."""
    wanted, found = list(runs), set[str]()
    with store.reading() as connection:
        for at in range(0, len(wanted), AT_ONCE):
            query = select(RUNS.c.run).where(RUNS.c.run.in_(wanted[at : at + AT_ONCE]))
            found |= set(connection.execute(query).scalars())
    return frozenset(found)


@dataclass(frozen=True, slots=True)
class BenchLine:
    """One bench: its chain's name, its records, when the last proof ended, what was checked then."""

    bench: str
    records: int
    last_ended: str
    checks: tuple[tuple[str, bool, str], ...]


@dataclass(frozen=True, slots=True)
class AdapterLine:
    """One adapter table, by its digest."""

    name: str
    digest: str
    first_used: str


def benches(store: Store) -> tuple[BenchLine, ...]:
    """Return every bench with its last proof's checks (name, passed, words)."""
    # A correction copies the times of an old run: the newest proof tells when the bench was used last.
    proved = func.max(case((RUNS.c.kind == "proof", RUNS.c.sequence)))
    newest = func.coalesce(proved, func.max(RUNS.c.sequence))
    last = select(RUNS.c.bench, func.count().label("records"), newest.label("sequence"))
    heads = last.group_by(RUNS.c.bench).subquery()
    query = select(RUNS.c.id, RUNS.c.bench, RUNS.c.ended, heads.c.records).join_from(
        RUNS, heads, and_(RUNS.c.bench == heads.c.bench, RUNS.c.sequence == heads.c.sequence)
    )
    with store.reading() as connection:
        found = []
        for row in connection.execute(query.order_by(RUNS.c.bench)).all():
            checks = connection.execute(
                select(BENCH_CHECKS.c.name, BENCH_CHECKS.c.passed, BENCH_CHECKS.c.words)
                .where(BENCH_CHECKS.c.run_id == row.id)
                .order_by(BENCH_CHECKS.c.number)
            ).all()
            told = tuple((check.name, bool(check.passed), check.words) for check in checks)
            found.append(BenchLine(row.bench, row.records, row.ended, told))
    return tuple(found)


def adapters(store: Store) -> tuple[AdapterLine, ...]:
    """Return every adapter table that was used, the first one first."""
    query = select(ADAPTERS.c.name, ADAPTERS.c.digest, ADAPTERS.c.first_used)
    with store.reading() as connection:
        rows = connection.execute(query.order_by(ADAPTERS.c.first_used, ADAPTERS.c.digest)).all()
    return tuple(AdapterLine(row.name, row.digest, row.first_used) for row in rows)


def repairs(store: Store) -> tuple[tuple[str, Repair], ...]:
    """Return every note of a repair with the hash of its run's record, in the order in which they came."""
    query = select(REPAIRS, RUNS.c.run, RUNS.c.hash).join_from(REPAIRS, RUNS, REPAIRS.c.run_id == RUNS.c.id)
    with store.reading() as connection:
        rows = connection.execute(query.order_by(REPAIRS.c.id)).all()
    return tuple((row.hash, Repair(row.run, row.finding, row.person, row.done, row.words)) for row in rows)
