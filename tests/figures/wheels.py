"""Has every locked package a wheel, for each system and Python that the program is said to install on?

    python -m tests.figures wheels [--short]

Asks the package index by `uv` (as `make lock` does) what it would install of a lock by its hashes, from
wheels alone, and downloads none. Nothing is run: that a wheel exists is not that the program works there.
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
from pathlib import Path

from tests.results import table_file

ROOT = Path(__file__).parents[2]
PYTHONS = ("3.11", "3.12", "3.13", "3.14")
SYSTEMS = {
    "Linux, x86_64": "x86_64-manylinux_2_28",
    "Linux, arm64": "aarch64-manylinux_2_28",
    "Windows, x86_64": "x86_64-pc-windows-msvc",
    "macOS, arm64": "aarch64-apple-darwin",
    "macOS, x86_64": "x86_64-apple-darwin",
}
"""What `uv` calls each; of Linux those with the GNU C library 2.28 or newer."""
LOCKS = ("runtime", "dev", "docs")


def asked(lock: str, system: str, python: str) -> tuple[int, str]:
    """Return how many packages would be installed, and else what is missing."""
    with tempfile.TemporaryDirectory() as folder:
        done = subprocess.run(
            ["uv", "pip", "install", "--dry-run", "--no-deps", "--only-binary", ":all:", "--require-hashes",
             "--python-platform", SYSTEMS[system], "--python-version", python, "--target", folder,
             "-r", str(ROOT / "requirements" / f"{lock}.txt")],
            capture_output=True, text=True, check=False,
        )  # fmt: skip
    missing = re.findall(r"Because (\S+==\S+) has no", done.stderr)
    count = len(re.findall(r"^ \+ ", done.stderr, re.MULTILINE))
    why = ", ".join(missing) or done.stderr.strip().splitlines()[-1]
    return count, why if done.returncode or not count else ""


def main(argv: Sequence[str]) -> int:
    """Ask for all of them; return 1 where a wheel is missing."""
    orders = argparse.ArgumentParser(description=__doc__)
    orders.add_argument("--short", action="store_true")
    short = orders.parse_args(argv).short
    if not shutil.which("uv"):
        print("uv is not here: pip install uv")
        return 0
    began, missing = time.monotonic(), False
    pythons, locks = (PYTHONS[-1:], LOCKS[:1]) if short else (PYTHONS, LOCKS)
    rows = [f"| lock | system | {' | '.join(pythons)} |", f"| --- | --- |{' ---: |' * len(pythons)}"]
    for lock in locks:
        for system in SYSTEMS:
            cells = []
            for python in pythons:
                count, why = asked(lock, system, python)
                missing = missing or bool(why)
                cells.append(why or f"all {count}")
            rows.append(f"| {lock} | {system} | {' | '.join(cells)} |")
    rows += ["", "On Windows and macOS nothing of it was ever run."]
    table_file("figures", "wheels", rows, time.monotonic() - began, short=short)
    return int(missing)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
