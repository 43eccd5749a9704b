"""What a vector costs on SPI expanders, from emulated cycles: the same on every machine.

    python -m tests.figures expanders [--short]

A vector is one set of a sensing command: driven, waited for, read, released. Counted are the bytes on SPI
and, from the first one's begin to the last one's end, the cycles that are neither a byte's own nor the settle
time; both for each chip, release and the look whether the chip still answers included. What the line takes
(its bytes' check, the sets' digits; the bytes' own time apart) is told beside it. At 8 MHz a byte takes one
microsecond, and a cycle a sixteenth.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass

from tests.firmware.building import missing
from tests.firmware.circuit import Circuit, bare, on_expanders
from tests.firmware.emulated import HZ
from tests.firmware.expanded import CHIP_POINTS, Expanded
from tests.firmware.terminal import Terminal
from tests.results import table_file

SETTLE_US = 100
BYTES, CYCLES = 12.0, 200.0


@dataclass(frozen=True)
class Vector:
    """A vector's cost: SPI bytes and other cycles of each chip, and what the line's work takes, ms."""

    chips: int
    bytes_a_chip: float
    cycles_a_chip: float
    line_ms: float

    @property
    def time_us(self) -> float:
        """All chips at 8 MHz, µs."""
        return self.chips * (self.bytes_a_chip + 1e6 * self.cycles_a_chip / HZ)


def expander_vector(chips: int, drive: str) -> Vector:
    """Measure a vector alone in its command, that drives ``one`` point, one of each ``chip``, or ``all``."""
    points = chips * CHIP_POINTS
    driven = {"one": 1, "chip": sum(1 << i for i in range(0, points, CHIP_POINTS)), "all": (1 << points) - 1}
    terminal = Terminal(Expanded(Circuit(on_expanders(1, points), bare(points))))
    board = terminal.board
    assert isinstance(board, Expanded)
    terminal.open()
    terminal.ask(f"SENS:SETT {SETTLE_US}")
    line = terminal.line(f"SENS:DRIV? #H{driven[drive]:X}")
    board.run(160_000)
    board.spi_lap()
    began = board.cycle
    board.feed(line)
    out = b""
    while not out.endswith(b"\n"):
        out += board.run(100)
    assert f"#H{driven[drive]:X}*".encode() in out
    whole_s = (board.cycle - began) / HZ - 10.0 * (len(line) + len(out)) / board.rate
    count, busy, span = board.spi_lap()
    assert board.spi_misused == 0
    line_ms = 1e3 * (whole_s - span / HZ)
    return Vector(chips, count / chips, (span - busy - SETTLE_US * 16) / chips, line_ms)


def main(argv: Sequence[str] | None = None) -> int:
    """Measure and print; the exit code says whether a promised figure was missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    given = parser.parse_args(argv)
    if missing():
        print(f"{missing()}: nothing measured")
        return 0
    began = time.monotonic()
    lines = [
        "| points | driven | SPI bytes a chip (≤ 12) | cycles a chip besides (< 200) "
        "| all chips at 8 MHz, µs | line's work, ms |",
        "|---|---|---|---|---|---|",
    ]
    met = True
    for chips in (8, 32) if given.short else (8, 16, 32):
        for drive, words in (("one", "one"), ("chip", "one a chip"), ("all", "all")):
            found = expander_vector(chips, drive)
            met = met and found.bytes_a_chip <= BYTES and found.cycles_a_chip < CYCLES
            lines.append(
                f"| {chips * CHIP_POINTS} | {words} | {found.bytes_a_chip:.2f} | {found.cycles_a_chip:.0f} "
                f"| {found.time_us:.0f} | {found.line_ms:.2f} |"
            )
    lines += ["", "Over 128 points the clock is 4 MHz, since MISO has buffers then: a byte takes 2 µs."]
    table_file("figures", "expanders", lines, time.monotonic() - began, short=given.short)
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())
