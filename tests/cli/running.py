"""Runs the command as a user types it: as a process, or within this one with all that a process has."""

from __future__ import annotations

import contextlib
import io
import os
import subprocess
import sys
from pathlib import Path
from unittest import mock

from loomproof.cli.main import run


def process(*words: str | Path, cwd: Path | None = None, **more: str) -> subprocess.CompletedProcess[str]:
    """Start ``loomproof`` and return how it ended; a traceback is a failure whatever the exit code."""
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


def loomproof(*words: str | Path, cwd: Path | None = None, **more: str) -> subprocess.CompletedProcess[str]:
    """Run the command here: its own streams, folder and environment, nobody to answer, and its exit code.

    Half of what a short proof costs as a process is importing; only tests of the process itself pay that.
    What would be a traceback there is an exception here.
    """
    arguments = [str(word) for word in words]
    out, err = io.BytesIO(), io.BytesIO()
    with (
        contextlib.ExitStack() as stack,
        io.TextIOWrapper(out, encoding="utf-8", errors="replace") as stdout,
        io.TextIOWrapper(err, encoding="utf-8", errors="replace") as stderr,
        Path(os.devnull).open(encoding="utf-8") as stdin,
    ):
        stack.enter_context(mock.patch.dict(os.environ, more))
        stack.enter_context(mock.patch.multiple(sys, stdin=stdin, stdout=stdout, stderr=stderr))
        if cwd is not None:
            stack.enter_context(contextlib.chdir(cwd))
        code = run(arguments)
        stdout.flush()
        stderr.flush()
        # Windows ends lines its own way; what was meant is one line.
        shown = [stream.getvalue().decode("utf-8").replace("\r\n", "\n") for stream in (out, err)]
    return subprocess.CompletedProcess(["loomproof", *arguments], code, *shown)
