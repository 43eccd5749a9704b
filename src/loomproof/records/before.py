"""What a record is told of its store before it is sealed: what was mended, and how far other chains had come.

The last record of each other chain is named in the next record that another bench seals, under its seal. A
chain that is cut at its end later, or put back to an older state, then lacks what others have signed for.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import NamedTuple

from sqlalchemy import Connection, exists, func, inspect, select

from loomproof.records.lines import AT_ONCE
from loomproof.records.schema import BENCHES, HEADS_MET, IDENTITY, RUNS
from loomproof.records.seal import Chain, Met
from loomproof.records.since_last_pass import mended
from loomproof.results.document import Document

MOST_MET = 50
"""So many heads are named in one record; what is left is for the next ones."""


@dataclass(frozen=True, slots=True)
class Before:
    """What a store tells of the time before a record.

    ``mended`` are faults of its loom that are gone (`since_last_pass.mended`), ``met`` the heads of other
    chains, ``None`` where no store was met; ``remarks`` what is odd about it.
    """

    mended: tuple[dict[str, object], ...] = ()
    met: Met | None = None
    remarks: tuple[str, ...] = ()


class Head(NamedTuple):
    """The last record of a chain: its place, its hash, the hash before it, when its run ended (RFC 3339)."""

    sequence: int
    hash: str
    previous: str
    ended: str


def head_of(connection: Connection, bench: str) -> Head | None:
    """Return the last record of a chain in a store, ``None`` where it has none."""
    query = select(RUNS.c.sequence, RUNS.c.hash, RUNS.c.previous, RUNS.c.ended).where(RUNS.c.bench == bench)
    row = connection.execute(query.order_by(RUNS.c.sequence.desc()).limit(1)).first()
    return Head(*row) if row else None


def before(connection: Connection, document: Document, bench: str, without: Collection[int] = ()) -> Before:
    """Return what a store tells before a document is sealed as the next record of a chain.

    ``without`` are notes of repairs, by their numbers, that nobody vouches for.
    """
    return Before(tuple(mended(connection, document, without)), heads_met(connection, bench))


def heads_met(connection: Connection, bench: str) -> Met | None:
    """Return the heads of all chains but ``bench`` that no record names yet, those sealed last first.

    ``None`` for a store from before heads were named in records.
    """
    if not inspect(connection).has_table(HEADS_MET.name):
        return None
    all_runs = RUNS.alias()
    last = select(func.max(all_runs.c.sequence)).where(all_runs.c.bench == BENCHES.c.name)
    query = (
        select(RUNS.c.bench, RUNS.c.sequence, RUNS.c.hash)
        .join_from(
            BENCHES, RUNS, (RUNS.c.bench == BENCHES.c.name) & (RUNS.c.sequence == last.scalar_subquery())
        )
        .where(BENCHES.c.name != bench, ~exists().where(HEADS_MET.c.hash == RUNS.c.hash))
        .order_by(RUNS.c.id.desc())
        .limit(MOST_MET)
    )
    heads = tuple(Chain(*row) for row in connection.execute(query).all())
    return Met(connection.execute(select(IDENTITY.c.name)).scalar_one(), heads)


def head_named(connection: Connection, bench: str, store: str) -> Chain | None:
    """Return the last record of a chain that any other bench's record names as met in the store ``store``.

    With its own hash as ``previous``; ``None`` where none does.
    """
    if not inspect(connection).has_table(HEADS_MET.name):
        return None
    query = (
        select(HEADS_MET.c.bench, HEADS_MET.c.sequence, HEADS_MET.c.hash)
        .where(HEADS_MET.c.bench == bench, HEADS_MET.c.store == store)
        .order_by(HEADS_MET.c.sequence.desc())
        .limit(1)
    )
    row = connection.execute(query).first()
    return Chain(*row) if row else None


def heads_lost(named: Connection, there: Connection, store: str) -> list[str]:
    """Return which heads are not in a store any more that records name as met in it.

    ``named`` is a connection to the store with those records, ``there`` to the one whose own name is
    ``store``; both may be to the same one.
    """
    if not inspect(named).has_table(HEADS_MET.name):
        return []
    query = (
        select(HEADS_MET.c.bench, HEADS_MET.c.sequence, HEADS_MET.c.hash, RUNS.c.run)
        .join_from(HEADS_MET, RUNS, HEADS_MET.c.run_id == RUNS.c.id)
        .where(HEADS_MET.c.store == store)
        .order_by(HEADS_MET.c.bench, HEADS_MET.c.sequence)
    )
    rows = named.execute(query).all()
    found: set[str] = set()
    for at in range(0, len(rows), AT_ONCE):
        hashes = [row.hash for row in rows[at : at + AT_ONCE]]
        found |= set(there.execute(select(RUNS.c.hash).where(RUNS.c.hash.in_(hashes))).scalars())
    return [
        f"record {row.sequence} of {row.bench} ({row.hash[:16]}…) is named as the last one by run {row.run}, "
        "under its seal, and is not in the store any more: the chain was cut, or put back to an older state"
        for row in rows
        if row.hash not in found
    ]
