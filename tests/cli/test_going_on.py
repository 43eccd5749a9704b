"""What a person is told where a command stops, or was nearly typed right."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path

import click
import pytest

from loomproof.screens import terminal_operator
from tests.cli.running import loomproof
from tests.simulating import started


def test_a_stopped_trace_says_the_whole_command_that_goes_on(fixtures: Path, tmp_path: Path) -> None:
    loom = fixtures / "hillclimb_engine"
    running = started(loom, ["--points", "64"])
    try:
        words = [str(loom), "--bench", str(running.address), "--to", str(tmp_path / "my found"), "--hook-ups"]
        done = loomproof("trace", *words, "--split", "ECU-A", "--made-safe", "--meter-volts", "0")
    finally:
        running.end()
    assert done.returncode == 3, done.stderr
    assert "Standard input is no terminal" in done.stderr
    _, mark, line = done.stderr.partition("Go on with: loomproof ")
    assert mark
    assert shlex.split(line.splitlines()[0]) == ["trace", *words, "--split", "ECU-A", "--continue"]


def test_no_to_the_question_of_plugging_says_what_to_do(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    replies = iter(("n", "y"))
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(click, "prompt", lambda *_, **__: next(replies))
    assert terminal_operator.TerminalOperator().plug(None, 1)  # type: ignore[arg-type]
    assert "Plug it as it stands above, then type y" in capsys.readouterr().err


def test_help_is_a_command_too() -> None:
    done = loomproof("help")
    assert done.returncode == 0
    assert done.stdout == loomproof("--help").stdout
    assert loomproof("help", "prove").stdout == loomproof("prove", "--help").stdout


def test_who_asks_for_places_is_told_that_they_are_read_anyway(fixtures: Path) -> None:
    done = loomproof("prove", fixtures / "hillclimb_engine", "--locate")
    assert done.returncode == 2
    assert "unless --no-locate is said" in done.stderr
