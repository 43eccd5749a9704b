"""Boards with converter and taps, calibrated as a person does it."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

from loomproof.virtual.network import Network, Resistor
from tests.firmware.building import firmware
from tests.firmware.circuit import bare, joined
from tests.firmware.converter import Converter, Errors, Taps
from tests.firmware.emulated import Board
from tests.firmware.tapped import PINS, POINTS, BoardOnTaps, TappedCircuit

REFERENCE_OHM = 1000.0


class OhmBoard(Board):
    """The board with what hangs on its SPI at hand; ``fitted`` false: nothing does."""

    kind = "ohms"

    def __init__(
        self, circuit: TappedCircuit, seed: int = 1, *, eeprom: bytes = b"", fitted: bool = True,
        errors: Errors | None = None,
    ) -> None:  # fmt: skip
        self.taps = Taps()
        self.converter = Converter(self.taps, errors or Errors.drawn(seed), seed)
        super().__init__(
            circuit, eeprom=eeprom, pins=PINS,
            on_spi=(self.taps, self.converter) if fitted else (),
        )  # fmt: skip
        self.run(320_000)  # it looks for them

    def ohms(self, a: int, b: int) -> float:
        """Ask for the resistance between two point sets."""
        return float(self.ask(f"MEAS:RES? #H{a:X},#H{b:X}"))

    def on(self, network: Network) -> OhmBoard:
        """Put another network on."""
        self.circuit.load(network)
        self.touch()
        return self


def between(resistors: dict[tuple[int, int], float]) -> Network:
    """Return resistors between points, from 1."""
    network = bare(POINTS)
    return replace(network, resistors=tuple(Resistor(a - 1, b - 1, ohm) for (a, b), ohm in resistors.items()))


def calibrated(seed: int, *, true_ohm: float = REFERENCE_OHM) -> bytes:
    """Return the EEPROM of a board after its calibration; ``true_ohm``: what the resistor is in truth."""
    board = OhmBoard(BoardOnTaps(seed, between({(1, 2): true_ohm})), seed)
    assert board.ask(f"CAL:RES:REF #H1,#H2,{REFERENCE_OHM:.3E}", 60.0) == "OK"
    board.on(joined([range(1, POINTS + 1)], points=POINTS))
    assert board.ask(f"CAL:RES:PLUG #H{(1 << POINTS) - 1:X}", 60.0) == "OK"
    assert "OHMS=0:1E5" in board.ask("SYST:CAP?")
    return board.eeprom()


@lru_cache
def usual(seed: int = 1) -> bytes:
    """Return that of a usual board, calibrated once for these sources."""
    path = firmware("ohms") / f"ohms-{seed}.eeprom"
    if not path.exists():
        with tempfile.NamedTemporaryFile(dir=path.parent, delete=False) as work:
            work.write(calibrated(seed))
        Path(work.name).rename(path)
    return path.read_bytes()
