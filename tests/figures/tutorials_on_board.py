"""The tutorials' lines on the emulated board: does its compiled program show their readers the same findings?

    python -m tests.figures.tutorials_on_board [--short] [--page NAME]

Each line of a page is carried out as `tests.docs.test_tutorials` does on the simulator, but that what proves
or retests does so at the port of an emulated board in a process of its own: the reference scanner as it is
built first, which senses. A fault of the page's bench address is put into the loom on the board. Compared are
verdicts, findings and exit codes; grades and figures are those of another bench. The tutorial of a repaired
harness is about milliohms and a bench with four wires, which no board is: it stays with the simulator.
"""

from __future__ import annotations

import argparse
import os
import re
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from unittest import mock
from urllib.parse import parse_qs

from tests.cli.running import loomproof
from tests.docs.tutorials import ROOT, carry_out
from tests.firmware.building import missing
from tests.firmware.processes import Emulation
from tests.results import table_file

PAGES = ("salvaged_loom", "certificates")

TOLD = re.compile(r"^(?:\d+\. \w+: .*|PASS\b|FAIL\b|UNDECIDED\b)")
ON_A_BENCH = "prove"
OF_A_REAL_ONE = ("--made-safe", "--meter-volts", "0")


class OnBoard:
    """Runs the lines of one page; the board is there from the first line that wants a bench."""

    def __init__(self) -> None:
        self._emulation: Emulation | None = None
        self.proofs = 0

    def run(self, words: list[str], folder: Path) -> tuple[int, str]:
        """Carry one line out; return its exit code and what it shows."""
        if words[0] == ON_A_BENCH and "--bench" in words:
            words = [*self._led(words, folder), *OF_A_REAL_ONE]
            self.proofs += 1
        done = loomproof(*words, cwd=folder)
        if done.returncode in (2, 3):
            sys.stderr.write(f"{words}\n{done.stderr}")
        return done.returncode, done.stdout

    def _led(self, words: list[str], folder: Path) -> list[str]:
        at = words.index("--bench") + 1
        if self._emulation is None:
            self._emulation = Emulation(folder / words[1], ["--any-rate"])
        self._tell("mend")
        for fault in parse_qs(words[at].partition("?")[2]).get("fault", ()):
            self._tell(f"fault {fault}")
        led = [*words[:at], str(self._emulation.address), *words[at + 1 :]]
        return led if "--adapter" in led else [*led, "--adapter", "in-order"]

    def _tell(self, order: str) -> None:
        assert self._emulation is not None
        answer = self._emulation.tell(order, timeout_s=60.0)
        assert answer.startswith("ok"), answer

    def end(self) -> None:
        """Put the board away."""
        if self._emulation is not None:
            self._emulation.end()


def told(lines: Sequence[str]) -> list[str]:
    """Return what must be the same on every bench of what a command shows."""
    return [found[0] for line in lines if (found := TOLD.match(line))]


def compare(name: str) -> tuple[int, int, list[str]]:
    """Carry a tutorial out on its board; return its lines, the proofs among them, and what differs."""
    page = (ROOT / "docs" / "tutorials" / f"{name}.md").read_text(encoding="utf-8")
    board, lines, differs = OnBoard(), 0, list[str]()
    with tempfile.TemporaryDirectory() as folder:
        home = {"LOOMPROOF_HOME": f"{folder}/home", "NO_COLOR": "1"}
        try:
            with mock.patch.dict(os.environ, home):
                for command, shown, _ in carry_out(page, Path(folder), board.run):
                    lines += 1
                    bench = f"loomproof {ON_A_BENCH} " in command.typed
                    said = told(command.shown) if bench else []
                    said = list(command.shown) if command.typed == "echo $?" else said
                    found = list(shown) if command.typed == "echo $?" else told(shown) if bench else []
                    if said != found:
                        differs.append(f"{command.typed}: {said} by the page, {found} on the board")
        finally:
            board.end()
    return lines, board.proofs, differs


def main(argv: Sequence[str]) -> int:
    """Carry out the tutorials; return 1 where a board shows its reader something else."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--short", action="store_true")
    asked.add_argument("--page", choices=sorted(PAGES))
    orders = asked.parse_args(argv)
    if why := missing():
        print(why)
        return 0
    began = time.monotonic()
    names = [orders.page] if orders.page else list(PAGES[:1] if orders.short else PAGES)
    rows = ["| tutorial | lines | proofs on the board | differs |", "| --- | ---: | ---: | --- |"]
    worst = 0
    for name in names:
        lines, proofs, differs = compare(name)
        worst = max(worst, bool(differs))
        rows.append(f"| {name} | {lines} | {proofs} | {'; '.join(differs) or 'nothing'} |")
    short = orders.short or bool(orders.page)
    table_file("figures", "tutorials_on_board", rows, time.monotonic() - began, short=short)
    return worst


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
