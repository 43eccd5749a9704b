"""Sensing and watching by the compiled firmware, on pins as the data sheet allows them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from loomproof.virtual.network import Resistor
from tests.firmware.building import needs_avr
from tests.firmware.circuit import POINTS, Circuit, Pins, bare, bits, joined
from tests.firmware.emulated import Board
from tests.firmware.terminal import Terminal

pytestmark = needs_avr
WORST_LOW = Pins(
    np.full(POINTS, 20e3), np.full(POINTS, 1050.0), np.full(POINTS, 45.0),
    np.full(POINTS, 0.3 * 5.0), np.full(POINTS, 15e-12),
)  # fmt: skip
WORST_HIGH = Pins(
    np.full(POINTS, 50e3), np.full(POINTS, 950.0), np.full(POINTS, 10.0),
    np.full(POINTS, 0.6 * 5.0), np.full(POINTS, 15e-12),
)  # fmt: skip
"""The data sheet's limits, all to the side that makes a low, or a high, hardest to read."""


def read(board: Board, *drives: int) -> list[int]:
    return [
        int(word[2:], 16)
        for word in board.ask("SENS:DRIV? " + ",".join(f"#H{d:X}" for d in drives)).split(",")
    ]


def test_every_point_is_the_pin_that_the_table_names() -> None:
    """The emulator's list of pins is its own; a point that is another's pin would read for it."""
    board = Board(Circuit(Pins.drawn(3), bare()))
    for start in range(0, POINTS, 16):
        drives = [1 << i for i in range(start, start + 16)]
        assert read(board, *drives) == drives
    assert board.ever_high == 0


@pytest.mark.parametrize("points", [2, 4, 12, 30])
def test_a_large_net_reads_low_with_the_worst_chip(points: int) -> None:
    """With all pull-ups on at once a net of seven would not: 20 kΩ / 7 against 1 kΩ is over 0.3."""
    net = range(1, 2 * points, 2)
    board = Board(Circuit(WORST_LOW, joined([net])))
    low = sum(1 << (p - 1) for p in net)
    assert read(board, 1, 1 << (net[-1] - 1)) == [low, low]


@pytest.mark.parametrize(("ohm", "shown"), [(5_500.0, True), (250e3, False)])
def test_one_point_behind_a_path(ohm: float, shown: bool) -> None:
    for pins in (WORST_LOW, WORST_HIGH):
        board = Board(Circuit(pins, joined([], [Resistor(0, 20, ohm)])))
        assert read(board, 1) == [1 | shown << 20]


def events(raw: bytes) -> list[tuple[int, int, int, int]]:
    found = []
    for line in raw.splitlines():
        if line.startswith(b":!!"):
            number, micros, index, low = line[3:].rsplit(b"*", 1)[0].split(b",")
            found.append((int(number), int(micros), int(index), int(low[2:], 16)))
    return found


def watching(board: Board, *drives: int) -> Terminal:
    terminal = Terminal(board)
    terminal.open()
    terminal.line("")
    terminal.number -= 1
    assert terminal.ask("WATC:STAR " + ",".join(f"#H{d:X}" for d in drives)) == "OK"
    return terminal


def test_a_watch_tells_what_changes_and_when() -> None:
    circuit = Circuit(Pins.drawn(5), joined([(1, 2, 3), (10, 11)]))
    board = Board(circuit)
    watching(board, 0b1)
    started = board.cycle
    first = events(board.run(800_000))
    assert [(n, i, low) for n, _, i, low in first] == [(0, 0, 0b111)]
    looms: list[list[tuple[int, ...]]] = [[(1, 2), (10, 11)], [(1, 2, 3), (10, 11)], [(1, 2, 3, 10, 11)]]
    for at, groups in enumerate(looms):
        circuit.load(joined(groups))
        board.touch()
        elapsed_us = (board.cycle - started) / 16
        ((number, micros, index, low),) = events(board.run(800_000))
        assert (number, index) == (at + 1, 0)
        assert low == sum(1 << (p - 1) for p in groups[0])
        # The start is not seen from outside, but for its reply's bytes.
        assert abs(micros - elapsed_us) < 5_000.0
    assert board.pins()[0] == 1


def interrupted(board: Board, circuit: Circuit, whole: Sequence[Sequence[int]], cut_us: float) -> int:
    """Open point 3 for so long, at no particular moment, and count the events."""
    circuit.load(joined([(1, 2), (10, 11)]))
    board.touch()
    board.run(int(cut_us * 16))
    circuit.load(joined(whole))
    board.touch()
    return len(events(board.run(900_000)))


def test_an_interruption_of_two_cycles_is_always_seen() -> None:
    circuit = Circuit(Pins.drawn(5), joined([(1, 2, 3), (10, 11)]))
    board = Board(circuit)
    terminal = watching(board, 0b1)
    board.run(800_000)
    rise_us = float(np.max(circuit.pins.pull_ohm * circuit.farad)) * 1e6 * 1.2
    for step in range(24):
        board.run(31 * step)  # another phase against the tick
        assert interrupted(board, circuit, [(1, 2, 3), (10, 11)], 120.0 + rise_us) == 2
        assert terminal.ask("SYST:LINK?")
    cycles, told, lost = map(int, terminal.ask("WATC:STOP").split(","))
    assert (told, lost) == (1 + 2 * 24, 0)
    assert cycles > 1000
    assert board.pins() == (0, 0, 0)


def test_several_sets_and_a_net_of_many_points() -> None:
    net = list(range(1, 24, 2))
    circuit = Circuit(WORST_LOW, joined([net, (30, 31)]))
    board = Board(circuit)
    terminal = watching(board, 0b1, 0, 1 << 29)
    low = sum(1 << (p - 1) for p in net)
    seen = events(board.run(3_200_000))
    assert [(n, i, s) for n, _, i, s in seen] == [(0, 0, low), (1, 1, 0), (2, 2, 3 << 29)]
    circuit.load(joined([net[:-1], (30, 31)]))
    board.touch()
    ((_, _, index, now),) = events(board.run(3_200_000))
    assert (index, now) == (0, low & ~(1 << (net[-1] - 1)))
    assert terminal.ask("WATC:STOP").split(",")[1:] == ["4", "0"]


def test_interrupts_leave_the_line_its_time() -> None:
    """The UART keeps two bytes: at the fastest rate, 250 000 baud, they last 1 280 cycles."""
    net = list(range(1, 60, 2))
    for sets, groups in ((1, [(1, 2, 3)]), (12, [net])):
        circuit = Circuit(WORST_LOW, joined(groups))
        board = Board(circuit)
        terminal = watching(board, *(1 << (2 * i) for i in range(sets)))
        board.run(3_200_000)
        circuit.load(joined([groups[0][:-1]]))
        board.touch()
        board.run(3_200_000)
        assert terminal.ask("SYST:LINK?")
        assert 0 < board.longest_interrupt < 1280


def test_a_watch_of_many_sets_keeps_time() -> None:
    """Much is switched in each step; what that takes must not be missing from the clock."""
    net = list(range(1, 60, 2))
    circuit = Circuit(WORST_LOW, joined([net]))
    board = Board(circuit)
    terminal = Terminal(board)
    terminal.open()
    terminal.ask("SENS:SETT 100")
    terminal.ask("WATC:STAR " + ",".join(f"#H{1 << (2 * i):X}" for i in range(12)))
    begun = board.cycle
    board.run(48_000_000)
    terminal.ask("SYST:LINK?")
    circuit.load(joined([net[:-1]]))
    board.touch()
    elapsed_us = (board.cycle - begun) / 16
    first = events(board.run(8_000_000))[0]
    assert abs(first[1] - elapsed_us) < 40_000.0, "a cycle of twelve sets, and the start's reply"


def test_what_a_watch_answers_and_what_ends_it() -> None:
    board = Board(Circuit(Pins.drawn(5), bare()))
    terminal = watching(board, 0b1)
    board.run(800_000)
    for body in ("*IDN?", "SYST:CAP?", "SYST:LINK?", "SYST:ERR?"):
        assert not terminal.ask(body).startswith("ERR")
    assert terminal.ask("SENS:DRIV? #H1").startswith("ERR -221,")
    assert terminal.ask("SENS:SETT 500").startswith("ERR -221,")
    assert board.pins()[0] == 1
    assert terminal.ask("*RST") == "OK"
    assert board.pins() == (0, 0, 0)
    assert terminal.ask("WATC:STOP").startswith("ERR -221,")


def test_a_watch_that_nobody_listens_to_ends_after_five_seconds() -> None:
    board = Board(Circuit(Pins.drawn(5), bare()))
    watching(board, 0b1)
    ((number, micros, index, low),) = events(board.run(int(4.9 * 16e6)))
    assert (number, index, low) == (0, 0, 1)
    assert micros < 1_000
    assert board.pins()[0] == 1
    ((number, micros, index, low),) = events(board.run(int(0.3 * 16e6)))
    assert (number, index, low) == (1, -1, 0)
    assert abs(micros - 5e6) < 20e3
    assert board.pins() == (0, 0, 0)


def test_events_that_find_no_room_are_counted_as_lost() -> None:
    circuit = Circuit(Pins.drawn(5), joined([(1, 2)]))
    board = Board(circuit)
    terminal = watching(board, 0b1)
    raw = b""
    for flip in range(60):
        circuit.load(joined([(1, 2)] if flip % 2 else []))
        board.touch()
        raw += board.run(16_000)
    board.feed(terminal.line("WATC:STOP"))
    raw += board.run(16_000_000)
    seen = events(raw)
    _, told, lost = raw.splitlines()[-1][3:].split(b"*")[0].split(b",")
    assert int(told) == 61
    assert len(seen) + int(lost) == 61
    assert int(lost) > 0
    assert [n for n, *_ in seen] == sorted(n for n, *_ in seen)
    assert list(bits(seen[-1][3]))[:1] == [0]


def test_the_self_test_finds_what_is_wrong_with_a_pin() -> None:
    def told(pins: Pins, *groups: Sequence[int]) -> str:
        return Board(Circuit(pins, joined(groups))).ask("*TST?")

    good = Pins.drawn(7)
    assert told(good) == "0"
    assert told(good, (5, 44)) == "244"
    leaks = np.zeros(POINTS)
    leaks[29] = 1e-6
    leaky = Pins(good.pull_ohm, good.series_ohm, good.driver_ohm, good.threshold_v, good.farad, leaks)
    assert told(leaky) == "130"
