"""The tutorials' lines on the emulated board: does its compiled program show their readers the same findings?

    python -m tests.figures.tutorials_on_board [--short] [--page NAME]

Each line of a page is carried out as `tests.docs.test_tutorials` does on the simulator, but that what plans,
proves or retests does so at the port of an emulated board in a process of its own. A fault of the page's
bench address is put into the loom on the board. Compared are verdicts, findings, exit codes, and where both
benches read ohms grades; figures are those of another bench, and so is what its plan says that one reading of
each joint decides.

Two pages run on the reference scanner as it is built first, which senses. The one of a repaired harness is
about milliohms: its board has converter and multiplexers, and leads of a decimetre. Where the page's bench is
too coarse for a joint, the board's leads were never zeroed, which is what its reader is told to mend; where
the page's bench reads with four wires, they were, by `loomproof bench zero` over a shorting plug.
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

from loomproof.bench.adapter import in_order, write_adapter
from loomproof.loom.reading import load
from tests.cli.running import loomproof
from tests.docs.tutorials import ROOT, Command, carry_out
from tests.firmware.building import missing
from tests.firmware.processes import Emulation
from tests.results import table_file

SENSES = ("--any-rate",)
READS_OHMS = ("--any-rate", "--ohms")
PAGES = {"salvaged_loom": SENSES, "certificates": SENSES, "repaired_harness": READS_OHMS}
"""Each tutorial with what its board is."""

TOLD = re.compile(
    r"^(?:\d+\. \w+: .*|PASS\b|FAIL\b|UNDECIDED\b|grade \w+|  finding \d+ is .*"
    r"|(?:  For more: )?Zero the leads with this meter: up to \d+ of \d+ limits are then decided\.)"
)
GRADED = re.compile(r"^(?:grade |.*Zero the leads)")
DECIDED = re.compile(r"\d+ of \d+ limits are decided for every", re.MULTILINE)
DRIVING = ("prove", "retest")
ON_A_BENCH = ("plan", *DRIVING)
OF_A_REAL_ONE = ("--made-safe", "--meter-volts", "0")
FOUR_WIRES = "four-wire="
ZEROED = "zeroed.csv"
LEAD_OHM = 0.008
"""Each lead has up to that: 15 cm of 0.35 mm², by 54.4 Ω/km of IEC 60228, table 3 (as quoted)."""


class OnBoard:
    """Runs the lines of one page; the board is there from the first line that wants a bench."""

    def __init__(self, board: Sequence[str]) -> None:
        self._board = board
        self._emulation: Emulation | None = None
        self.proofs = 0
        self.plans = list[str]()

    def run(self, words: list[str], folder: Path) -> tuple[int, str]:
        """Carry one line out; return its exit code and what it shows."""
        if words[0] in ON_A_BENCH and "--bench" in words:
            words = self._led(words, folder)
            self.proofs += words[0] in DRIVING
        done = loomproof(*words, cwd=folder)
        if done.returncode in (2, 3):
            sys.stderr.write(f"{words}\n{done.stderr}")
        self.plans += [found.removesuffix(" for every") for found in DECIDED.findall(done.stdout)]
        return done.returncode, done.stdout

    def _led(self, words: list[str], folder: Path) -> list[str]:
        at = words.index("--bench") + 1
        where = folder / next(word for word in words[1:] if (folder / word).is_dir())
        if self._emulation is None:
            self._emulation = Emulation(where, self._board)
            self._tell(f"leads {LEAD_OHM}")
        fine = FOUR_WIRES in words[at] and self._board == READS_OHMS
        leads = self._zeroed(where, folder) if fine else "in-order"
        self._tell("mend")
        for fault in parse_qs(words[at].partition("?")[2]).get("fault", ()):
            self._tell(f"fault {fault}")
        led = [*words[:at], str(self._emulation.address), *words[at + 1 :]]
        led = led if "--adapter" in led else [*led, "--adapter", leads]
        return [*led, *OF_A_REAL_ONE] if words[0] in DRIVING else led

    def _zeroed(self, where: Path, folder: Path) -> str:
        """Return the table of the leads as the board read them over a shorting plug, once for a page."""
        table = folder / ZEROED
        if not table.exists():
            assert self._emulation is not None
            leads = in_order(load(where).loom.cavities)
            write_adapter(leads, table)
            self._tell("short")
            address = str(self._emulation.address)
            done = loomproof(
                "bench", "zero", "--adapter", ZEROED, "--bench", address, "--made-safe", cwd=folder
            )
            assert done.returncode == 0, done.stderr
        return ZEROED

    def _tell(self, order: str) -> None:
        assert self._emulation is not None
        answer = self._emulation.tell(order, timeout_s=60.0)
        assert answer.startswith("ok"), answer

    def end(self) -> None:
        """Put the board away."""
        if self._emulation is not None:
            self._emulation.end()


def told(lines: Sequence[str], *, graded: bool) -> list[str]:
    """Return what must be the same on every bench of what a command shows; grades where both read ohms."""
    said = [found[0] for line in lines if (found := TOLD.match(line))]
    return said if graded else [line for line in said if not GRADED.match(line)]


def compared(command: Command, shown: Sequence[str], *, graded: bool) -> tuple[list[str], list[str]]:
    """Return what the page says of a line and what the board showed, as far as both must be the same."""
    if command.typed == "echo $?":
        return list(command.shown), list(shown)
    if not any(f"loomproof {each} " in command.typed for each in ON_A_BENCH):
        return [], []
    return told(command.shown, graded=graded), told(shown, graded=graded)


def compare(name: str) -> tuple[list[str], list[str]]:
    """Carry a tutorial out on its board; return its row up to what differs, and that."""
    page = (ROOT / "docs" / "tutorials" / f"{name}.md").read_text(encoding="utf-8")
    board, lines, differs = OnBoard(PAGES[name]), 0, list[str]()
    graded = PAGES[name] == READS_OHMS
    with tempfile.TemporaryDirectory() as folder:
        home = {"LOOMPROOF_HOME": f"{folder}/home", "NO_COLOR": "1"}
        try:
            with mock.patch.dict(os.environ, home):
                for command, shown, _ in carry_out(page, Path(folder), board.run):
                    lines += 1
                    said, found = compared(command, shown, graded=graded)
                    if said != found:
                        differs.append(f"{command.typed}: {said} by the page, {found} on the board")
        finally:
            board.end()
    return [
        name,
        " ".join(PAGES[name][1:]) or "as it is",
        f"{lines}",
        f"{board.proofs}",
        "; ".join(board.plans),
    ], differs


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
    names = [orders.page] if orders.page else list(PAGES)[: 1 if orders.short else None]
    rows = [
        "| tutorial | board | lines | proofs on it | its plans say | differs |",
        "| --- | --- | ---: | ---: | --- | --- |",
    ]
    worst = 0
    for name in names:
        row, differs = compare(name)
        worst = max(worst, bool(differs))
        rows.append(f"| {' | '.join(row)} | {'; '.join(differs) or 'nothing'} |")
    short = orders.short or bool(orders.page)
    table_file("figures", "tutorials_on_board", rows, time.monotonic() - began, short=short)
    return worst


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
