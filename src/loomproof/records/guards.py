"""Whether a store's own guards are as its migrations made them: what keeps its rows from being changed."""

from __future__ import annotations

from sqlalchemy import Connection, select, text

from loomproof.records.migrations import GUARD_BODY, STEPS, guards_of
from loomproof.records.schema import MIGRATIONS

_CURE = (
    "Find out who did it; then back the store up and restore the backup into a new one, which has its guards"
)


def guard_troubles(connection: Connection) -> tuple[str, ...]:
    """Return what is wrong with the append-only guards of a store, and with its list of migrations.

    A store that may only be read and is of an older version is held against the steps that it has.
    """
    done = connection.execute(select(MIGRATIONS).order_by(MIGRATIONS.c.number)).all()
    steps = [(number, name) for number, (name, _) in enumerate(STEPS[: len(done)], start=1)]
    troubles = []
    if [tuple(row) for row in done] != steps:
        troubles.append(f"migrations: not the steps that this program took to make the store. {_CURE}")
    wanted = guards_of(connection.dialect.name, _reached(connection, len(done)))
    there = _sqlite(connection) if connection.dialect.name == "sqlite" else _postgresql(connection)
    lost = sorted(name for name, guard in wanted.items() if there.get(name) != guard)
    added = sorted(set(there) - set(wanted))
    if lost:
        troubles.append(
            f"{len(lost)} of {len(wanted)} guards against changed and deleted rows are gone, switched off or "
            f"changed ({_some(lost)}). {_CURE}"
        )
    if added:
        troubles.append(f"triggers that this program did not make ({_some(added)}). {_CURE}")
    return tuple(troubles)


def _reached(connection: Connection, rows: int) -> int:
    """The newest step that the store has, by the highest number or the count of rows, whichever is more."""
    numbers = connection.execute(select(MIGRATIONS.c.number)).scalars().all()
    return min(max([rows, *map(int, numbers)]), len(STEPS))


def _some(names: list[str]) -> str:
    return ", ".join(names[:5]) + (", …" if len(names) > 5 else "")


def _sqlite(connection: Connection) -> dict[str, str]:
    rows = connection.execute(text("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")).all()
    return {str(name): str(sql) for name, sql in rows}


def _postgresql(connection: Connection) -> dict[str, str]:
    """Return each trigger that works in normal sessions, as its statement; others by what they lack.

    The columns are those of pg_trigger and pg_proc (manual of PostgreSQL, System Catalogs).
    """
    rows = connection.execute(
        text(
            "SELECT t.tgname, c.relname, t.tgenabled::text, t.tgtype, t.tgqual IS NULL, p.proname, p.prosrc "
            "FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid JOIN pg_proc p ON p.oid = t.tgfoid "
            "WHERE NOT t.tgisinternal AND pg_table_is_visible(c.oid)"
        )
    ).all()
    found = {}
    for name, table, enabled, kind, always, function, body in rows:
        whole = enabled in ("O", "A") and kind == _BEFORE_ALL and always and body.strip() == GUARD_BODY
        made = (
            f"CREATE TRIGGER {name} BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
            f"FOR EACH STATEMENT EXECUTE FUNCTION {function}()"
        )
        found[str(name)] = made if whole else "not as made"
    return found


_BEFORE_ALL = 2 | 8 | 16 | 32
"""Before, for DELETE, UPDATE and TRUNCATE, as pg_trigger counts them in tgtype; each statement is 0."""
