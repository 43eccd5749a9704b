"""Between a store and the signed file beside the keys: what is noted there, and what no longer fits it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from sqlalchemy import Connection, func, select

from loomproof.errors import Do, Problem, SealError, StoreError, Todo
from loomproof.records.before import head_named, heads_lost
from loomproof.records.growing import (
    GROWING,
    UNSEALED,
    has,
    noted_rows,
    told_apart,
    used_by_others,
    with_outside,
)
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
from loomproof.records.kept_files import file_troubles, grown_files
from loomproof.records.keys import KeyFolder, Signer, fingerprint
from loomproof.records.schema import RUNS
from loomproof.records.seal import Chain
from loomproof.records.store import Store
from loomproof.records.unfinished_runs import STARTED, place_of


@dataclass(frozen=True, slots=True)
class Opened:
    """A store as a command opened it, before it changed anything: what it then held is not of its doing.

    ``last`` is the highest number of its runs, 0 where it was empty. ``copy`` is another store that has the
    runs too, which vouches for them. ``filled``: it was empty, and this very command filled it from a backup.
    """

    last: int
    copy: Store | None = None
    filled: bool = False


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
    noted, so that it goes on being told; a row without seal that no command of this account announced stays
    outside of what is noted, where nobody else is known to use the store, and is told from then on.
    `StoreError` where the file cannot be written.
    """
    with changing(folder) as heads:
        now, holds = started_grown(folder, heads.started)
        if holds:
            heads = replace(heads, started=now)
        heads = replace(heads, files=grown_files(folder, heads))
        if store is not None:
            with store.reading() as connection:
                place = place_in(folder, place_of(address))
                noted = matching(heads, store.identity, place, has(connection, heads))[:1]
                found = 0 if noted or opened is None else _found(connection, folder, opened)
                mine = noted[0] if noted else StoreHeads(store.identity, place, found=found)
                # Its own name is taken over where the command made or filled it; another one is told.
                if opened is not None and not opened.last:
                    mine = replace(mine, identity=store.identity, found=0)
                taken = opened is None or opened.filled
                shared = taken or used_by_others(connection, folder)
                mine = _grown(connection, replace(mine, place=place), taken=taken, shared=shared)
                heads = _with_store(heads, connection, noted, mine)
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


_ANNOUNCED = 500
"""So many announcements are kept of rows that never came: a command was cut off before it added them."""


def announce(
    folder: Path, signer: Signer, store: Store, address: str | None, digests: Collection[str]
) -> None:
    """Say in the data folder which rows without seals (`growing.row_digest`) a command is about to add.

    Of a store that was never noted nothing is said: its first note takes in what is there. `StoreError` where
    the file cannot be written.
    """
    with changing(folder) as heads, store.reading() as connection:
        place = place_in(folder, place_of(address))
        for noted in matching(heads, store.identity, place, has(connection, heads))[:1]:
            said = replace(noted, announced=(*noted.announced, *digests))
            rest = tuple(other for other in heads.stores if other is not noted)
            write_heads(folder, replace(heads, stores=(*rest, said)), signer)


def _grown(connection: Connection, mine: StoreHeads, *, taken: bool, shared: bool) -> StoreHeads:
    """Return what is noted of a store with what came since.

    ``taken``: all of it is as it should be. ``shared``: what nobody announced may be another account's, and
    is held from now on; else it stays outside.
    """
    # A copy that was put back keeps what was noted of the store in its place, and is held against it.
    grown, announced = dict(mine.grown or {}), Counter(mine.announced)
    outside, others = dict(mine.outside or {}), dict(mine.others or {})
    for name, (query, number) in GROWING.items():
        before = grown.get(name, Grown())
        came = connection.execute(query.where(number > before.last).order_by(number)).all()
        rows = came
        if came and name in UNSEALED:
            own, other = told_apart(connection, name, came, announced)
            if name in grown and not taken and other:
                if shared:
                    others[name] = others.get(name, 0) + len(other)
                else:
                    outside[name] = with_outside(outside.get(name, ()), (int(row[0]) for row in other))
                    rows = own
        last = max(before.last, *(int(row[0]) for row in came)) if came else before.last
        grown[name] = replace(grown_by(before, [tuple(row) for row in rows]), last=last)
    left = tuple(announced.elements())[-_ANNOUNCED:]
    return replace(mine, grown=grown, announced=left, outside=outside, others=others)


def _with_store(
    heads: Heads, connection: Connection, noted: tuple[StoreHeads, ...], mine: StoreHeads
) -> Heads:
    now = _chain_heads(connection)
    there = has(connection, heads)
    # A head that the store no longer has is not forgotten because a new record stands beside it.
    lost = tuple(head for head in mine.heads if head.hash not in there)
    mine = replace(mine, heads=(*lost, *now))
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


def head_before(folder: Path, store: Store, address: str | None, bench: str) -> Chain | None:
    """Return where a chain stood when it was last noted, so that no record takes a place twice.

    Or where another bench's record in the store names its last one, if that is further on.
    """
    with store.reading() as connection:
        named = head_named(connection, bench, store.identity)
        heads = heads_that_hold(folder)
        if heads is None or heads.keys[-1] not in KeyFolder(folder).own_keys():
            return named
        there = has(connection, heads)
    place = place_in(folder, place_of(address))
    noted = known_head(matching(heads, store.identity, place, there), bench)
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
    troubles += file_troubles(folder, heads)
    with store.reading() as connection:
        place = place_in(folder, place_of(address))
        mine = matching(heads, store.identity, place, has(connection, heads))
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
    for name in GROWING:
        before = (noted.grown or {}).get(name)
        if before is None:
            continue  # noted before there was such a table, which a store that may only be read still lacks
        if grown_by(Grown(), noted_rows(connection, noted, name)).digest != before.digest:
            troubles.append(f"{name}: rows that were noted are gone, changed or in another order")
    return troubles
