"""Calibrates an emulated board as a person does: a plug that joins all points, and one known capacitor."""

from __future__ import annotations

import tempfile
from functools import lru_cache
from pathlib import Path

import numpy as np

from tests.firmware.building import firmware
from tests.firmware.circuit import POINTS, Circuit, Pins, joined
from tests.firmware.emulated import Board

KNOWN_F = 4.7e-9


def calibrated(pins: Pins, farad: float = KNOWN_F, *, noise_v: float = 0.0) -> bytes:
    """Return the EEPROM of a board with these pins after its calibration."""
    plug = joined([range(1, POINTS + 1)])
    board = Board(Circuit(pins, plug), noise_v=noise_v)
    assert board.ask("CAL:CAP:OPEN #HFFFFFFFFFFFFFFFF", 60.0) == "OK"
    beside = np.zeros(POINTS)
    beside[0] = farad
    board.circuit = Circuit(pins, plug, beside)
    board.touch()
    assert board.ask(f"CAL:CAP:REF #HFFFFFFFFFFFFFFFF,{farad:.3E}", 60.0) == "OK"
    assert "CAPF=" in board.ask("SYST:CAP?")
    return board.eeprom()


@lru_cache
def usual_eeprom(seed: int = 1) -> bytes:
    """Return that of the board which most tests use."""
    return calibrated(Pins.drawn(seed))


def eeprom_file() -> Path:
    """Return a file with the usual board's EEPROM, calibrated once for these sources."""
    path = firmware() / "calibrated.eeprom"
    if not path.exists():
        with tempfile.NamedTemporaryFile(dir=path.parent, delete=False) as work:
            work.write(usual_eeprom())
        Path(work.name).rename(path)
    return path
