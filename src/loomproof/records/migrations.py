"""The store's shape, step by step. A step that was released is never edited; a change is a new step.

Each step runs in one transaction with the record of itself. ``{serial}``, ``{bytes}`` stand for what the
database calls them.
"""

from __future__ import annotations

import secrets
from collections.abc import Sequence

from sqlalchemy import Connection, text

from loomproof.records.counting import count_from
from loomproof.records.readings import fill_readings

_FIRST = (
    """CREATE TABLE looms (
        id {serial},
        name TEXT NOT NULL,
        serial TEXT NOT NULL,
        digest TEXT NOT NULL,
        description TEXT NOT NULL,
        UNIQUE (name, serial, digest))""",
    "CREATE INDEX looms_serial ON looms (serial)",
    "CREATE INDEX looms_digest ON looms (digest)",
    """CREATE TABLE benches (
        name TEXT NOT NULL PRIMARY KEY)""",
    """CREATE TABLE runs (
        id {serial},
        run TEXT NOT NULL,
        kind TEXT NOT NULL,
        loom_id BIGINT NOT NULL REFERENCES looms (id),
        bench TEXT NOT NULL REFERENCES benches (name),
        sequence BIGINT NOT NULL,
        previous TEXT NOT NULL,
        hash TEXT NOT NULL UNIQUE,
        key TEXT NOT NULL,
        verdict TEXT NOT NULL,
        started TEXT NOT NULL,
        ended TEXT NOT NULL,
        person TEXT NOT NULL,
        adapter TEXT NOT NULL,
        faults INTEGER NOT NULL,
        notes INTEGER NOT NULL,
        UNIQUE (bench, sequence))""",
    "CREATE INDEX runs_loom ON runs (loom_id, id)",
    "CREATE INDEX runs_run ON runs (run)",
    """CREATE TABLE records (
        run_id BIGINT NOT NULL PRIMARY KEY REFERENCES runs (id),
        packed {bytes} NOT NULL)""",
    """CREATE TABLE journals (
        run_id BIGINT NOT NULL PRIMARY KEY REFERENCES runs (id),
        digest TEXT NOT NULL,
        packed {bytes} NOT NULL)""",
    """CREATE TABLE findings (
        run_id BIGINT NOT NULL REFERENCES runs (id),
        number INTEGER NOT NULL,
        kind TEXT NOT NULL,
        cause TEXT NOT NULL,
        severity TEXT NOT NULL,
        title TEXT NOT NULL,
        PRIMARY KEY (run_id, number))""",
    """CREATE TABLE finding_places (
        run_id BIGINT NOT NULL,
        number INTEGER NOT NULL,
        what TEXT NOT NULL,
        name TEXT NOT NULL,
        PRIMARY KEY (run_id, number, what, name),
        FOREIGN KEY (run_id, number) REFERENCES findings (run_id, number))""",
    """CREATE TABLE repairs (
        id {serial},
        run_id BIGINT NOT NULL REFERENCES runs (id),
        finding INTEGER NOT NULL,
        person TEXT NOT NULL,
        done TEXT NOT NULL,
        words TEXT NOT NULL)""",
    "CREATE INDEX repairs_run ON repairs (run_id)",
    """CREATE TABLE adapters (
        digest TEXT NOT NULL PRIMARY KEY,
        name TEXT NOT NULL,
        first_used TEXT NOT NULL)""",
    """CREATE TABLE bench_checks (
        run_id BIGINT NOT NULL REFERENCES runs (id),
        number INTEGER NOT NULL,
        name TEXT NOT NULL,
        passed INTEGER NOT NULL,
        words TEXT NOT NULL,
        PRIMARY KEY (run_id, number))""",
    """CREATE TABLE certificates (
        id {serial},
        run_id BIGINT NOT NULL REFERENCES runs (id),
        made TEXT NOT NULL,
        digest TEXT NOT NULL,
        pdf {bytes} NOT NULL)""",
    "CREATE INDEX certificates_run ON certificates (run_id)",
)

_ANSWERS = (
    """CREATE TABLE answers (
        id {serial},
        run_id BIGINT NOT NULL REFERENCES runs (id),
        said TEXT NOT NULL,
        words TEXT NOT NULL)""",
    "CREATE INDEX answers_run ON answers (run_id)",
)

_SELFTESTS = (
    """CREATE TABLE selftests (
        id {serial},
        tested TEXT NOT NULL,
        bench TEXT NOT NULL,
        line TEXT NOT NULL UNIQUE)""",
)

_OUTBOX = (
    """CREATE TABLE heads_met (
        run_id BIGINT NOT NULL REFERENCES runs (id),
        number INTEGER NOT NULL,
        store TEXT NOT NULL,
        bench TEXT NOT NULL,
        sequence BIGINT NOT NULL,
        hash TEXT NOT NULL,
        PRIMARY KEY (run_id, number))""",
    "CREATE INDEX heads_met_hash ON heads_met (hash)",
    """CREATE TABLE outbox (
        id {serial},
        name TEXT NOT NULL UNIQUE,
        server TEXT NOT NULL,
        why TEXT NOT NULL)""",
    """CREATE TABLE handed_over (
        what TEXT NOT NULL,
        row_id BIGINT NOT NULL,
        PRIMARY KEY (what, row_id))""",
)

_COUNTED = (
    """CREATE TABLE counted_runs (
        run_id BIGINT NOT NULL PRIMARY KEY REFERENCES runs (id),
        item TEXT NOT NULL,
        simulated INTEGER NOT NULL,
        first_proof INTEGER NOT NULL,
        failing_since TEXT NOT NULL,
        mended_s BIGINT NOT NULL,
        new_faults INTEGER NOT NULL)""",
    "CREATE INDEX counted_runs_item ON counted_runs (item, run_id)",
    """CREATE TABLE first_faults (
        fault TEXT NOT NULL PRIMARY KEY,
        run_id BIGINT NOT NULL,
        number INTEGER NOT NULL,
        UNIQUE (run_id, number),
        FOREIGN KEY (run_id, number) REFERENCES findings (run_id, number))""",
    """CREATE TABLE fault_names (
        run_id BIGINT NOT NULL,
        number INTEGER NOT NULL,
        simulated INTEGER NOT NULL,
        what TEXT NOT NULL,
        name TEXT NOT NULL,
        PRIMARY KEY (simulated, what, name, run_id, number),
        FOREIGN KEY (run_id, number) REFERENCES first_faults (run_id, number))""",
)

_CONFIRMED = (
    """CREATE TABLE confirmed (
        id {serial},
        run_id BIGINT NOT NULL REFERENCES runs (id),
        finding INTEGER NOT NULL,
        person TEXT NOT NULL,
        said TEXT NOT NULL,
        cause TEXT NOT NULL,
        line TEXT NOT NULL)""",
    "CREATE INDEX confirmed_run ON confirmed (run_id)",
)

_READINGS = (
    """CREATE TABLE readings (
        run_id BIGINT NOT NULL REFERENCES runs (id),
        joint TEXT NOT NULL,
        open INTEGER NOT NULL,
        micro_ohm BIGINT NOT NULL,
        uncertainty_micro_ohm BIGINT NOT NULL,
        limit_micro_ohm BIGINT NOT NULL,
        PRIMARY KEY (run_id, joint))""",
)

_DELETIONS = (
    """CREATE TABLE deletions (
        id {serial},
        hash TEXT NOT NULL UNIQUE,
        made TEXT NOT NULL,
        by_whom TEXT NOT NULL,
        entry TEXT NOT NULL)""",
    """CREATE TABLE deleted_bodies (
        run_id BIGINT NOT NULL PRIMARY KEY REFERENCES runs (id),
        deletion_id BIGINT NOT NULL REFERENCES deletions (id))""",
)

_APPEND_ONLY = (
    "looms",
    "benches",
    "runs",
    "records",
    "journals",
    "findings",
    "finding_places",
    "repairs",
    "adapters",
    "bench_checks",
    "certificates",
)


GUARD_BODY = "BEGIN RAISE EXCEPTION 'append-only'; END"
"""What the guards of PostgreSQL run."""

_GUARD_FUNCTION = (
    f"CREATE FUNCTION loomproof_append_only() RETURNS trigger LANGUAGE plpgsql AS $$ {GUARD_BODY} $$"
)

_IDENTITY = (
    "CREATE TABLE identity (name TEXT NOT NULL PRIMARY KEY)",
    "INSERT INTO identity (name) VALUES ('{identity}')",
)


def _guards(dialect: str, tables: Sequence[str]) -> list[str]:
    """Statements that make tables append-only in the database itself."""
    if dialect == "sqlite":
        return [
            f"CREATE TRIGGER {table}_{verb.lower()} BEFORE {verb} ON {table} "
            "BEGIN SELECT RAISE(ABORT, 'append-only'); END"
            for table in tables
            for verb in ("UPDATE", "DELETE")
        ]
    return [
        f"CREATE TRIGGER {table}_guard BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
        "FOR EACH STATEMENT EXECUTE FUNCTION loomproof_append_only()"
        for table in tables
    ]


_GUARDED = {
    1: _APPEND_ONLY,
    2: ("answers",),
    3: ("identity",),
    4: ("selftests",),
    5: ("heads_met", "outbox", "handed_over"),
    6: ("counted_runs", "first_faults", "fault_names"),
    7: ("confirmed",),
    8: ("readings",),
    9: ("deletions", "deleted_bodies"),
}
"""The tables that each step makes append-only, by its number."""


def guards_of(dialect: str, steps: int) -> dict[str, str]:
    """Return the guards of a store that has taken so many steps: their statements by their names."""
    made = [each for number in range(1, steps + 1) for each in _guards(dialect, _GUARDED.get(number, ()))]
    return {each.split()[2]: each for each in made}


STEPS: tuple[tuple[str, Sequence[str]], ...] = (
    ("looms, runs, findings, repairs", _FIRST),
    ("answers to what findings ask", _ANSWERS),
    ("the store's own name", _IDENTITY),
    ("self-tests of benches", _SELFTESTS),
    ("heads of other chains, and outboxes", _OUTBOX),
    ("what each proof adds to the sums", _COUNTED),
    ("causes that people confirmed", _CONFIRMED),
    ("what joints read", _READINGS),
    ("bodies deleted by a rule", _DELETIONS),
)
"""Name and statements of each step; a step's number is its place here, from 1."""


def run_step(connection: Connection, number: int) -> None:
    """Run one step and record it; the caller holds the transaction."""
    name, statements = STEPS[number - 1]
    sqlite = connection.dialect.name == "sqlite"
    words = {
        "serial": "INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT"
        if sqlite
        else "BIGINT GENERATED BY DEFAULT AS IDENTITY PRIMARY KEY",
        "bytes": "BLOB" if sqlite else "BYTEA",
        "identity": secrets.token_hex(8),
    }
    for statement in statements:
        connection.execute(text(statement.format(**words)))
    if number == 1 and not sqlite:
        connection.execute(text(_GUARD_FUNCTION))
    if statements is _COUNTED:
        count_from(connection, 0)
    if statements is _READINGS:
        fill_readings(connection)
    for statement in _guards(connection.dialect.name, _GUARDED.get(number, ())):
        connection.execute(text(statement))
    connection.execute(
        text("INSERT INTO migrations (number, name) VALUES (:number, :name)"),
        {"number": number, "name": name},
    )
