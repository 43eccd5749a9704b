"""Questions over very many runs: time and memory on a data set, SQLite and PostgreSQL.

Stores are filled by their tables alone (tests/fleet/filled.py). Each answer is asked for by the command
itself, in a process of its own, whose peak memory is read when it ends; a server's own memory is not counted.
"""

from __future__ import annotations

import argparse
import importlib
import platform
import sys
import tempfile
import time
from pathlib import Path

from loomproof.fleet.parquet import add_to
from loomproof.records.store import open_store
from tests.figures.size import measured
from tests.fleet.filled import fill, proofs
from tests.records import postgres

SEED = 20261129


def asked(words: list[str], home: Path) -> tuple[float, float, str]:
    """Run a command; return its seconds, its peak in MB, and what it printed."""
    begun = time.monotonic()
    found = measured(home, *words)
    if found.code:
        raise SystemExit(f"{' '.join(words)}: exit {found.code}")
    return time.monotonic() - begun, found.peak_mb, "\n".join(found.said)


def main(argv: list[str] | None = None) -> int:
    """Fill, ask, compare, print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--runs", type=int, default=0)
    parser.add_argument("--large", type=int, default=0, help="runs of the large data set (Parquet alone)")
    chosen = parser.parse_args(argv)
    runs = chosen.runs or (20_000 if chosen.short else 1_000_000)
    large = chosen.large or (60_000 if chosen.short else 10_000_000)
    print(f"{platform.machine()}, Python {platform.python_version()}, {runs} runs, seed {SEED}\n")
    print("| on | seconds | peak of the command, MB |\n| --- | --- | --- |")
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        made = list(proofs(SEED, runs, looms=max(runs // 8, 10)))
        findings = sum(len(proof.faults) for proof in made)
        told = {}
        with open_store(str(folder / "records.db")) as store:
            fill(store, made)
            begun = time.monotonic()
            add_to(folder / "set", store)
            print(f"| making the data set | {time.monotonic() - begun:.1f} | |")
        where = {"DuckDB over Parquet": ["--dataset", str(folder / "set")]}
        where["SQLite"] = ["--tables", "--store", str(folder / "records.db")]
        if postgres.programs() is not None:
            with postgres.running("-c fsync=off -c synchronous_commit=off") as server:
                address = server.database()
                with open_store(address) as store:
                    fill(store, made)
                    with store.writing() as connection:
                        connection.exec_driver_sql("ANALYZE")
                told["PostgreSQL"] = asked(["report", "--tables", "--store", address], folder)
        del made
        for name, words in where.items():
            told[name] = asked(["report", *words], folder)
        for name, (took, peak, _) in told.items():
            print(f"| {name} | {took:.1f} | {peak:.0f} |", flush=True)
        equal = len({text for _, _, text in told.values()}) == 1
        # The large one is the same months again with other looms and ids, written as files.
        copies = large // runs
        _copies(folder / "set", copies)
        took, peak, _ = asked(["report", "--dataset", str(folder / "set")], folder)
        print(f"| DuckDB over Parquet, {copies * runs} runs | {took:.1f} | {peak:.0f} |")
    print(f"\n{runs} runs with {findings} findings; answers equal on all: {'yes' if equal else 'NO'}")
    return 0 if equal else 1


def _copies(folder: Path, copies: int) -> None:
    pc, pq = importlib.import_module("pyarrow.compute"), importlib.import_module("pyarrow.parquet")

    for path in sorted(folder.glob("*/month=*/*.parquet")):
        table = pq.read_table(path)
        for copy in range(1, copies):
            other = table
            if "run_id" in table.column_names:
                place = table.column_names.index("run_id")
                other = other.set_column(place, "run_id", pc.add(table["run_id"], copy * 100_000_000))
            if "serial" in table.column_names:
                place = table.column_names.index("serial")
                joined = pc.binary_join_element_wise(table["serial"], f" {copy}", "")
                other = other.set_column(place, "serial", joined)
            pq.write_table(
                other, path.with_name(f"part-9{copy:07d}-{path.name[5:13]}.parquet"), compression="zstd"
            )


if __name__ == "__main__":
    sys.exit(main())
