"""The looms of which proofs are kept, each with its last record; found by what a person types."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import func, select

from loomproof.records.corrections import corrections
from loomproof.records.lines import Run, runs_by_id
from loomproof.records.order import Place, sealed_order
from loomproof.records.queries import packed_records
from loomproof.records.schema import LOOMS, RUNS
from loomproof.records.store import Store


@dataclass(frozen=True, slots=True)
class KeptLoom:
    """A loom by name and serial, how many records are kept of it, the last one's line, and that record.

    The record is as it lies there, not verified; ``None`` for one that is gone or can't be unpacked.
    """

    name: str
    serial: str
    records: int
    last: Run
    record: bytes | None


@dataclass(frozen=True, slots=True)
class Listed:
    """A loom as the tables list it: where its last record stands, and all that words are looked for in."""

    name: str
    serial: str
    records: int
    last: Place
    text: str


@dataclass(frozen=True, slots=True)
class Listing:
    """The looms of a store, the one sealed last first; ``state`` is how far the store had come."""

    state: tuple[int, int]
    looms: tuple[Listed, ...]

    def found(self, said: str) -> list[Listed]:
        """Return the looms in which each word that was said is found, in any case of letters."""
        words = said.casefold().split()
        return [each for each in self.looms if all(word in each.text for word in words)]


def listing(store: Store, before: Listing | None = None) -> Listing:
    """Return the looms of a store; those of ``before`` where no record came to it since.

    Whatever the number of looms, one query is asked where nothing came, else three. A record that was
    corrected counts for no loom: what stands in its place does, under the serial that it has there.
    """
    with store.reading() as connection:
        count, last = connection.execute(select(func.count(), func.max(RUNS.c.id))).one()
    state = (count, last or 0)
    if before is not None and before.state == state:
        return before
    corrected = corrections(store)
    columns = (RUNS.c.id, RUNS.c.bench, RUNS.c.sequence, RUNS.c.started, RUNS.c.kind)
    texts = (LOOMS.c.name, LOOMS.c.serial, RUNS.c.run, RUNS.c.verdict, RUNS.c.ended, RUNS.c.person)
    query = select(*columns, *texts, RUNS.c.hash).join_from(RUNS, LOOMS, RUNS.c.loom_id == LOOMS.c.id)
    with store.reading() as connection:
        rows = [row for row in connection.execute(query).all() if row.hash not in corrected]
    told = {row.id: row[len(columns) : -1] for row in rows}
    found: dict[tuple[str, str], Listed] = {}
    for place in sealed_order(Place(*row[: len(columns)]) for row in rows):
        loom = (str(told[place.id][0]), str(told[place.id][1]))
        # Taken out and put in again: the one that was sealed last comes last.
        counted = found.pop(loom).records + 1 if loom in found else 1
        found[loom] = Listed(loom[0], loom[1], counted, place, "\n".join(told[place.id]).casefold())
    return Listing(state, tuple(reversed(found.values())))


def records_of(store: Store, looms: Sequence[Listed]) -> tuple[KeptLoom, ...]:
    """Return looms with their last record and its line, by two queries."""
    with store.reading() as connection:
        runs = runs_by_id(connection, [each.last for each in looms])
        records = packed_records(connection, runs)
    return tuple(
        KeptLoom(each.name, each.serial, each.records, run, record)
        for each, (run, record) in zip(looms, records, strict=True)
    )
