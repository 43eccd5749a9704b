"""Opening a database for the store: SQLite with care, PostgreSQL by URL, migrated to this version."""

from __future__ import annotations

import contextlib
import os
import socket
import sqlite3
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

from sqlalchemy import Connection, Engine, create_engine, event, func, inspect, select, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError, SQLAlchemyError

from loomproof.errors import StoreAwayError, StoreError, Todo
from loomproof.installed import adding
from loomproof.records.migrations import STEPS, run_step
from loomproof.records.schema import MIGRATIONS

BUSY_S = 60
"""How long a writer waits for another one before it gives up."""


def open_engine(url: str | None, folder: Path) -> Engine:
    """Return an engine on the store at ``url``, or on ``records.db`` in ``folder``; migrated.

    `StoreError` where it cannot be opened, is no store, or is of a newer version.
    """
    where = _url(url, folder)
    with translated(where):
        engine = _engine(where)
        try:
            migrate(engine, only_read=_only_read(where) is not None)
        except BaseException:
            engine.dispose()
            raise
    return engine


def make_folder(folder: Path) -> None:
    """Make a person's data folder where there is none. Raises `StoreError`."""
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as error:
        raise StoreError(
            f"{folder}: the data folder cannot be made: {error.strerror}",
            cure="Name another one in LOOMPROOF_HOME.",
        ) from error


def _url(url: str | None, folder: Path) -> URL:
    if not url:
        make_folder(folder)
        return URL.create("sqlite", database=str(folder / "records.db"))
    if "://" not in url:
        return URL.create("sqlite", database=url)
    try:
        made = make_url(url)
    except ArgumentError as error:
        raise StoreError(f"{url}: not a database URL", cure=_URL_CURE) from error
    if made.get_backend_name() == "postgresql" and made.drivername == "postgresql":
        made = made.set(drivername="postgresql+psycopg")
    if made.get_backend_name() not in ("sqlite", "postgresql"):
        raise StoreError(f"{made.drivername}: a store lives on SQLite or PostgreSQL", cure=_URL_CURE)
    return made


_PATIENCE = {
    "connect_timeout": 5,
    "keepalives_idle": 10,
    "keepalives_interval": 5,
    "keepalives_count": 3,
    "tcp_user_timeout": 20_000,
}
"""How long a server of PostgreSQL may be silent (seconds, the last one milliseconds), as its client library
names it; what stands in the URL goes before."""

_URL_CURE = "Give a file name, sqlite:///FILE or postgresql://USER@HOST/DATABASE."


def _engine(where: URL) -> Engine:
    if where.get_backend_name() == "postgresql":
        try:
            # A host that swallows packets, a line that drops: given up in seconds, not in minutes.
            limits = {name: value for name, value in _PATIENCE.items() if name not in where.query}
            return create_engine(where, pool_pre_ping=True, connect_args=limits)
        except (ModuleNotFoundError, NoSuchModuleError) as error:
            raise StoreError(
                "a store on PostgreSQL needs the driver psycopg", cure=adding("postgresql")
            ) from error
    only_read = _only_read(where)
    engine = (
        create_engine(where, creator=only_read)
        if only_read
        else create_engine(where, connect_args={"timeout": BUSY_S})
    )

    @event.listens_for(engine, "connect")
    def _careful(connection: sqlite3.Connection, _: object) -> None:
        # The driver's own implicit BEGIN is switched off: it begins late, and not for reading.
        connection.isolation_level = None
        with contextlib.closing(connection.cursor()) as cursor:
            cursor.execute("PRAGMA foreign_keys = ON")
            # FULL: a commit is on the disk before it returns, also in WAL mode.
            cursor.execute("PRAGMA synchronous = FULL")
            with contextlib.suppress(sqlite3.OperationalError):  # a store that may only be read
                cursor.execute("PRAGMA journal_mode = WAL")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        # A writer takes the lock at once: a reader that turned into a writer could deadlock.
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _only_read(where: URL) -> Callable[[], sqlite3.Connection] | None:
    """Return how to open a SQLite file that this person may not write, ``None`` for all others.

    In WAL mode even reading wants to make files beside the store. Where that cannot be, and nothing waits
    in a journal there, the file is opened as one that does not change.
    """
    path = Path(where.database or "")
    if not where.database or where.database == ":memory:" or not path.is_file():
        return None
    if _writable(path) and _writable(path.parent):
        return None
    still = "" if path.with_name(path.name + "-wal").exists() else "&immutable=1"
    uri = f"{path.absolute().as_uri()}?mode=ro{still}"
    return lambda: sqlite3.connect(uri, uri=True, timeout=BUSY_S, check_same_thread=False)


def _writable(path: Path) -> bool:
    return os.access(path, os.W_OK, effective_ids=os.access in os.supports_effective_ids)


def migrate(engine: Engine, *, only_read: bool = False) -> None:
    """Bring a store to this version, each step in one transaction with the record of itself.

    One that may only be read stays as it is, and is read as it is.
    """
    done = _done(engine)
    while not (only_read and done) and done < len(STEPS):
        with writing(engine) as connection:
            if engine.dialect.name == "postgresql":
                # Two benches that open a new store at once: one migrates, the other waits here.
                connection.execute(text("SELECT pg_advisory_xact_lock(7020117)"))
            MIGRATIONS.create(connection, checkfirst=True)
            done = _number(connection)
            if done < len(STEPS):
                run_step(connection, done + 1)
                done += 1
    if done > len(STEPS):
        raise StoreError(
            f"{shown(engine.url)}: this store is of version {done}; this loomproof knows up to {len(STEPS)}",
            cure="Use a newer loomproof. Nothing was changed.",
        )


def _done(engine: Engine) -> int:
    with engine.connect() as connection:
        names = inspect(connection).get_table_names()
        if MIGRATIONS.name not in names:
            if names:
                raise StoreError(
                    f"{shown(engine.url)}: this database holds something else "
                    f"({', '.join(sorted(names)[:3])})",
                    cure="Give loomproof a file or a database of its own.",
                )
            return 0
        return _number(connection)


def _number(connection: Connection) -> int:
    number: int = connection.execute(select(func.coalesce(func.max(MIGRATIONS.c.number), 0))).scalar_one()
    return number


@contextlib.contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """Give a connection inside one write transaction: all of it is kept, or nothing."""
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        if engine.dialect.name == "postgresql":
            # One writer at a time, as on SQLite: ids are then given in the order in which they are kept.
            connection.execute(text(f"SET LOCAL lock_timeout = '{BUSY_S}s'"))
            connection.execute(text("SELECT pg_advisory_xact_lock(7020118)"))
        yield connection


@contextlib.contextmanager
def given_up(connection: Connection, after_s: float) -> Iterator[None]:
    """Cut the line to a server of PostgreSQL that has not answered all that is asked inside in this time.

    What waits for an answer then fails as when the server leaves.
    """
    raw = connection.connection.dbapi_connection
    if connection.dialect.name != "postgresql" or raw is None:
        yield
        return
    # A socket of its own on the same line; what kind of line it is does not matter to shut it.
    line = socket.fromfd(raw.fileno(), socket.AF_INET, socket.SOCK_STREAM)
    timer = threading.Timer(after_s, _cut, (line,))
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()
        line.close()


def _cut(line: socket.socket) -> None:
    with contextlib.suppress(OSError):  # it ended just now
        line.shutdown(socket.SHUT_RDWR)


@contextlib.contextmanager
def translated(where: URL) -> Iterator[None]:
    """Turn what the database says into `StoreError` with a cure."""
    try:
        yield
    except SQLAlchemyError as error:
        raise _story(shown(where), error) from error


def shown(where: URL) -> str:
    """Return the URL as text, the password hidden."""
    if where.get_backend_name() == "sqlite":
        return str(where.database)
    return where.render_as_string(hide_password=True)


_STORIES = (
    # What the database says, what it means, what to do. Most specific first.
    ("readonly database", "the store may only be read", "Check its rights, or name another store."),
    ("read-only transaction", "the store may only be read", "Ask for write rights, or name another store."),
    (
        "disk is full",
        "the disk is full; nothing of this was kept",
        "Make room and do it again; what was there is safe.",
    ),
    (
        "No space left",
        "the disk is full; nothing of this was kept",
        "Make room and do it again; what was there is safe.",
    ),
    ("file is not a database", "this file is no store", "Name another file, or restore a backup."),
    ("malformed", "the file is damaged", "Restore a backup."),
    ("lock timeout", "another process held the store for too long", "Do it again."),
    ("database is locked", "another process held the store for too long", "Do it again."),
    (
        "disk I/O error",
        "the disk refused to read or write; nothing of this was kept",
        "Check room, rights and the disk itself, then do it again.",
    ),
    ("unable to open", "the file cannot be opened", "Check that its folder is there and its rights."),
    ("append-only", "what is in the store is never changed", "Add a correction instead."),
    ("authentication failed", "the database refused user or password", "Check the URL."),
    ("does not exist", "there is no such database or user", "Make it first: createdb NAME."),
    ("connection", "the database does not answer", "Check that it runs, and host and port in the URL."),
)


_FOR_A_PERSON = ("authentication", "password", "does not exist", "pg_hba", "permission denied", "certificate")
"""What a server, or its client library, says where waiting will not help."""

_LEAVING = ("08", "57P", "53300")
"""How the codes of PostgreSQL begin (its manual, Appendix A) for a connection that failed or a server that
shuts down, starts up or takes no more of them."""


def _away(error: SQLAlchemyError, said: str) -> bool:
    """Whether the server of PostgreSQL was not there, or left, rather than refused."""
    if not isinstance(error, DBAPIError) or error.orig is None:
        return False
    # Only errors of its driver have a code; without one no server answered, or it answered before a session.
    code = getattr(error.orig, "sqlstate", "no server")
    if code == "no server":
        return False
    if code is not None:
        return str(code).startswith(_LEAVING)
    lost = error.connection_invalidated or type(error.orig).__name__ == "OperationalError"
    return lost and not any(mark in said for mark in _FOR_A_PERSON)


def _story(where: str, error: SQLAlchemyError) -> StoreError:
    said = str(error.orig) if isinstance(error, DBAPIError) else str(error)
    said = " ".join(said.split())
    if _away(error, said):
        return StoreAwayError(
            f"{where}: the database does not answer ({said})",
            cure="Check that it runs, and host and port in the URL.",
        )
    for mark, meaning, cure in _STORIES:
        if mark in said:
            restored = Todo.RESTORE if "restore" in cure.casefold() else None
            return StoreError(f"{where}: {meaning} ({said})", cure=cure, do=restored)
    return StoreError(f"{where}: the database refused: {said}")
