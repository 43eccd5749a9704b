"""What the reference scanner reads with converter and multiplexers, from emulated cycles.

    python -m tests.figures ohms [--short] [--seed N]

The compiled program on an emulated chip; converter, lines, switches, pins and resistors with errors drawn
anew for every board (`tests.firmware.converter`, `tests.firmware.tapped`). Each board is calibrated by its
own commands, with a resistor of 1 kΩ that is off by up to 0.1 %; then its protection resistors move by up
to 0.1 % each, as 10 K and 100 ppm/K do.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tests.firmware.building import missing
from tests.firmware.circuit import bare
from tests.firmware.emulated import HZ
from tests.firmware.ohming import REFERENCE_OHM, OhmBoard, between, calibrated
from tests.firmware.tapped import POINTS, BoardOnTaps
from tests.results import table_file

OHMS = (0.001, 0.003, 0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 100.0, 1e3, 1e4, 1e5)
PROMISED_TO_OHM = 10.0
OFFSET_OHM, RATIO, REPEATS_OHM = 0.002, 0.005, 0.3e-3
MOVED = 1e-3


@dataclass(frozen=True)
class Read:
    """One resistance on one board between one pair: largest error and standard deviation, Ω."""

    ohm: float
    error: float
    deviation: float

    @property
    def share(self) -> float:
        """The error as a share of its limit."""
        return abs(self.error) / (OFFSET_OHM + RATIO * self.ohm)


def a_board(seed: int) -> OhmBoard:
    """Return a board that was calibrated, and has moved since."""
    rng = np.random.default_rng([seed, 19])
    eeprom = calibrated(seed, true_ohm=REFERENCE_OHM * (1.0 + float(rng.uniform(-1e-3, 1e-3))))
    circuit = BoardOnTaps(seed, bare(POINTS))
    moved = circuit.pins.series_ohm * (1.0 + rng.uniform(-MOVED, MOVED, POINTS))
    circuit.pins = replace(circuit.pins, series_ohm=moved)
    return OhmBoard(circuit, seed, eeprom=eeprom)


def readings(seed: int, pairs: int, repeats: int) -> list[Read]:
    """Read every resistance between some pairs of points of one board."""
    rng = np.random.default_rng([seed, 20])
    board = a_board(seed)
    found = []
    for ohm in OHMS:
        for _ in range(pairs):
            a, b = (int(point) for point in rng.choice(np.arange(1, POINTS + 1), 2, replace=False))
            board.on(between({(a, b): ohm}))
            read = [board.ohms(1 << (a - 1), 1 << (b - 1)) for _ in range(repeats)]
            error = max((value - ohm for value in read), key=abs)
            found.append(Read(ohm, error, float(np.std(read, ddof=1))))
    assert board.spi_misused == 0
    return found


def times_ms(seed: int) -> list[tuple[str, float]]:
    """Return how long the board takes for readings, from the line's end to its answer's, ms."""
    board = OhmBoard(BoardOnTaps(seed, bare(POINTS)), seed, eeprom=calibrated(seed))
    half = (1 << 28) - 1
    asked = [
        ("one resistance", {(1, 2): 0.1}, "MEAS:RES? #H1,#H2"),
        ("one that is open", {}, "MEAS:RES? #H1,#H2"),
        ("28 points against 28, open", {}, f"MEAS:RES? #H{half:X},#H{half << 28:X}"),
        ("the same with one short", {(1, 56): 0.1}, f"MEAS:RES? #H{half:X},#H{half << 28:X}"),
        ("one voltage", {}, "MEAS:VOLT? #H1,#H2"),
    ]
    found = []
    for what, resistors, line in asked:
        board.on(between(resistors))
        began = board.cycle
        board.ask(line)
        found.append((what, 1e3 * (board.cycle - began) / HZ))
    return found


def main(argv: Sequence[str] | None = None) -> int:
    """Measure and print; the exit code says whether a promised figure was missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args(argv)
    if missing():
        print(f"{missing()}: nothing measured")
        return 0
    began = time.monotonic()
    boards = range(given.seed, given.seed + (1 if given.short else 4))
    read = [each for seed in boards for each in readings(seed, 1 if given.short else 2, 4)]
    lines = [
        f"{len(boards)} boards, {len(read)} pairs of points, each read four times; the limit of error is "
        "±(2 mΩ + 0.5 %).",
        "",
        "| resistance, Ω | largest error, Ω | of its limit | largest standard deviation, Ω |",
        "|---|---|---|---|",
    ]
    for ohm in OHMS:
        mine = [each for each in read if each.ohm == ohm]
        worst = max(mine, key=lambda each: abs(each.error))
        deviation = max(each.deviation for each in mine)
        lines.append(f"| {ohm:g} | {worst.error:.2g} | {worst.share:.0%} | {deviation:.2g} |")
    lines += ["", "| a reading of | takes, ms |", "|---|---|"]
    lines += [f"| {what} | {ms:.0f} |" for what, ms in times_ms(given.seed)]
    table_file("figures", "ohms", lines, time.monotonic() - began, short=given.short)
    small = [each for each in read if each.ohm <= PROMISED_TO_OHM]
    met = all(each.share <= 1.0 for each in read) and all(each.deviation <= REPEATS_OHM for each in small)
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())
