"""Self-tests of benches in the store: each a line of JSON as it was kept, found again by date and bench."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import asdict, dataclass

from sqlalchemy import inspect, select

from loomproof.records.schema import SELFTESTS
from loomproof.records.store import Store


@dataclass(frozen=True, slots=True)
class SelfTestLine:
    """One self-test: when it was made (RFC 3339), of which bench, and the line that says the rest."""

    tested: str
    bench: str
    line: str


def keep_lines(store: Store, lines: Iterable[SelfTestLine]) -> int:
    """Keep those self-tests that the store has not; return how many. Raises `RecordError`."""
    there = set(kept_lines(store))
    new = [each for each in dict.fromkeys(lines) if each not in there]
    if new:
        store.add_unsealed(SELFTESTS, [asdict(each) for each in new])
    return len(new)


def kept_lines(store: Store, without: Collection[int] = ()) -> tuple[SelfTestLine, ...]:
    """Return the self-tests that the store has, in the order in which they came.

    ``without`` are ids of rows that nobody vouches for.
    """
    with store.reading() as connection:
        if not inspect(connection).has_table(SELFTESTS.name):
            return ()  # a store from before self-tests were kept in it, that may only be read
        rows = connection.execute(select(SELFTESTS).order_by(SELFTESTS.c.id)).all()
    return tuple(SelfTestLine(row.tested, row.bench, row.line) for row in rows if row.id not in without)
