"""The screen of naming as a terminal shows it, wide, narrow and while its size changes."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from loomproof.bench.adapter import write_adapter
from loomproof.bench.simulation import Simulation
from loomproof.loom.reading import load
from loomproof.loom.writing import write_folder
from tests.naming.engine import engine, leads, nameless
from tests.simulating import started

TMUX = shutil.which("tmux")
if TMUX is None:
    pytest.skip("tmux is not installed: nothing here shows what a terminal would", allow_module_level=True)

MOST_S = float(os.environ.get("LOOMPROOF_WALK_S", "60"))
REAL = engine()
BARE, TRUTH = nameless(REAL)


class Terminal:
    """A terminal of so many columns and rows, and what stands on it."""

    def __init__(self, folder: Path, columns: int, rows: int, *words: str) -> None:
        self._socket = str(folder / "tmux")
        command = shlex.join([sys.executable, "-m", "loomproof", *words])
        # Kept open behind the command, with its exit code: what it leaves on the terminal is looked at too.
        kept = f"cd {shlex.quote(str(folder))}; echo before; {command}; echo code $?; cat"
        size = ("-x", str(columns), "-y", str(rows))
        self.does("-f", "/dev/null", "new-session", "-d", *size, f"sh -c {shlex.quote(kept)}")

    def does(self, *words: str) -> str:
        assert TMUX is not None
        done = subprocess.run(
            [TMUX, "-S", self._socket, *words], capture_output=True, text=True, check=True, timeout=MOST_S
        )
        return done.stdout

    def presses(self, *keys: str) -> None:
        self.does("send-keys", *keys)

    def turns(self, columns: int, rows: int) -> None:
        """Change its size."""
        self.does("resize-window", "-x", str(columns), "-y", str(rows))

    def shows(self, *patterns: str) -> list[str]:
        """Wait until all of these stand on it; return its lines."""
        until = time.monotonic() + MOST_S
        while True:
            stands = self.does("capture-pane", "-p")
            if all(re.search(pattern, stands) for pattern in patterns):
                return stands.splitlines()
            assert time.monotonic() < until, f"{patterns} never stood there:\n{stands}"

    def end(self) -> None:
        subprocess.run([str(TMUX), "-S", self._socket, "kill-server"], capture_output=True, check=False)


@pytest.fixture
def hand(tmp_path: Path) -> Iterator[Simulation]:
    write_folder(REAL, tmp_path / "engine")
    write_adapter(leads(REAL, TRUTH), tmp_path / "clips.csv")
    write_folder(BARE, tmp_path / "found")
    simulation = started(tmp_path / "engine", tcp=True)
    try:
        yield simulation
    finally:
        simulation.end()


def test_it_looks_right_wide_and_narrow_and_while_its_size_changes(hand: Simulation, tmp_path: Path) -> None:
    words = ("name", "found", "--bench", str(hand.address), "--adapter", "clips.csv", "--car", "engine")
    terminal = Terminal(tmp_path, 120, 36, *words)
    try:
        for columns, rows in ((60, 24), (120, 36)):
            terminal.turns(columns, rows)
            terminal.shows("Touch any end", r"\[Ctrl-D\]", "0 of 60 ends")
        hand.tell("touch INJ2:2")
        lines = terminal.shows("Probe on: a net of 2 ends", r"\[1\] INJ1: injectors", r"What is P18:2\?")
        assert lines[0].endswith("1 touch, 0 of 60 ends named")
        assert re.fullmatch("─+", lines[1])
        hand.tell("lift")
        terminal.shows(r"P6:13 +\? 0\.\d+ Ω ± 0\.\d+ Ω, plug of 24", "> P18:2 +[?] plug of 2")
        # What the car's side is called is offered, and the screen has room for it narrow as well as wide.
        terminal.presses("lam")
        for columns, rows in ((60, 24), (120, 36)):
            terminal.turns(columns, rows)
            terminal.shows("> lam", r"Tab: LAMBDA \(the car's side\)", r"\[1\] INJ1: injectors")
        terminal.presses("C-u")
        terminal.shows("\n>\n")
        terminal.presses("1")
        terminal.shows("P18:2 is INJ1:2. Its net is for", "for injector: injectors")
        terminal.presses("INJ1:2 rd")
        terminal.shows("^> INJ1:2 rd$|\n> INJ1:2 rd\n", "= INJ1:2 is INJ1:2, wire red")
        # Narrower, lower, wider: the line that is typed and what it comes to stand there at any size.
        for narrow, low in ((60, 20), (40, 12), (100, 10), (columns, rows)):
            terminal.turns(narrow, low)
            terminal.shows("> INJ1:2 rd", "= INJ1:2 is INJ1:2", "2 of 60 ends named")
            assert len(terminal.shows("> INJ1:2 rd")) <= low
        terminal.turns(20, 4)
        terminal.shows("> INJ1:2 rd")
        terminal.turns(columns, rows)
        terminal.presses("Enter")
        terminal.shows("> INJ1:2 +red, traced as P18:2")
        terminal.presses("C-d")
        # The terminal has what stood there before, and the sum of the naming.
        terminal.shows("before", "2 of 60 ends named", "code 0")
        (wire,) = [each for each in load(tmp_path / "found").loom.wires if each.colour]
        assert wire.colour == "RD"
    finally:
        terminal.end()
