"""The guards that keep rows from being changed: taken away, switched off or replaced, the check says so.

The statements are those of the manuals: SQLite (CREATE TRIGGER, sqlite_schema), PostgreSQL (ALTER TABLE).
"""

from __future__ import annotations

from sqlalchemy import text

from loomproof.records.guards import guard_troubles
from loomproof.records.integrity import check_store
from loomproof.records.store import Store

EDITS = {
    "sqlite": {
        "dropped": ("DROP TRIGGER runs_update", "(runs_update)"),
        "emptied": (
            "DROP TRIGGER runs_update;; CREATE TRIGGER runs_update BEFORE UPDATE ON runs BEGIN SELECT 1; END",
            "(runs_update)",
        ),
        "added": (
            "CREATE TRIGGER mine BEFORE INSERT ON repairs BEGIN SELECT 1; END",
            "did not make (mine)",
        ),
        "step renamed": ("UPDATE migrations SET name = 'x' WHERE number = 2", "migrations: not the steps"),
        "step gone": ("DELETE FROM migrations WHERE number = 2", "migrations: not the steps"),
    },
    "postgresql": {
        "dropped": ("DROP TRIGGER runs_guard ON runs", "(runs_guard)"),
        "emptied": (
            "CREATE OR REPLACE FUNCTION loomproof_append_only() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RETURN NULL; END $$",
            "guards against changed",
        ),
        "switched off": ("ALTER TABLE runs DISABLE TRIGGER runs_guard", "(runs_guard)"),
        "step gone": ("DELETE FROM migrations WHERE number = 2", "migrations: not the steps"),
    },
}


def test_guards_that_were_taken_away_are_told(store: Store) -> None:
    with store.reading() as connection:
        assert guard_troubles(connection) == ()
    for sql, said in EDITS[store.url.get_backend_name()].values():
        with store.reading() as connection, connection.begin_nested() as undone:
            for statement in sql.split(";; "):
                connection.execute(text(statement))
            troubles = guard_troubles(connection)
            assert any(said in trouble for trouble in troubles), (sql, troubles)
            undone.rollback()


def test_the_check_of_a_store_looks_at_its_guards(store: Store) -> None:
    assert check_store(store).troubles == ()
    table = " ON runs" if store.url.get_backend_name() == "postgresql" else ""
    guard = "runs_guard" if table else "runs_delete"
    with store.writing() as connection:
        connection.execute(text(f"DROP TRIGGER {guard}{table}"))
    (trouble,) = check_store(store).troubles
    assert guard in trouble
    assert "back the store up and restore" in trouble
