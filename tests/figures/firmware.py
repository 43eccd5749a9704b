"""What the reference scanner's firmware reaches, from emulated cycles: the same on every machine.

    python -m tests.figures firmware [--short] [--seed N]

The compiled program on an emulated chip. A vector's time is what is left of a command's, its bytes, the
reply's and the settle time taken off. Capacitance: boards with pull-ups and thresholds drawn over all that
the data sheet allows, 5 mV rms of noise on each threshold (an assumption), calibrated by their own commands
with one capacitor of 4.7 nF under the same noise; each reading less the point's own without a capacitor.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence

import numpy as np

from tests.firmware.building import missing
from tests.firmware.calibrating import calibrated
from tests.firmware.circuit import POINTS, Circuit, Pins, bare, cycle_farads, joined
from tests.firmware.emulated import HZ, Board
from tests.firmware.terminal import Terminal, sealed
from tests.results import table_file

SETTLE_US, PHASES = 100, 16
VECTOR_MS, WATCH_US, EVENT_US = 3.0, 60.0, 120.0
NOISE_V = 0.005
FARADS = (20e-12, 50e-12, 100e-12, 300e-12, 1e-9, 3e-9, 9.9e-9)
OFFSET_F, RATIO, SPREAD_F = 3e-12, 0.03, 1e-12


def vector_ms(sets: int) -> float:
    """Return the time of one vector in a batch of so many, bytes and settle time apart, ms."""
    terminal = Terminal(Board(Circuit(Pins.drawn(1), joined([(1, 9, 17), (2, 60)]))))
    terminal.open()
    terminal.ask(f"SENS:SETT {SETTLE_US}")
    body = "SENS:DRIV? " + ",".join("#HFFFFFFFFFFFFFFFF" for _ in range(sets))
    line = terminal.line(body)
    reply = sealed(terminal.number, ",".join("#HFFFFFFFFFFFFFFFF" for _ in range(sets)))
    terminal.board.run(160_000)
    began = terminal.board.cycle
    terminal.board.feed(line)
    out = b""
    while not out.endswith(b"\n"):
        out += terminal.board.run(100)
    assert out == reply
    wire_s = 10.0 * (len(line) + len(reply)) / terminal.board.rate
    whole_s = (terminal.board.cycle - began) / HZ
    return 1e3 * (whole_s - wire_s - sets * PHASES * SETTLE_US * 1e-6) / sets


def watched(circuit: Circuit) -> Terminal:
    """Return a board that watches point 1, its first event told."""
    terminal = Terminal(Board(circuit))
    terminal.open()
    assert terminal.ask("WATC:STAR #H1") == "OK"
    terminal.board.run(800_000)
    return terminal


def cycle_us() -> float:
    """Return a watch cycle of one set with nothing to report, µs."""
    terminal = watched(Circuit(Pins.drawn(5), joined([(1, 2, 3)])))
    # Of two watches of different length the time of start and stop drops out.
    lengths = []
    for seconds in (1, 3):
        terminal.ask("*RST")
        terminal.ask("WATC:STAR #H1")
        terminal.board.run(seconds * HZ)
        lengths.append(int(terminal.ask("WATC:STOP").split(",")[0]))
    return 2e6 / (lengths[1] - lengths[0])


def missed(event_us: float, tries: int) -> tuple[int, float]:
    """Interrupt point 3 so long beyond its rise, at every phase; return the misses, and the rise, µs."""
    circuit = Circuit(Pins.drawn(5), joined([(1, 2, 3)]))
    terminal = watched(circuit)
    rise_us = 1e6 * float(
        (circuit.pins.pull_ohm[2] + circuit.pins.series_ohm[2])
        * circuit.farad[2]
        * np.log(5.0 / (5.0 - circuit.pins.threshold_v[2]))
    )
    lost = 0
    for step in range(tries):
        terminal.board.run(16 + step * 41 % 960)
        circuit.load(joined([(1, 2)]))
        terminal.board.touch()
        terminal.board.run(int((event_us + rise_us) * 16) + 1)
        circuit.load(joined([(1, 2, 3)]))
        terminal.board.touch()
        told = terminal.board.run(800_000).count(b":!!")
        lost += told != 2
        if step % 20 == 19:
            terminal.ask("SYST:LINK?")
    return lost, rise_us


def capacitance(boards: Sequence[int], points: int, repeats: int) -> list[tuple[float, float, float, float]]:
    """Read capacitors; return each one's farad, error, standard deviation and worth of a cycle, F."""
    found = []
    for seed in boards:
        pins = Pins.drawn(seed)
        eeprom = calibrated(pins, noise_v=NOISE_V)
        worth = cycle_farads(pins, HZ)
        for index in np.linspace(0, POINTS - 1, points).astype(int):
            board = Board(Circuit(pins, bare()), eeprom=eeprom, noise_v=NOISE_V, seed=int(index))
            ask = f"MEAS:CAP? #H{1 << int(index):X},#H{1 << int((index + 1) % POINTS):X}"
            zero = np.mean([float(board.ask(ask)) for _ in range(3)])
            for farad in FARADS:
                beside = np.zeros(POINTS)
                beside[index] = farad
                board.circuit = Circuit(pins, bare(), beside)
                board.touch()
                read = [float(board.ask(ask)) for _ in range(repeats)]
                error = max((value - float(zero) - farad for value in read), key=abs)
                found.append((farad, error, float(np.std(read, ddof=1)), float(worth[index])))
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
    one, many = vector_ms(1), vector_ms(17)
    cycle = cycle_us()
    lost, rise_us = missed(EVENT_US, 40 if given.short else 240)
    boards = range(given.seed, given.seed + (1 if given.short else 3))
    read = capacitance(boards, 2 if given.short else 4, 3 if given.short else 4)
    usual = [row for row in read if row[3] <= OFFSET_F]
    within = [abs(error) <= max(OFFSET_F, worth) + RATIO * farad for farad, error, _, worth in read]
    lines = [
        "| figure | wanted | found |",
        "|---|---|---|",
        f"| vector of 64 points, alone in its command, ms | {VECTOR_MS:g} | {one:.2f} |",
        f"| the same in a batch of 17, ms | {VECTOR_MS:g} | {many:.2f} |",
        f"| watch cycle, one set, nothing to report, µs | {WATCH_US:g} | {cycle:.2f} |",
        f"| events of {EVENT_US:g} µs and a rise of {rise_us:.2f} µs that were missed | 0 | {lost} |",
        f"| capacitance readings within the board's CACC | {len(read)} | {sum(within)} |",
        "",
        "CACC is ±(3 pF + 3 %) where a cycle of every point is worth 3 pF or less, else ±(a cycle + 3 %).",
        "",
        "| capacitor, pF | largest error, pF, cycle ≤ 3 pF | any cycle | 3 pF + 3 % | deviation, pF (≤ 1) |",
        "|---|---|---|---|---|",
    ]
    for farad in FARADS:
        errors = [abs(row[1]) for row in usual if row[0] == farad]
        whole = [abs(row[1]) for row in read if row[0] == farad]
        spread = max(row[2] for row in read if row[0] == farad)
        lines.append(
            f"| {farad * 1e12:g} | {max(errors, default=0.0) * 1e12:.2f} ({len(errors)} points) "
            f"| {max(whole) * 1e12:.2f} ({len(whole)} points) | {(OFFSET_F + RATIO * farad) * 1e12:.1f} "
            f"| {spread * 1e12:.2f} |"
        )
    table_file("figures", "firmware", lines, time.monotonic() - began, short=given.short)
    within.append(max(row[2] for row in read) <= SPREAD_F)
    met = max(one, many) <= VECTOR_MS and cycle <= WATCH_US + 0.05 and lost == 0 and all(within)
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())
