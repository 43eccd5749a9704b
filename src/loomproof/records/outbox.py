"""The outbox: a bench's own store, in which every record for a server is sealed before the server is asked.

The server may be away, or leave in the middle of a commit: what is sealed here is sealed, in a chain that no
other store goes on with, and is handed over as it is until the server has said that it keeps it. See
NOTES.md, The outbox.
"""

from __future__ import annotations

import secrets
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from fnmatch import fnmatch
from pathlib import Path
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, Table, insert, select
from sqlalchemy.engine import make_url

from loomproof.records.before import Head, before, head_of
from loomproof.records.canonical import sha256_hex
from loomproof.records.data_folder import home
from loomproof.records.engine import given_up, make_folder
from loomproof.records.heads import has_rows, heads_that_hold, last_of
from loomproof.records.inserting import add_once
from loomproof.records.keys import Signer
from loomproof.records.schema import (
    ANSWERS,
    BENCHES,
    CERTIFICATES,
    CONFIRMED,
    HANDED_OVER,
    OUTBOX,
    REPAIRS,
    RUNS,
)
from loomproof.records.seal import Chain
from loomproof.records.store import SealedRun, Store, chain_name, open_store
from loomproof.results.document import Document

ANSWER_S = 30.0
"""How long a server may take over one record before it counts as away. Our choice: keeping one takes a
hundredth of it."""

NOTED = (REPAIRS, ANSWERS, CONFIRMED, CERTIFICATES)
"""The tables of what is noted of a run and issued of it, which are handed over row by row."""


@dataclass(frozen=True, slots=True)
class Waiting:
    """What an outbox holds that its server has not said to keep: runs by name, notes, certificates."""

    runs: tuple[str, ...] = ()
    notes: int = 0
    certificates: int = 0

    def __bool__(self) -> bool:
        return bool(self.runs or self.notes or self.certificates)


def server_of(address: str | None) -> str:
    """Return which server and database an address names, without user and password; "" for a file."""
    if not address or not address.startswith("postgresql"):
        return ""
    url = make_url(address)
    host = url.host or url.query.get("host", "")
    port = url.port or url.query.get("port", 5432)
    return f"{host if isinstance(host, str) else ','.join(host)}:{port}/{url.database}"


def outbox_path(server: str, folder: Path) -> Path:
    """Return where the outbox for a server is, in the person's data folder."""
    return folder / f"outbox-{sha256_hex(server.encode())[:12]}.db"


def outboxes(folder: Path) -> tuple[Path, ...]:
    """Return the outboxes of a data folder, for whichever server."""
    return tuple(sorted(folder.glob("outbox-*.db")))


def missing_outboxes(folder: Path) -> tuple[str, ...]:
    """Return what to say of each outbox that was noted in this data folder and is not in it any more.

    Nothing where the file of heads is missing or does not hold: the check of a store says that.
    """
    heads = heads_that_hold(folder)
    stores = heads.stores if heads is not None else ()
    return tuple(
        f"{folder / store.place}: the outbox noted here ({last_of(store)}) is not here; what was sealed "
        "in it and not handed over is lost with it. Put it back from a backup of the data folder"
        for number, store in enumerate(stores)
        if fnmatch(store.place, "outbox-*.db") and has_rows(store)
        # The store that was noted last is behind the others: one noted later in this place took it.
        if not (folder / store.place).exists()
        or any(later.place == store.place for later in stores[number + 1 :])
    )


def kept_outbox(path: Path) -> tuple[str, Waiting]:
    """Return for which server an outbox is, and what waits in it. Raises `StoreError`."""
    with open_store(str(path)) as store:
        with store.reading() as connection:
            server = connection.execute(select(OUTBOX.c.server).limit(1)).scalar_one_or_none() or ""
        return server, Outbox(store, server).waiting()


@contextmanager
def open_outbox(server: str, folder: Path | None = None) -> Iterator[Outbox]:
    """Open the outbox for a server, made where there is none. Raises `StoreError`."""
    where = folder or home()
    make_folder(where)
    with open_store(str(outbox_path(server, where)), where) as store:
        yield Outbox(store, server)


class Outbox:
    """A bench's own store for one server (`server_of`)."""

    def __init__(self, store: Store, server: str) -> None:
        self.store = store
        self.server = server

    @property
    def name(self) -> str:
        """What its chains end with, so that none is ever gone on with elsewhere; given at first use."""
        with self.store.reading() as connection:
            kept = _name(connection)
        if not kept:
            with self.store.writing() as connection:
                kept = _name(connection) or _named(connection, self.server, "first use")
        return kept

    def begin_anew(self, name: str, why: str) -> None:
        """End the chains that end with ``name``; what is sealed from now on begins new ones."""
        with self.store.writing() as connection:
            if _name(connection) == name:
                _named(connection, self.server, why)

    def chain(self, document: Document, signer: Signer) -> str:
        """Return the name of the chain that a document is sealed in here."""
        return f"{chain_name(document, signer.station)}.{self.name}"

    def seal(
        self,
        document: Document,
        signer: Signer,
        journal: bytes = b"",
        *,
        server: Store | None,
        correction: Mapping[str, object] | None = None,
        known: Chain | None = None,
        without: Collection[int] = (),
    ) -> SealedRun:
        """Seal a document here, told of the time before by the ``server`` where it answers (``None``: away).

        ``correction``, ``known`` and ``without`` (notes of repairs here) as for `Store.seal_in`.
        """
        bench = self.chain(document, signer)
        told = None
        if server is not None:
            with server.reading() as connection, given_up(connection, ANSWER_S):
                told = before(connection, document, bench)
        else:
            with self.store.reading() as connection:
                own = before(connection, document, bench, without)
            told = replace(own, met=None, remarks=(AWAY,))
        return self.store.seal_in(
            bench, document, signer, journal, correction=correction, known=known, told=told
        )

    def waiting(self) -> Waiting:
        """Return what the server has not said to keep, as far as is known here."""
        with self.store.reading() as connection:
            runs = connection.execute(_unmarked(RUNS, RUNS.c.run)).scalars().all()
            counts = {
                table.name: len(connection.execute(_unmarked(table, table.c.id)).all()) for table in NOTED
            }
        notes = sum(counts[table.name] for table in NOTED if table is not CERTIFICATES)
        return Waiting(tuple(runs), notes, counts[CERTIFICATES.name])

    def heads(self) -> dict[str, Head]:
        """Return the last record of each chain that was sealed here, by the chain's name."""
        with self.store.reading() as connection:
            benches = connection.execute(select(BENCHES.c.name).order_by(BENCHES.c.name)).scalars().all()
            found = {bench: head_of(connection, bench) for bench in benches}
        return {bench: head for bench, head in found.items() if head is not None}

    def mark(self, table: Table, *ids: int) -> None:
        """Note that the server keeps these rows."""
        if ids:
            with self.store.writing() as connection:
                for row_id in ids:
                    add_once(connection, HANDED_OVER, {"what": table.name, "row_id": row_id})


AWAY = (
    "The store of the shop did not answer when this was sealed: what other benches found of this loom, and "
    "what was noted there of its repairs, is not told here."
)
"""What a record says that was sealed while its server was away."""


def _name(connection: Connection) -> str:
    query = select(OUTBOX.c.name).order_by(OUTBOX.c.id.desc()).limit(1)
    return connection.execute(query).scalar_one_or_none() or ""


def _named(connection: Connection, server: str, why: str) -> str:
    name = secrets.token_hex(4)
    connection.execute(insert(OUTBOX).values(name=name, server=server, why=why))
    return name


def marks(table: Table) -> Select[int]:
    """Select the rows of an outbox's table of which the server has said that it keeps them."""
    return select(HANDED_OVER.c.row_id).where(HANDED_OVER.c.what == table.name)


def _unmarked(table: Table, column: ColumnElement[Any]) -> Select[Any]:
    return select(column).where(table.c.id.not_in(marks(table))).order_by(table.c.id)
