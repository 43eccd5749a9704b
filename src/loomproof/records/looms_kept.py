"""The looms of which proofs are kept, each with its last record; found by what a person types."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import select

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


def looms_kept(store: Store, said: str = "", limit: int | None = None) -> tuple[tuple[KeptLoom, ...], int]:
    """Return the looms in which each word that was said is found, last sealed first, and how many there are.

    A word is a part of the name, the serial, who proved it last, the verdict (``fail``), the run or the day
    (``2026-11``), in any case of letters. At most ``limit`` looms are returned. Whatever the number of looms,
    four queries are asked. A record that was corrected counts for no loom: what stands in its place does,
    under the serial that it has there.
    """
    corrected = corrections(store)
    columns = (RUNS.c.id, RUNS.c.bench, RUNS.c.sequence, RUNS.c.started, RUNS.c.kind)
    texts = (RUNS.c.run, RUNS.c.verdict, RUNS.c.ended, RUNS.c.person, LOOMS.c.name, LOOMS.c.serial)
    query = select(*columns, *texts, RUNS.c.hash).join_from(RUNS, LOOMS, RUNS.c.loom_id == LOOMS.c.id)
    with store.reading() as connection:
        rows = [row for row in connection.execute(query).all() if row.hash not in corrected]
        told = {row.id: row for row in rows}
        order = sealed_order(Place(*row[: len(columns)]) for row in rows)
        counts: dict[tuple[str, str], int] = {}
        last: dict[tuple[str, str], Place] = {}
        for place in order:
            loom = told[place.id].name, told[place.id].serial
            counts[loom] = counts.get(loom, 0) + 1
            last.pop(loom, None)
            last[loom] = place
        words = said.casefold().split()
        found = [
            place for place in reversed(last.values()) if _fits(told[place.id][len(columns) : -1], words)
        ]
        shown = found[:limit]
        runs = runs_by_id(connection, shown)
        records = packed_records(connection, runs)
    looms = []
    for place, (run, record) in zip(shown, records, strict=True):
        loom = told[place.id].name, told[place.id].serial
        looms.append(KeptLoom(*loom, counts[loom], run, record))
    return tuple(looms), len(found)


def _fits(texts: Sequence[str], words: Sequence[str]) -> bool:
    whole = "\n".join(texts).casefold()
    return all(word in whole for word in words)
