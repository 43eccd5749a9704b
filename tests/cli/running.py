"""Runs the command as a user does, in a process of its own."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path


def loomproof(*words: str | Path, cwd: Path | None = None, **more: str) -> subprocess.CompletedProcess[str]:
    """Run ``loomproof`` and return how it ended; a traceback is a failure whatever the exit code."""
    done = subprocess.run(
        [sys.executable, "-m", "loomproof", *map(str, words)],
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        cwd=cwd,
        env={**os.environ, **more},
        timeout=120,
        check=False,
    )
    assert "Traceback" not in done.stderr, done.stderr
    return done
