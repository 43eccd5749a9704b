"""Between a store and the signed file beside the keys: what is noted there, and what no longer fits it."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from sqlalchemy import Connection, Table, func, select

from loomproof.errors import Do, Problem, SealError, StoreError, Todo
from loomproof.records.before import head_named, heads_lost
from loomproof.records.handing_over import Held
from loomproof.records.heads import (
    HEADS,
    PUT_ASIDE,
    Grown,
    Head,
    Heads,
    StoreHeads,
    changing,
    displaced,
    grown_by,
    heads_that_hold,
    known_head,
    last_of,
    matching,
    place_in,
    read_heads,
    started_grown,
    write_heads,
)
from loomproof.records.keys import KeyFolder, Signer, fingerprint
from loomproof.records.lines import RUN_COLUMNS
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
from loomproof.records.seal import Chain
from loomproof.records.store import Store
from loomproof.records.unfinished_runs import STARTED, place_of

_GROWING = {
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


@dataclass(frozen=True, slots=True)
class Opened:
    """A store as a command opened it, before it changed anything: what it then held is not of its doing.

    ``last`` is the highest number of its runs, 0 where it was empty (or is filled from a backup by this very
    command). ``copy`` is another store that has the runs too, which vouches for them.
    """

    last: int
    copy: Store | None = None


def as_opened(store: Store, copy: Store | None = None) -> Opened:
    """Return how a store is now, to be kept for `note`."""
    with store.reading() as connection:
        last = connection.execute(select(func.coalesce(func.max(RUNS.c.id), 0))).scalar_one()
    return Opened(int(last), copy)


def note(
    folder: Path,
    signer: Signer,
    store: Store | None = None,
    address: str | None = None,
    opened: Opened | None = None,
) -> None:
    """Note in the data folder how far ``started.jsonl`` and a store have come.

    ``address`` is what the command was given for the store, ``opened`` how it was before the command changed
    anything: `None` where the caller does not know. What no longer fits what was noted before stays as it was
    noted, so that it goes on being told. `StoreError` where the file cannot be written.
    """
    with changing(folder) as heads:
        now, holds = started_grown(folder, heads.started)
        if holds:
            heads = replace(heads, started=now)
        if store is not None:
            with store.reading() as connection:
                place = place_in(folder, place_of(address))
                noted = matching(heads, store.identity, place, _has(connection, heads))[:1]
                found = 0 if noted or opened is None else _found(connection, folder, opened)
                mine = noted[0] if noted else StoreHeads(store.identity, place, found=found)
                # Its own name is taken over where the command made or filled it; another one is told.
                if opened is not None and not opened.last:
                    mine = replace(mine, identity=store.identity, found=0)
                heads = _with_store(heads, connection, noted, replace(mine, place=place))
        write_heads(folder, heads, signer)


def _found(connection: Connection, folder: Path, opened: Opened) -> int:
    """Count the runs of this account that a store held when it was opened, and no copy of it has."""
    query = select(RUNS.c.hash).where(
        RUNS.c.id <= opened.last, RUNS.c.key.in_(list(KeyFolder(folder).own_keys()))
    )
    there = set(connection.execute(query).scalars()) if opened.last else set[str]()
    if there and opened.copy is not None:
        with opened.copy.reading() as other:
            there -= set(other.execute(select(RUNS.c.hash)).scalars())
    return len(there)


def _with_store(
    heads: Heads, connection: Connection, noted: tuple[StoreHeads, ...], mine: StoreHeads
) -> Heads:
    # A copy that was put back keeps what was noted of the store in its place, and is held against it.
    grown = dict(mine.grown or {})
    for name, (query, number) in _GROWING.items():
        before = grown.get(name, Grown())
        rows = connection.execute(query.where(number > before.last).order_by(number)).all()
        grown[name] = grown_by(before, [tuple(row) for row in rows])
    now = _chain_heads(connection)
    has = _has(connection, heads)
    # A head that the store no longer has is not forgotten because a new record stands beside it.
    lost = tuple(head for head in mine.heads if head.hash not in has)
    mine = replace(mine, heads=(*lost, *now), grown=grown)
    return replace(heads, stores=(*(store for store in heads.stores if store not in noted), mine))


def _chain_heads(connection: Connection) -> tuple[Head, ...]:
    rows = connection.execute(
        select(RUNS.c.bench, RUNS.c.sequence, RUNS.c.hash, RUNS.c.run).order_by(RUNS.c.bench, RUNS.c.sequence)
    ).all()
    first: dict[str, str] = {}
    last: dict[str, Head] = {}
    for bench, sequence, digest, run in rows:
        last[bench] = Head(bench, sequence, digest, run, first.setdefault(bench, digest))
    return tuple(last.values())


def _has(connection: Connection, heads: Heads) -> frozenset[str]:
    """Return those of all hashes that the file names which the store has."""
    named = {part for store in heads.stores for head in store.heads for part in (head.hash, head.first)}
    there = connection.execute(select(RUNS.c.hash)).scalars()
    return frozenset(digest for digest in there if digest in named)


def head_before(folder: Path, store: Store, address: str | None, bench: str) -> Chain | None:
    """Return where a chain stood when it was last noted, so that no record takes a place twice.

    Or where another bench's record in the store names its last one, if that is further on.
    """
    with store.reading() as connection:
        named = head_named(connection, bench, store.identity)
        heads = heads_that_hold(folder)
        if heads is None or heads.keys[-1] not in KeyFolder(folder).own_keys():
            return named
        has = _has(connection, heads)
    noted = known_head(matching(heads, store.identity, place_in(folder, place_of(address)), has), bench)
    return max(filter(None, (noted, named)), key=lambda head: head.sequence, default=None)


def key_changed(folder: Path, signer: Signer) -> Problem | None:
    """Return what to say where another key is in use than the one that signed last."""
    heads = heads_that_hold(folder)
    if heads is None or heads.keys[-1] == signer.public_hex:
        return None
    before = heads.keys[-1]
    if before in KeyFolder(folder).own_keys():
        return Problem(f"Sealed from now on with another key of this station: {signer.fingerprint}.")
    return Problem(
        f"The key that sealed here before, {fingerprint(before)}, is gone; records are sealed with "
        f"{signer.fingerprint} from now on, and who knows the old key does not know this one.",
        cure="If you have a copy of the old one, put it back.",
        do=Do(Todo.OLD_KEY),
    )


def not_as_noted(
    folder: Path, store: Store, address: str | None, known: Mapping[str, str]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return what of a store and the data folder is not as it was noted, and what can't be told.

    ``known`` are the keys that count as known (`KnownSigners.all`). Fast: it reads no record.
    """
    troubles = [
        f"{path}: it did not hold when it was put aside; whether runs were missing then can't be told"
        for path in sorted(folder.glob(f"{PUT_ASIDE}*.json"))
    ]
    try:
        heads = read_heads(folder)
    except (SealError, StoreError) as error:
        return (*troubles, error.message), ()
    own = KeyFolder(folder).own_keys()
    if heads is None:
        there = (folder / STARTED).exists() or _sealed_by(store, own)
        return tuple(troubles), ((_heads_gone(folder),) if there else ())
    for key in heads.keys:
        if key not in known:
            troubles.append(
                f"{folder / HEADS}: the key {fingerprint(key)} sealed here and is not among the keys any "
                "more: it was lost, or replaced by other means than this program's"
            )
    untold: list[str] = []
    _, holds = started_grown(folder, heads.started)
    if not holds:
        troubles.append(f"{folder / STARTED}: lines that were there are gone or changed")
    with store.reading() as connection:
        place = place_in(folder, place_of(address))
        mine = matching(heads, store.identity, place, _has(connection, heads))
        troubles += [
            f"{store.where}: the store noted at this place ({last_of(other)}) is not here; another stands in "
            "its place. Put it back; if it is to stay away, keep the other one under another name"
            for other in displaced(heads, mine, store.identity, place)
        ]
        for found in mine:
            troubles += _store_troubles(connection, found)
            if found.identity != store.identity and store.identity:
                troubles.append(
                    f"identity: {store.where} calls itself {store.identity}; {found.identity} was noted: "
                    "its own name was edited, or it was made anew by other means than this program's"
                )
                troubles += heads_lost(connection, connection, found.identity)
            if found.found:
                untold.append(
                    f"{folder / HEADS}: it was begun when {store.where} held runs of this account already "
                    f"({found.found}); whether newer ones were missing then can't be told from it"
                )
    return tuple(troubles), tuple(untold)


def heads_missing(folder: Path, store: Store) -> str:
    """Return what to say where nothing is noted of a store with records of this account; "" else."""
    gone = not (folder / HEADS).exists() and _sealed_by(store, KeyFolder(folder).own_keys())
    return _heads_gone(folder) if gone else ""


def _sealed_by(store: Store, own: Collection[str]) -> bool:
    with store.reading() as connection:
        return not set(own).isdisjoint(connection.execute(select(RUNS.c.key).distinct()).scalars())


def _heads_gone(folder: Path) -> str:
    return (
        f"{folder / HEADS}: it is not there, so whether the newest runs are missing can't be told. "
        "The next proof begins it anew, which makes nothing good: put it back from a backup before"
    )


def _store_troubles(connection: Connection, noted: StoreHeads) -> list[str]:
    troubles = []
    for head in noted.heads:
        there = connection.execute(select(RUNS.c.id).where(RUNS.c.hash == head.hash)).first()
        if there is None:
            troubles.append(
                f"record {head.sequence} of {head.bench} (run {head.run}, {head.hash[:16]}…) was sealed into "
                "this store and is not in it any more: the newest runs were taken out, or an older copy "
                "stands in its place"
            )
    for name, (query, number) in _GROWING.items():
        before = (noted.grown or {}).get(name)
        if before is None:
            continue  # noted before there was such a table, which a store that may only be read still lacks
        rows = connection.execute(query.where(number <= before.last).order_by(number)).all()
        if grown_by(Grown(), [tuple(row) for row in rows]) != before:
            troubles.append(f"{name}: rows that were noted are gone, changed or in another order")
    return troubles


_UNSEALED = ("repairs", "answers", "confirmed", "selftests")
"""Tables of which no seal vouches for a row: who added one shows only by what was noted."""


def sealing_keys(folder: Path) -> frozenset[str]:
    """Return the public keys that seal here, or did: those of the folder, and those that the heads name."""
    heads = heads_that_hold(folder)
    return frozenset((*KeyFolder(folder).own_keys(), *(heads.keys if heads else ())))


def unvouched_notes(
    folder: Path, store: Store, address: str | None, tables: Sequence[Table] = (REPAIRS, ANSWERS, CONFIRMED)
) -> Held:
    """Return the notes of a store, as it stands now, for which nothing vouches: those in these tables.

    A row of repairs, answers or confirmed causes that no command of this account noted is held back, as are
    all of a table in which a row that was noted is not as it was. The next note takes added rows in.
    """
    heads = heads_that_hold(folder)
    held: dict[str, tuple[frozenset[int], str]] = {}
    with store.reading() as connection:
        place = place_in(folder, place_of(address))
        found = matching(heads, store.identity, place, _has(connection, heads))[:1] if heads else ()
        for name in (table.name for table in tables):
            query, number = _GROWING[name]
            before = (found[0].grown or {}).get(name, Grown()) if found else Grown()
            rows = connection.execute(query.order_by(number)).all()
            noted = [tuple(row) for row in rows if row[0] <= before.last]
            if grown_by(Grown(), noted) != before:
                ids = frozenset(row[0] for row in rows)
                held[name] = ids, f"{name}: rows that were noted are gone, changed or in another order"
            elif len(rows) > len(noted):
                ids = frozenset(row[0] for row in rows if row[0] > before.last)
                held[name] = (
                    ids,
                    f"{name}: added to the outbox by no command of this account, or by one cut off",
                )
    return held


_NAMED = 5
"""So many rows are named, of however many."""


def added_unnoted(folder: Path, store: Store, address: str | None) -> tuple[tuple[str, ...], bool]:
    """Return what was added to tables without seals since the last command here noted the store.

    And whether every record in it is sealed with a key of this account, so that nobody else is known to use
    it. Every command that adds rows notes them, so what is found here came by other means or from another
    account; the next note takes it in.
    """
    heads = heads_that_hold(folder)
    if heads is None:
        return (), False
    found: list[str] = []
    place = place_in(folder, place_of(address))
    with store.reading() as connection:
        for noted in matching(heads, store.identity, place, _has(connection, heads)):
            for name in _UNSEALED:
                before = (noted.grown or {}).get(name)
                if before is None:
                    continue
                query, number = _GROWING[name]
                ids = [str(row[0]) for row in connection.execute(query.where(number > before.last)).all()]
                if ids:
                    shown = ", ".join(ids[:_NAMED]) + (", …" if len(ids) > _NAMED else "")
                    found.append(
                        f"{name}: added by no command of this account (row {shown}): by another account that "
                        "uses this store, or by other means than this program"
                    )
        keys = set(connection.execute(select(RUNS.c.key).distinct()).scalars())
    return tuple(found), keys <= set(KeyFolder(folder).own_keys())
