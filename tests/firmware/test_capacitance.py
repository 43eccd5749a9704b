"""Capacitance by rise time: calibrated by the board's own commands, read against capacitors of known size."""

from __future__ import annotations

import numpy as np
import pytest

from loomproof.virtual.network import Resistor
from tests.figures.firmware import cycle_us, vector_ms
from tests.firmware.building import needs_avr
from tests.firmware.calibrating import eeprom_file
from tests.firmware.circuit import POINTS, Circuit, Pins, bare, cycle_farads, joined
from tests.firmware.emulated import HZ, Board

pytestmark = needs_avr
PINS = Pins.drawn(1)


@pytest.fixture(scope="module")
def eeprom() -> bytes:
    return eeprom_file().read_bytes()


def beside(point: int, farad: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    found = np.zeros(POINTS)
    found[point - 1] = farad
    return found


def on(board: Board, circuit: Circuit) -> Board:
    board.circuit = circuit
    board.touch()
    return board


def worst_f() -> float:
    """What a cycle is worth at the point where it is worth most, from the pins alone."""
    return float(np.max(cycle_farads(PINS, HZ)))


def test_capacitors_are_read_within_what_the_board_states(eeprom: bytes) -> None:
    board = Board(Circuit(PINS, bare()), eeprom=eeprom)
    stated = board.ask("SYST:CAP?").split("CACC=")[1].split(",")[0].split(":")
    offset, ratio = float(stated[0]), float(stated[1])
    assert offset == pytest.approx(max(3e-12, worst_f()), rel=0.02, abs=0.0)
    assert ratio == 0.03
    for point in (12, 41, 64):
        ask = f"MEAS:CAP? #H{1 << (point - 1):X},#H3"
        zero = float(on(board, Circuit(PINS, bare())).ask(ask))
        assert zero == pytest.approx(PINS.farad[point - 1], abs=offset)
        for farad in (20e-12, 220e-12, 9.5e-9):
            found = float(on(board, Circuit(PINS, bare(), beside(point, farad))).ask(ask)) - zero
            assert abs(found - farad) <= offset + ratio * farad


def test_joined_points_are_one_conductor_and_others_are_refused(eeprom: bytes) -> None:
    board = Board(Circuit(PINS, joined([(3, 20)]), beside(20, 1e-9)), eeprom=eeprom)
    assert float(board.ask("MEAS:CAP? #H80004,#H1")) == pytest.approx(1.03e-9, rel=0.03)
    assert board.ask("MEAS:CAP? #H80014,#H1").startswith("ERR -221,")
    assert board.pins() == (0, 0, 0)


def test_over_range_and_what_conducts(eeprom: bytes) -> None:
    board = Board(Circuit(PINS, bare(), beside(5, 100e-9)), eeprom=eeprom)
    assert board.ask("MEAS:CAP? #H10,#H1") == "9.9E37"
    assert on(board, Circuit(PINS, bare(), beside(5, 12e-9))).ask("MEAS:CAP? #H10,#H1") == "9.9E37"
    for ohm in (0.1, 5e3):
        leak = joined([], [Resistor(4, 0, ohm)])
        assert on(board, Circuit(PINS, leak)).ask("MEAS:CAP? #H10,#H1") == "9.91E37"


def test_a_board_that_was_never_calibrated_says_so() -> None:
    board = Board(Circuit(PINS, bare()))
    assert "CAPF" not in board.ask("SYST:CAP?")
    assert board.ask("MEAS:CAP? #H1,#H2") == 'ERR -221,"Settings conflict; not calibrated"'


def test_a_calibration_without_its_capacitor_is_refused() -> None:
    board = Board(Circuit(PINS, joined([(1, 2, 3)])))
    assert board.ask("CAL:CAP:REF #H7,1E-9").startswith("ERR 1,")  # never read open
    assert board.ask("CAL:CAP:OPEN #H7") == "OK"
    assert board.ask("CAL:CAP:REF #H7,1E-9").startswith("ERR 1,")  # nothing has changed
    assert board.ask("CAL:CAP:REF #H7,1E-6").startswith("ERR -222,")
    assert "CAPF" not in board.ask("SYST:CAP?")


def test_times_in_cycles() -> None:
    """`make figures` has the table."""
    assert vector_ms(1) < 3.0
    assert vector_ms(17) < 3.0
    assert cycle_us() == pytest.approx(60.0, abs=0.05)
