"""The compiled firmware with SPI expanders around the emulated chip: points on them, none on its own pins."""

from __future__ import annotations

import ctypes
from collections.abc import Sequence
from enum import IntEnum

import numpy as np

from tests.firmware.circuit import Circuit
from tests.firmware.emulated import BOOT_CYCLES, Board

CHIP_POINTS, MOST_POINTS = 16, 512
_DDR = {"A": 0x21, "B": 0x24, "C": 0x27, "L": 0x10A, "K": 0x107}
SELECTS = [(_DDR[port], bit) for port in "ACLK" for bit in range(8)]
"""Of each chip, from the notes' table: the direction register of its select's port, and the bit."""
RESET = (_DDR["B"], 4)
_DOUBLES = ctypes.POINTER(ctypes.c_double * MOST_POINTS)
_STATES = ctypes.POINTER(ctypes.c_uint8 * MOST_POINTS)
_CALLBACK = ctypes.CFUNCTYPE(None, _STATES, _DOUBLES, _DOUBLES, _DOUBLES)


class Fault(IntEnum):
    """What may befall a chip: nothing, no supply, an open select."""

    GOOD = 0
    GONE = 1
    DEAF = 2


class Expanded(Board):
    """A board with the circuit's points on expanders, on these selects: in order, and none left out.

    MISO is at rest at ``quiet``.
    """

    kind = "expanders"

    def __init__(
        self,
        circuit: Circuit,
        *,
        eeprom: bytes = b"",
        selects: Sequence[tuple[int, int]] = (),
        quiet: int = 0x00,
    ) -> None:
        self._count = circuit.points
        super().__init__(circuit, eeprom=eeprom, pins="")
        chips = circuit.points // CHIP_POINTS
        places = [*(selects or SELECTS[:chips]), RESET]
        assert len(places) == chips + 1
        flat = (ctypes.c_int * (2 * len(places)))(*(number for place in places for number in place))
        thresholds = (ctypes.c_double * circuit.points)(*circuit.pins.threshold_v)
        self._asked = _CALLBACK(self._expanders)
        self._lib.emulator_chip.restype = ctypes.c_void_p
        self._lib.emulator_chip.argtypes = [ctypes.c_void_p]
        self._lib.emulator_expanders.argtypes = (
            ctypes.c_void_p,
            ctypes.c_int,
            ctypes.c_void_p,
            _CALLBACK,
            ctypes.c_void_p,
        )
        self._lib.emulator_spi_misused.restype = ctypes.c_uint64
        chip = self._lib.emulator_chip(self._it)
        self._lib.emulator_expanders(chip, chips, flat, self._asked, thresholds)
        self._lib.emulator_spi_quiet(quiet)
        self.reset()
        self.run(BOOT_CYCLES)

    def noise(self, volts: float, seed: int = 0) -> None:
        """None is modelled at an expander's pins."""
        assert volts == 0.0

    def _expanders(self, states: object, volts: object, rest: object, tau: object) -> None:
        # An exception cannot cross C; it is kept, and raised after the run.
        try:
            driven, high, pulled = self._sets(np.ctypeslib.as_array(states.contents))  # type: ignore[attr-defined]
            views = [np.ctypeslib.as_array(each.contents)[: self._count] for each in (volts, rest, tau)]  # type: ignore[attr-defined]
            found = self.circuit.solve(driven, high, pulled, views[0].copy())
            for view, values in zip(views, found, strict=True):
                view[:] = values
        except BaseException as error:
            self._error = self._error or error

    def _sets(self, states: np.ndarray[tuple[int], np.dtype[np.uint8]]) -> tuple[int, int, int]:
        driven, high, pulled = (
            int.from_bytes(np.packbits(states[: self._count] == what, bitorder="little").tobytes(), "little")
            for what in (1, 2, 4)
        )
        return driven, high, pulled

    def pins(self) -> tuple[int, int, int]:
        """Return which points are driven low, driven high and pulled up, as registers stand."""
        room = (ctypes.c_uint8 * MOST_POINTS)()
        self._lib.emulator_expanders_state(room)
        return self._sets(np.frombuffer(bytes(room), np.uint8))

    def touch(self) -> None:
        """Tell the pins that the circuit has changed."""
        self._lib.emulator_expanders_touch()

    def fault(self, chip: int, fault: Fault) -> None:
        """Let this befall a chip, counted from 1; GOOD on a good one is a moment without supply."""
        self._lib.emulator_expander_fault(chip - 1, int(fault))

    def rest(self, level: int) -> None:
        """What MISO is at where nobody speaks."""
        self._lib.emulator_spi_quiet(level)

    @property
    def ever_high(self) -> int:
        """Whether any point was driven high at any time."""
        return int(self._lib.emulator_expanders_ever_high())

    def spi_lap(self) -> tuple[int, int, int]:
        """Return of SPI since it was asked last: bytes, their cycles, cycles from first to last."""
        three = (ctypes.c_uint64 * 3)()
        self._lib.emulator_spi_lap(three)
        return three[0], three[1], three[2]

    @property
    def spi_misused(self) -> int:
        """Bytes that the chip's data sheet would not let through."""
        return int(self._lib.emulator_spi_misused())
