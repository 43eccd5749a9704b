"""The tables that grow row by row, what of a row is noted beside the keys, and whose a row without seal is.

No seal vouches for a repair, an answer, a confirmed cause or a self-test. A command of this account says what
it is about to add in the signed file first (`heads.StoreHeads.announced`), so that its rows are known for its
own even where it is cut off before it could note them; what nobody announced came by other means.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

from sqlalchemy import Connection, Row, select

from loomproof.records.canonical import sha256_hex
from loomproof.records.heads import Heads, StoreHeads, heads_that_hold
from loomproof.records.keys import KeyFolder
from loomproof.records.lines import AT_ONCE, RUN_COLUMNS
from loomproof.records.schema import (
    ANSWERS,
    CERTIFICATES,
    CONFIRMED,
    DELETIONS,
    JOURNALS,
    REPAIRS,
    RUNS,
    SELFTESTS,
)

GROWING = {
    "runs": (RUN_COLUMNS, RUNS.c.id),
    "journals": (select(JOURNALS.c.run_id, JOURNALS.c.digest), JOURNALS.c.run_id),
    "certificates": (
        select(CERTIFICATES.c.id, CERTIFICATES.c.run_id, CERTIFICATES.c.made, CERTIFICATES.c.digest),
        CERTIFICATES.c.id,
    ),
    "repairs": (select(REPAIRS), REPAIRS.c.id),
    "answers": (select(ANSWERS), ANSWERS.c.id),
    "confirmed": (select(CONFIRMED), CONFIRMED.c.id),
    "selftests": (select(SELFTESTS), SELFTESTS.c.id),
    "deletions": (select(DELETIONS.c.id, DELETIONS.c.hash), DELETIONS.c.id),
}
"""The tables that grow row by row, with what of a row is noted. All others follow from the records."""

UNSEALED = ("repairs", "answers", "confirmed", "selftests")
"""Tables of which no seal vouches for a row: who added one shows only by what was announced and noted."""

_NAMED = 5
"""So many rows are named, of however many."""

Rows = Sequence[Row[*tuple[Any, ...]]]
_Thing = TypeVar("_Thing")


def row_digest(table: str, run_hash: str, values: Mapping[str, object]) -> str:
    """Return what a row without seal is known by before it has a number: its run's record and its values."""
    said = sorted((name, value) for name, value in values.items() if name not in ("id", "run_id"))
    text = json.dumps([table, run_hash, *said], ensure_ascii=True, separators=(",", ":"))
    return sha256_hex(text.encode())


def told_apart(connection: Connection, name: str, rows: Rows, announced: Counter[str]) -> tuple[Rows, Rows]:
    """Return which rows of a table a command of this account announced, and the others.

    What was announced once stands for one row: it is taken out of ``announced``.
    """
    hashes: dict[int, str] = {}
    runs = sorted({row.run_id for row in rows}) if rows and hasattr(rows[0], "run_id") else []
    for at in range(0, len(runs), AT_ONCE):
        query = select(RUNS.c.id, RUNS.c.hash).where(RUNS.c.id.in_(runs[at : at + AT_ONCE]))
        hashes |= {row.id: row.hash for row in connection.execute(query)}

    def digest(row: Row[*tuple[Any, ...]]) -> str:
        values = {str(key): value for key, value in row._mapping.items()}
        return row_digest(name, hashes.get(values.get("run_id", 0), ""), values)

    return parted(rows, digest, announced)


def parted(
    things: Iterable[_Thing], digest: Callable[[_Thing], str], announced: Counter[str]
) -> tuple[list[_Thing], list[_Thing]]:
    """Return which things were announced by their digests, and the others; ``announced`` as `told_apart`."""
    own, other = [], []
    for thing in things:
        said = digest(thing)
        if announced[said]:
            announced[said] -= 1
            own.append(thing)
        else:
            other.append(thing)
    return own, other


def numbered(ranges: Iterable[tuple[int, int]], numbers: Iterable[int]) -> str:
    """Return in words which rows stay outside, those of the ranges and further ones, the first few of them.

    An empty text where there are none.
    """
    named = [str(first) if first == last else f"{first} to {last}" for first, last in ranges]
    named += map(str, numbers)
    return ", ".join(named[:_NAMED]) + (", …" if len(named) > _NAMED else "")


def is_outside(ranges: Iterable[tuple[int, int]], number: int) -> bool:
    """Return whether a row is one of those that stay outside of what is noted."""
    return any(first <= number <= last for first, last in ranges)


def with_outside(ranges: Sequence[tuple[int, int]], numbers: Iterable[int]) -> tuple[tuple[int, int], ...]:
    """Return ranges of rows with further ones, which are behind them, in order."""
    found = list(ranges)
    for number in numbers:
        if found and found[-1][1] == number - 1:
            found[-1] = (found[-1][0], number)
        else:
            found.append((number, number))
    return tuple(found)


def noted_rows(connection: Connection, noted: StoreHeads, name: str) -> list[tuple[object, ...]]:
    """Return the rows of a table that are in the digest over what was noted of it."""
    query, number = GROWING[name]
    before = (noted.grown or {})[name]
    ranges = (noted.outside or {}).get(name, ())
    rows = connection.execute(query.where(number <= before.last).order_by(number)).all()
    return [tuple(row) for row in rows if not is_outside(ranges, int(row[0]))]


def has(connection: Connection, heads: Heads) -> frozenset[str]:
    """Return those of all hashes that the file names which the store has."""
    named = {part for store in heads.stores for head in store.heads for part in (head.hash, head.first)}
    there = connection.execute(select(RUNS.c.hash)).scalars()
    return frozenset(digest for digest in there if digest in named)


def used_by_others(connection: Connection, folder: Path) -> bool:
    """Return whether other accounts add to this store as well, as far as is known.

    A file with no record but of this account's keys is used by nobody else; a server may be by anybody.
    """
    if connection.dialect.name != "sqlite":
        return True
    keys = set(connection.execute(select(RUNS.c.key).distinct()).scalars())
    return not keys <= sealing_keys(folder)


def sealing_keys(folder: Path) -> frozenset[str]:
    """Return the public keys that seal here, or did: those of the folder, and those that the heads name."""
    heads = heads_that_hold(folder)
    return frozenset((*KeyFolder(folder).own_keys(), *(heads.keys if heads else ())))
