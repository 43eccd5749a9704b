"""Questions over very many runs: time and memory on a data set, SQLite and PostgreSQL.

    python -m tests.figures fleet [--short] [--runs=1000000] [--times=3] [--keep=FOLDER]

Stores and data sets are filled by their tables alone (`fleet_rows`, `fleet_stores`). Each answer is asked for
by the command itself, in a process of its own; the middle one of several by time is told. Its peak of memory
is read when it ends; a server's own memory and processor time are not counted. The large data set goes on
in time, with looms of its own: ten times the runs. Exits with 1 where answers differ, where findings and
places that are counted by plain SQL, or the store's own counting of a small block, say something else, or
where a figure that must be reached is missed.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any, NamedTuple

from sqlalchemy import select

import loomproof
from loomproof.fleet.layout import VERSION, About
from loomproof.fleet.parquet import _whole
from loomproof.records.counting import COUNTED, count_from
from loomproof.records.store import open_store
from tests.figures.fleet_rows import make, write_parts
from tests.figures.fleet_stores import fill_postgresql, fill_sqlite
from tests.figures.size import measured
from tests.records import postgres
from tests.results import table_file

SEED = 20261129
TIMES_LARGE = 10
MOST_MB = 500


class Asked(NamedTuple):
    """One answer: seconds by the clock and of the processor, peak in MB, and what was printed."""

    took_s: float
    cpu_s: float
    peak_mb: float
    said: str


def asked(words: list[str], home: Path, times: int) -> Asked:
    """Run a command several times; return the middle one by its time."""
    found = []
    for _ in range(times):
        begun = time.monotonic()
        one = measured(home, *words)
        if one.code:
            raise SystemExit(f"{' '.join(words)}: exit {one.code}")
        found.append(Asked(time.monotonic() - begun, one.cpu_s, one.peak_mb, "\n".join(one.said)))
    print(
        " ".join(words[:3]),
        *(f"{one.took_s:.1f} s, {one.cpu_s:.1f} s, {one.peak_mb:.0f} MB" for one in found),
        sep="; ",
        file=sys.stderr,
        flush=True,
    )
    return sorted(found)[times // 2]


def main(argv: list[str] | None = None) -> int:
    """Fill, ask, compare, print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true", help="a fiftieth, of which nothing must be reached")
    parser.add_argument("--runs", type=int, default=0)
    parser.add_argument("--times", type=int, default=3)
    parser.add_argument("--keep", type=Path, help="where what is made stays, and is taken from the next time")
    chosen = parser.parse_args(argv)
    runs = chosen.runs or (20_000 if chosen.short else 1_000_000)
    begun = time.monotonic()
    subprocess.run(
        [sys.executable, "-m", "compileall", "-q", str(Path(loomproof.__file__).parent)], check=True
    )
    told: dict[str, tuple[Asked, float]] = {}
    good = True
    with contextlib.ExitStack() as stack:
        folder = chosen.keep or Path(stack.enter_context(tempfile.TemporaryDirectory()))
        folder.mkdir(exist_ok=True)
        database = make(SEED, runs)
        findings = database.execute("SELECT count(*) FROM findings").fetchone()[0]
        if not (folder / "set").exists():
            for path in (folder / "set", folder / "large"):
                write_parts(database, path, 0)
                _whole(path, About(VERSION, "made up", runs, "", 0, "kept", 1))
        if not (folder / "records.db").exists():
            fill_sqlite(database, folder / "records.db")
        plain = _by_plain_sql(database)
        ask = ["report", "--dataset", str(folder / "set")]
        told["DuckDB over Parquet"] = asked(ask, folder, chosen.times), 2
        if postgres.programs() is not None:
            with postgres.running("-c fsync=off -c synchronous_commit=off") as server:
                address = server.database()
                fill_postgresql(database, address, folder)
                ask = ["report", "--tables", "--store", address]
                told["PostgreSQL"] = asked(ask, folder, chosen.times), 10
        database.close()
        ask = ["report", "--tables", "--store", str(folder / "records.db")]
        told["SQLite"] = asked(ask, folder, chosen.times), 20
        if len({each.said for each, _ in told.values()}) != 1:
            print("ANSWERS DIFFER")
            good = False
        missing = [line for line in plain if line not in told["SQLite"][0].said.splitlines()]
        if missing:
            print("COUNTED BY PLAIN SQL, AND NOT SAID:", *missing, sep="\n")
            good = False
        if not _counted_alike(folder):
            print("THE STORE COUNTS OTHERWISE")
            good = False
        for block in range(len(list((folder / "large").glob("made-*"))) + 1, TIMES_LARGE):
            database = make(SEED, runs, block)
            write_parts(database, folder / "large", block)
            database.close()
            (folder / "large" / f"made-{block}").touch()
        ask = ["report", "--dataset", str(folder / "large")]
        large = f"DuckDB over Parquet, {TIMES_LARGE * runs} runs"
        told[large] = asked(ask, folder, chosen.times), 15
    load = os.getloadavg()[0]
    rows = [
        f"{runs} runs with {findings} findings, seed {SEED}; load {load:.0f} on {os.cpu_count()} cores as it "
        "ended; the middle of " + f"{chosen.times} each.",
        "",
        "| on | s by the clock | s of the command's processor | peak of the command, MB | must reach |",
        "| --- | ---: | ---: | ---: | --- |",
    ]
    for name, (each, most_s) in told.items():
        reached = each.took_s < most_s and each.peak_mb < MOST_MB
        good &= reached or chosen.short
        rows.append(
            f"| {name} | {each.took_s:.1f} | {each.cpu_s:.1f} | {each.peak_mb:.0f} | "
            f"{most_s:g} s, {MOST_MB} MB{'' if reached else ' **missed**'} |"
        )
    growth = told[large][0].took_s / told["DuckDB over Parquet"][0].took_s
    good &= growth <= TIMES_LARGE or chosen.short
    rows += [
        "",
        f"{TIMES_LARGE} times the data took {growth:.1f} times as long. "
        f"Answers equal on all, and as counted by plain SQL: {'yes' if good else 'see above'}.",
    ]
    table_file("figures", "fleet", rows, time.monotonic() - begun, short=chosen.short)
    return 0 if good else 1


def _by_plain_sql(database: Any) -> list[str]:
    """Return lines that must be said, counted from findings and places and by no count that was kept."""
    real = "kind = 'proof' AND NOT starts_with(bench, 'simulated bench @ ')"
    looms, proofs, passed = database.execute(
        "SELECT count(DISTINCT (loom, serial)), count(*), count(*) FILTER (verdict = 'pass') "
        f"FROM runs WHERE {real}"
    ).fetchone()
    lines = [f"{looms} looms, {proofs} proofs, {passed} passed"]
    faults = (
        "SELECT min({'run_id': f.run_id, 'number': f.number, 'kind': f.kind}) AS first FROM findings f JOIN "
        f"(SELECT run_id, loom, serial FROM runs WHERE {real}) USING (run_id) JOIN "
        "(SELECT run_id, number, list_sort(list(what || ' ' || name)) AS places FROM places "
        "WHERE what IN ('wire', 'component') GROUP BY ALL) USING (run_id, number) WHERE severity = 'fault' "
        "GROUP BY loom, serial, if(cause IN ('leak', 'added_part'), 'path', f.kind), places"
    )
    database.execute(f"CREATE TEMP TABLE plain AS SELECT unnest(first) FROM ({faults})")
    for what in ("connector", "wire", "component"):
        counted = database.execute(
            f"SELECT name, count(*) FROM plain JOIN places USING (run_id, number) WHERE what = '{what}' "
            "GROUP BY name ORDER BY count(*) DESC, name LIMIT 15"
        ).fetchall()
        lines += [f"  {times:7d}  {name}" for name, times in counted]
    counted = database.execute("SELECT kind, count(*) FROM plain GROUP BY kind").fetchall()
    return lines + [f"  {times:7d}  {kind.replace('_', ' ')}" for kind, times in counted]


def _counted_alike(folder: Path) -> bool:
    """Whether the store's own counting says of a small block what `fleet_rows` worked out by windows.

    What stands for a loom and for a fault is left out: that is a digest of another kind.
    """
    database = make(SEED, 20_000)
    kept = []
    for counted in (True, False):
        path = folder / f"counted-{counted}.db"
        fill_sqlite(database, path, counted=counted)
        with open_store(str(path)) as store:
            if not counted:
                with store.writing() as connection:
                    count_from(connection, 0)
            with store.reading() as connection:
                columns = [
                    [each for each in table.c if each.name not in ("item", "fault")] for table in COUNTED
                ]
                kept.append([set(map(tuple, connection.execute(select(*of)))) for of in columns])
        path.unlink()
    database.close()
    return kept[0] == kept[1] and all(kept[0])


if __name__ == "__main__":
    sys.exit(main())
