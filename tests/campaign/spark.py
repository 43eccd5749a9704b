"""The questions over a data set, asked of Spark in local mode: as DuckDB answers them, and plain counting.

    python -m tests.campaign spark [--short] [--seed=7]

Runs by chance (`tests.fleet.filled`), real and on simulated benches; they are put into a store, the
store into a data set that grows in two steps, and all that is told of it is compared, to the last digit
and in its order; what joints read over time, how long they last and which causes were confirmed
likewise. Wants PySpark (the extra ``spark``) and Java; where one is missing, that is said and nothing is
tried.
"""

from __future__ import annotations

import argparse
import importlib
import importlib.util
import os
import shutil
import sys
import tempfile
import time
from pathlib import Path

from loomproof.fleet import causes, joints, questions
from loomproof.fleet.parquet import add_to
from loomproof.fleet.tables import Tables, of_dataset, of_store, on_spark
from loomproof.records.store import open_store
from tests.fleet.filled import fill, proofs, truth
from tests.fleet.joints_filled import fill_joints, made
from tests.fleet.told import differences
from tests.results import table_file


def missing() -> list[str]:
    """Return what Spark wants and this machine has not."""
    return [
        *(["PySpark (the extra spark)"] if importlib.util.find_spec("pyspark") is None else []),
        *(["Java"] if shutil.which("java") is None and "JAVA_HOME" not in os.environ else []),
    ]


def asked(tables: Tables) -> list[object]:
    """Return what is told of joints over time and of confirmed causes, on real benches and simulated ones."""
    ways = (joints.drift, joints.survival, joints.without_serial, causes.confirmed)
    return [way(tables, simulated=simulated) for way in ways for simulated in (False, True)]


def over_time(rows: list[str]) -> int:
    """Compare what is told of made-up joints, add a row for each lot, and return how much differs."""
    wrong = 0
    for looms, of_each, count in ((8, 7, 12), (40, 9, 10)):
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place)
            with open_store(str(folder / "records.db")) as store:
                fill_joints(store, *made(seed=3, looms=looms, joints=of_each, proofs=count))
                with of_store(store.url) as tables:
                    here = asked(tables)
                add_to(folder / "set", store)
            with on_spark(folder / "set", "local[2]") as tables:
                there = asked(tables)
        drifting = getattr(here[0], "drifting", ())
        lost = getattr(here[2], "lost", 0)
        differs = sum(one != two for one, two in zip(here, there, strict=True))
        wrong += differs
        rows.append(
            f"| {looms * count} | {looms} looms, {len(drifting)} joints drift, {lost} lost | {differs} | |"
        )
    return wrong


def main(argv: list[str] | None = None) -> int:
    """Fill, ask, compare, print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--seed", type=int, default=7)
    chosen = parser.parse_args(argv)
    if lacking := missing():
        print(f"not asked: {' and '.join(lacking)} missing")
        return 0
    begun = time.monotonic()
    rows = [
        "| runs | findings | differs from DuckDB | differs from counting |",
        "| ---: | ---: | ---: | ---: |",
    ]
    wrong = 0
    for count in (300, 1_500) if chosen.short else (1, 300, 1_500, 30_000):
        filled = list(proofs(chosen.seed, count, looms=max(count // 8, 10)))
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place)
            with open_store(str(folder / "records.db")) as store:
                fill(store, filled)
                add_to(folder / "set", store)
            with of_dataset(folder / "set") as tables:
                told, first = questions.ask(tables), asked(tables)
            with on_spark(folder / "set", "local[2]") as tables:
                other, there = questions.ask(tables), asked(tables)
        here = sum(told[each] != other[each] for each in told)
        here += sum(one != two for one, two in zip(first, there, strict=True))
        plain = [what for each in other for what in differences(other[each], truth(filled, simulated=each))]
        wrong += here + len(plain)
        rows.append(
            f"| {count} | {sum(len(each.faults) for each in filled)} | {here} | {', '.join(plain) or 0} |"
        )
    wrong += over_time(rows)
    version = importlib.import_module("pyspark").__version__
    rows += ["", f"Spark {version} in local mode, seed {chosen.seed}."]
    table_file("campaign", "spark", rows, time.monotonic() - begun, short=chosen.short)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
