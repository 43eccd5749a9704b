"""Notes of repairs that were withdrawn: nothing is rewritten, a later entry says that they do not hold.

A withdrawal is two rows that are added like any other. One is a note in words, so that whatever lists notes
tells of it behind those that it withdraws: certificate, page, tables, and versions that know no withdrawals.
The other stands among the confirmed causes of its finding, as the last word there: what was confirmed before
teaches no more. Its line of JSON names each note by a digest, as rows have no number of their own from store
to store.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from sqlalchemy import inspect, select

from loomproof.errors import UsageError
from loomproof.records.canonical import canonical, sha256_hex
from loomproof.records.confirmed import WITHDRAWN, ConfirmedLine, add_confirmed, confirmed_lines
from loomproof.records.queries import repairs
from loomproof.records.schema import CONFIRMED, RUNS
from loomproof.records.store import Repair, Standing, Store

ALL = 10_000
"""More notes than any one finding has."""


def withdraw(store: Store, run: str, person: str, why: str, said: str, finding: int) -> Repair:
    """Withdraw all that was noted of a finding (0: of the whole run) and still stands; ``said`` is when.

    Raises `UsageError` where nothing was noted of it that stands, or no reason is given.
    """
    if not why.strip():
        raise UsageError("a withdrawal without a reason says nothing", cure="Say why it does not hold.")
    noted = [each for each in store.repairs(run) if each.finding == finding]
    standing = [each for each in standings(store, noted) if each.standing is Standing.STANDS]
    causes = [each for each in confirmed_lines(store, ALL, run=run) if each.finding == finding]
    if not standing and not causes:
        what = f"finding {finding} of run" if finding else "run"
        raise UsageError(
            f"nothing is noted of {what} {store.run(run).run} that could be withdrawn",
            cure="Give the finding by its number, and see what was noted.",
        )
    words = f"withdrawn, all that was noted of it before: {why}"
    store.add_repair(run, person, words, said, finding)
    made = store.repairs(run)[-1]  # as it is kept, which what can't be shown is not
    line = canonical({"note": _digest(made), "withdraws": [_digest(each) for each in standing]}).decode()
    add_confirmed(store, run, ConfirmedLine(made.run, finding, person, said, WITHDRAWN, line))
    return replace(made, standing=Standing.WITHDRAWS)


def marked(store: Store, digest: str | None = None) -> Iterator[tuple[str, Repair]]:
    """Yield notes with the hash of their record, each saying whether it stands: of one record, or all."""
    noted = [each for each in repairs(store) if digest in (None, each[0])]
    yield from zip((of for of, _ in noted), standings(store, (note for _, note in noted)), strict=True)


def standings(store: Store, notes: Iterable[Repair]) -> Iterator[Repair]:
    """Yield notes, each saying whether it stands, was withdrawn, or withdraws others."""
    told = _told(store)
    for each in notes:
        yield replace(each, standing=told.get((each.run, _digest(each)), Standing.STANDS))


def _told(store: Store) -> Mapping[tuple[str, str], Standing]:
    """Return which notes of which runs were withdrawn or withdraw; a line that can't be read says nothing."""
    query = select(CONFIRMED.c.line, RUNS.c.run).join_from(CONFIRMED, RUNS, CONFIRMED.c.run_id == RUNS.c.id)
    with store.reading() as connection:
        if not inspect(connection).has_table(CONFIRMED.name):
            return {}  # a store from before causes were kept, that may only be read
        rows = connection.execute(query.where(CONFIRMED.c.cause == WITHDRAWN)).all()
    told: dict[tuple[str, str], Standing] = {}
    for row in rows:
        try:
            line = json.loads(row.line)
            told[row.run, str(line["note"])] = Standing.WITHDRAWS
            told |= {(row.run, str(digest)): Standing.WITHDRAWN for digest in line["withdraws"]}
        except (ValueError, KeyError, TypeError):
            continue
    return told


def _digest(note: Repair) -> str:
    return sha256_hex(canonical([note.run, note.finding, note.person, note.done, note.words]))
