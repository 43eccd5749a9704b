"""The reference scanner's portable core under libFuzzer, with address and undefined-behaviour sanitizers.

    python -m tests.fuzz firmware_fuzz [--short] [--seed N] [--jobs N]

Ten minutes for each of four targets (``tests/firmware/fuzz.c`` says what an input means to each). Begins
with the seeds in ``tests/firmware/fuzz_seeds``; what it finds goes to ``fuzz_finds`` beside them, and from
there into ``tests/firmware/test_fuzz.py``.
"""

from __future__ import annotations

import argparse
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from tests.firmware.building import FUZZ_TARGETS, HERE, fuzzers
from tests.results import table_file

FULL_S, SHORT_S = 600, 5


def fuzz(target: str, seconds: int, seed: int) -> tuple[int, int, int]:
    """Fuzz one target; return inputs tried, branches covered and finds."""
    finds = HERE / "fuzz_finds" / target
    finds.mkdir(parents=True, exist_ok=True)
    before = set(finds.iterdir())
    with tempfile.TemporaryDirectory() as corpus:
        done = subprocess.run(
            [
                fuzzers() / target, corpus, HERE / "fuzz_seeds" / target, f"-max_total_time={seconds}",
                f"-seed={seed}", "-max_len=1200", "-timeout=20", f"-artifact_prefix={finds}/",
                "-print_final_stats=1",
            ],
            stderr=subprocess.PIPE, text=True, errors="replace", check=False,
        )  # fmt: skip
    tried = re.findall(r"number_of_executed_units: (\d+)", done.stderr)
    covered = re.findall(r"cov: (\d+)", done.stderr)
    found = set(finds.iterdir()) - before
    if done.returncode and not found:
        print(done.stderr[-3000:])
        raise SystemExit(f"{target} ended with {done.returncode} and left no find")
    if not any(finds.iterdir()):
        finds.rmdir()
    return int(tried[-1]) if tried else 0, int(covered[-1]) if covered else 0, len(found)


def main(argv: Sequence[str] | None = None) -> int:
    """Fuzz all four; the exit code says whether anything was found."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1, help="how many targets at a time")
    given = parser.parse_args(argv)
    if not shutil.which("clang"):
        print("clang is not installed (Debian: clang): nothing fuzzed")
        return 0
    began = time.monotonic()
    seconds = SHORT_S if given.short else FULL_S
    lines = ["| target | seconds | inputs | branches covered | finds |", "|---|---|---|---|---|"]
    worst = 0
    names = [name.lower() for name in FUZZ_TARGETS]
    fuzzers()  # built once, before several want it
    with ThreadPoolExecutor(given.jobs) as pool:
        results = list(pool.map(lambda name: fuzz(name, seconds, given.seed), names))
    for name, (tried, covered, found) in zip(names, results, strict=True):
        worst += found
        lines.append(f"| {name} | {seconds} | {tried} | {covered} | {found} |")
    if (folder := Path(HERE / "fuzz_finds")).exists() and not any(folder.iterdir()):
        folder.rmdir()
    table_file("fuzz", "firmware_fuzz", lines, time.monotonic() - began, short=given.short)
    return 1 if worst else 0


if __name__ == "__main__":
    sys.exit(main())
