"""Which bodies of a store were deleted by a rule, and how that is said; how they were is in `deleting`."""

from __future__ import annotations

from collections.abc import Collection

from sqlalchemy import Connection, inspect, select

from loomproof.records.lines import AT_ONCE
from loomproof.records.schema import DELETED_BODIES, DELETIONS, RUNS


def deleted_by(made: str, by: str) -> str:
    """Say that a body was deleted, when (RFC 3339) and by whom."""
    return f"body deleted by rule on {made[:10]} by {by}"


def words_of(connection: Connection, ids: Collection[int]) -> dict[int, str]:
    """Say of those runs whose body was deleted when and by whom, by the run's number; opens no entry."""
    if not inspect(connection).has_table(DELETIONS.name):
        return {}  # a store from before this, that may only be read
    query = select(DELETED_BODIES.c.run_id, DELETIONS.c.made, DELETIONS.c.by_whom).join_from(
        DELETED_BODIES, DELETIONS, DELETED_BODIES.c.deletion_id == DELETIONS.c.id
    )
    wanted, found = list(ids), dict[int, str]()
    for at in range(0, len(wanted), AT_ONCE):
        part = query.where(DELETED_BODIES.c.run_id.in_(wanted[at : at + AT_ONCE]))
        found |= {row.run_id: deleted_by(row.made, row.by_whom) for row in connection.execute(part).all()}
    return found


def words_by_hash(connection: Connection) -> dict[str, str]:
    """Say of every record whose body was deleted when and by whom, by the record's hash."""
    if not inspect(connection).has_table(DELETIONS.name):
        return {}
    query = (
        select(RUNS.c.hash, DELETIONS.c.made, DELETIONS.c.by_whom)
        .join_from(DELETED_BODIES, RUNS, DELETED_BODIES.c.run_id == RUNS.c.id)
        .join(DELETIONS, DELETED_BODIES.c.deletion_id == DELETIONS.c.id)
    )
    return {row.hash: deleted_by(row.made, row.by_whom) for row in connection.execute(query).all()}
