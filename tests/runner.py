"""Runs every script of a folder in turn: each has ``main(argv) -> int`` and takes ``--short``."""

from __future__ import annotations

import importlib
import sys
import time
from pathlib import Path


def run_all(package: str, argv: list[str]) -> int:
    """Run the scripts named on the command line, or all of the folder; return the worst exit code."""
    folder = Path(__file__).parent / package
    flags = [word for word in argv if word.startswith("-")]
    names = [word for word in argv if not word.startswith("-")]
    scripts = names or sorted(
        path.stem for path in folder.glob("*.py") if not path.stem.startswith("_") and is_script(path)
    )
    worst = 0
    for name in scripts:
        print(f"== {package}/{name} {' '.join(flags)}", flush=True)
        begun = time.monotonic()
        code = importlib.import_module(f"tests.{package}.{name}").main(flags)
        print(f"== {package}/{name}: exit {code}, {time.monotonic() - begun:.1f} s", flush=True)
        worst = max(worst, code)
    return worst


def is_script(path: Path) -> bool:
    """Whether a file of the folder is a script and not a helper of one."""
    return "def main(" in path.read_text(encoding="utf-8")


def command_line(package: str) -> None:
    """Run as ``python -m tests.<package>``."""
    sys.exit(run_all(package, sys.argv[1:]))
