"""Rows without a seal that no command of this account announced or noted: what is said of them, and done."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, Table

from loomproof.records.growing import (
    GROWING,
    UNSEALED,
    Rows,
    has,
    is_outside,
    noted_rows,
    numbered,
    told_apart,
    used_by_others,
)
from loomproof.records.handing_over import Held
from loomproof.records.heads import Grown, StoreHeads, grown_by, heads_that_hold, matching, place_in
from loomproof.records.schema import ANSWERS, CONFIRMED, REPAIRS
from loomproof.records.store import Store
from loomproof.records.unfinished_runs import place_of


@dataclass(frozen=True, slots=True)
class Unnoted:
    """What of tables without seals this account vouches for not, in sentences.

    ``added`` are rows that no command of it added: they stay outside of what is noted where nobody ``else``
    is known to use the store, and are told for ever. Where others use it, what was added until the last
    command here is held from then on, and ``others`` says how much that was.
    """

    added: tuple[str, ...] = ()
    others: tuple[str, ...] = ()
    shared: bool = False


def unnoted(folder: Path, store: Store, address: str | None) -> Unnoted:
    """Return which rows of tables without seals came by no command of this account."""
    added: list[str] = []
    others: list[str] = []
    with store.reading() as connection:
        noted = _noted(connection, folder, store, address)
        if noted is None:
            return Unnoted()
        for name in (name for name in UNSEALED if name in (noted.grown or {})):
            ranges = (noted.outside or {}).get(name, ())
            if shown := numbered(ranges, (int(row[0]) for row in _new(connection, noted, name))):
                added.append(
                    f"{name}: added by no command of this account (row {shown}): by another account that "
                    "uses this store, or by other means than this program"
                )
            if count := (noted.others or {}).get(name, 0):
                were = "1 row was" if count == 1 else f"{count} rows were"
                others.append(
                    f"{name}: {were} added by other accounts that use this store, or by other means than "
                    "this program: nobody here vouches for that, only that no change since is hidden"
                )
        return Unnoted(tuple(added), tuple(others), used_by_others(connection, folder))


def outsiders(folder: Path, store: Store, address: str | None, table: Table) -> frozenset[int]:
    """Return the rows of a table that nobody vouches for in a store that no other account uses."""
    with store.reading() as connection:
        noted = _noted(connection, folder, store, address)
        if noted is None or table.name not in (noted.grown or {}) or used_by_others(connection, folder):
            return frozenset()
        return _outside(connection, noted, table.name)


def unvouched_notes(
    folder: Path, store: Store, address: str | None, tables: Sequence[Table] = (REPAIRS, ANSWERS, CONFIRMED)
) -> Held:
    """Return the notes of a store, as it stands now, for which nothing vouches: those in these tables.

    A row of repairs, answers or confirmed causes that no command of this account announced or noted is held
    back, as are all of a table in which a row that was noted is not as it was.
    """
    held: dict[str, tuple[frozenset[int], str]] = {}
    with store.reading() as connection:
        noted = _noted(connection, folder, store, address)
        for name in (table.name for table in tables):
            if noted is None or name not in (noted.grown or {}):
                noted_here = StoreHeads("", "", grown={name: Grown()})
            else:
                noted_here = noted
            ids = _outside(connection, noted_here, name)
            if _changed(connection, noted_here, name):
                query, number = GROWING[name]
                ids = frozenset(row[0] for row in connection.execute(query.order_by(number)).all())
                held[name] = ids, f"{name}: rows that were noted are gone, changed or in another order"
            elif ids:
                held[name] = ids, f"{name}: added to this store by no command of this account"
    return held


def _noted(connection: Connection, folder: Path, store: Store, address: str | None) -> StoreHeads | None:
    heads = heads_that_hold(folder)
    if heads is None:
        return None
    place = place_in(folder, place_of(address))
    return next(iter(matching(heads, store.identity, place, has(connection, heads))), None)


def _changed(connection: Connection, noted: StoreHeads, name: str) -> bool:
    before = (noted.grown or {})[name]
    return grown_by(Grown(), noted_rows(connection, noted, name)).digest != before.digest


def _new(connection: Connection, noted: StoreHeads, name: str) -> Rows:
    """Return the rows that came since the store was noted, and that no command of this account announced."""
    query, number = GROWING[name]
    rows = connection.execute(query.where(number > (noted.grown or {})[name].last).order_by(number)).all()
    return told_apart(connection, name, rows, Counter(noted.announced))[1]


def _outside(connection: Connection, noted: StoreHeads, name: str) -> frozenset[int]:
    query, _ = GROWING[name]
    ranges = (noted.outside or {}).get(name, ())
    there = {int(row[0]) for row in connection.execute(query).all()} if ranges else set()
    outside = {number for number in there if is_outside(ranges, number)}
    return frozenset(outside | {int(row[0]) for row in _new(connection, noted, name)})
