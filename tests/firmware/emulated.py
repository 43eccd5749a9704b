"""The compiled firmware on an emulated chip, a circuit on its pins: bytes in, bytes out, by cycles."""

from __future__ import annotations

import ctypes
from collections.abc import Callable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Protocol

import numpy as np

from tests.firmware.building import emulator_library, firmware, run
from tests.firmware.circuit import POINTS, Circuit

HZ = 16_000_000
EEPROM_BYTES = 4096
BOOT_CYCLES = 160_000
CRASHED = "the program on the emulated chip ended in state {}"
_DOUBLES = ctypes.POINTER(ctypes.c_double * POINTS)
_U64 = ctypes.c_uint64
_CALLBACK = ctypes.CFUNCTYPE(None, _U64, _U64, _U64, _U64, _DOUBLES, _DOUBLES, _DOUBLES)
_DEVICE = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_void_p, ctypes.c_int, ctypes.c_int)
PORTS = "ABCDEFGHJKL"
_FIRST_PIN = dict(
    zip(PORTS, (0x20, 0x23, 0x26, 0x29, 0x2C, 0x2F, 0x32, 0x100, 0x103, 0x106, 0x109), strict=True)
)
CHIP_PINS = (
    "A0A1A2A3A4A5A6A7C0C1C2C3C4C5C6C7L0L1L2L3L4L5L6L7F0F1F2F3F4F5F6F7K0K1K2K3K4K5K6K7"
    "B0B1B2B3B4B5B6D7H0H1H3H4H5H6J0J1D2D3E3E4E5G0G1G2"
)
"""Port and bit of each point of the board alone."""
_DONE, _CRASHED = 6, 7
_SELECTED, _BYTE = 0, 1


class SpiDevice(Protocol):
    """What a select's pin puts on the SPI; bytes come while it is low."""

    select: str
    """Port and bit."""

    def selected(self, board: Board) -> None:
        """Notice that the select went low."""

    def byte(self, board: Board, value: int) -> int:
        """Take a byte, and return the one that goes back, -1 where it leaves the line alone."""

    def deselected(self, board: Board) -> None:
        """Notice that the select went high."""


class Board:
    """One emulated board. A process has one at a time: simavr keeps some of its state to itself."""

    kind = "pins"

    def __init__(
        self,
        circuit: Circuit,
        *,
        eeprom: bytes = b"",
        noise_v: float = 0.0,
        seed: int = 0,
        hexfile: Path | None = None,
        pins: str = CHIP_PINS,
        on_spi: Sequence[SpiDevice] = (),
    ) -> None:
        self.circuit = circuit
        self._error: BaseException | None = None
        self._lib = _library()
        self._callback = _CALLBACK(self._solve)
        path = hexfile or firmware(self.kind) / "scanner.hex"
        self._it = self._lib.emulator_new(str(path).encode(), pins.encode(), self._callback)
        assert self._it
        self._attached = [self._attach(device) for device in on_spi]
        self.noise(noise_v, seed)
        if eeprom:
            self._lib.emulator_eeprom(self._it, eeprom, len(eeprom), 1)
        self._room = ctypes.create_string_buffer(65536)
        self.run(BOOT_CYCLES)

    def noise(self, volts: float, seed: int = 0) -> None:
        """Put so much noise on every threshold, V rms."""
        thresholds = (ctypes.c_double * POINTS)(*self.circuit.pins.threshold_v)
        self._lib.emulator_thresholds(self._it, thresholds, volts, seed)

    def _attach(self, device: SpiDevice) -> object:
        def call(_: int, what: int, value: int) -> int:
            try:
                if what == _SELECTED:
                    device.selected(self)
                elif what == _BYTE:
                    return device.byte(self, value)
                else:
                    device.deselected(self)
            except BaseException as error:
                self._error = self._error or error
            return -1

        back, ddr = _DEVICE(call), _FIRST_PIN[device.select[0]] + 1
        assert self._lib.emulator_spi_attach(ddr, int(device.select[1]), back, None) >= 0
        return back

    def lead(self, port: str, bit: int, level: bool, then: bool = False, when: int = 0) -> None:
        """Lead a level to a pin that is no point, and another one from a cycle on."""
        mask = 1 << bit
        self._lib.emulator_lead(self._it, PORTS.index(port), mask, level * mask, then * mask, when)

    def now(self) -> None:
        """Bring the circuit up to this cycle: it has been asked about every change before."""
        self._lib.emulator_now(self._it)

    def _solve(
        self, cycle: int, driven: int, high: int, pulled: int, volts: object, rest: object, tau: object
    ) -> None:
        # An exception cannot cross C; it is kept, and raised after the run.
        try:
            self.circuit.cycle = cycle
            found = self.circuit.solve(driven, high, pulled, _array(volts)[: self.circuit.points].copy())
            for target, values in zip((volts, rest, tau), found, strict=True):
                _array(target)[: self.circuit.points] = values
        except BaseException as error:
            self._error = self._error or error

    def feed(self, data: bytes) -> None:
        """Bytes for the UART."""
        self._lib.emulator_input(self._it, data, len(data))

    def run(self, cycles: int, *, until_output: bool = False) -> bytes:
        """Run so long, or until a byte has come out; return what has come out."""
        state = self._lib.emulator_run(self._it, cycles, until_output)
        if self._error is not None:
            error, self._error = self._error, None
            raise error
        assert state not in (_DONE, _CRASHED), CRASHED.format(state)
        count = self._lib.emulator_output(self._it, self._room, len(self._room))
        return self._room.raw[:count]

    def run_until(self, done: Callable[[bytes], bool], most_s: float, step: int = 1600) -> bytes:
        """Run until what has come out is enough; raise after so many emulated seconds."""
        out, end = b"", self.cycle + int(most_s * HZ)
        while not done(out):
            assert self.cycle < end, f"after {most_s} s only {out!r}"
            out += self.run(step)
        return out

    @property
    def cycle(self) -> int:
        return int(self._lib.emulator_cycle(self._it))

    @property
    def seconds(self) -> float:
        return self.cycle / HZ

    @property
    def waiting(self) -> int:
        """Bytes that the UART has not taken yet."""
        return int(self._lib.emulator_waiting(self._it))

    @property
    def rate(self) -> float:
        """Bits per second of the UART as its registers stand, double speed or not."""
        low, high = self.data(0xC4, 2)
        status = self.data(0xC0, 1)[0]
        return HZ / (8 if status & 0x02 else 16) / (low + 256 * high + 1)

    def pins(self) -> tuple[int, int, int]:
        """Return which points are driven low, driven high and pulled up, as the registers stand."""
        three = (ctypes.c_uint64 * 3)()
        self._lib.emulator_pins(self._it, three)
        return three[0], three[1], three[2]

    @property
    def ever_high(self) -> int:
        """Points that were driven high at any time."""
        return int(self._lib.emulator_ever_high(self._it))

    @property
    def spi_misused(self) -> int:
        """How often the SPI was used in a way that a chip does not bear."""
        return int(self._lib.emulator_spi_misused())

    @property
    def longest_interrupt(self) -> int:
        """Cycles of the longest interrupt so far."""
        return int(self._lib.emulator_longest_interrupt(self._it))

    def touch(self) -> None:
        """Tell the pins that the circuit has changed."""
        self._lib.emulator_touch(self._it)

    def reset(self) -> None:
        """Pull the reset pin."""
        self._lib.emulator_reset(self._it)

    def hang(self, function: str) -> None:
        """Make a function of the program go round in its first instruction for ever."""
        self._lib.emulator_flash(self._it, symbols(self.kind)[function], 0xCFFF)  # rjmp to itself

    def data(self, start: int, count: int) -> bytes:
        """Return data memory."""
        return bytes(self._lib.emulator_data(self._it, start + i) for i in range(count))

    def eeprom(self) -> bytes:
        """Return all of the EEPROM."""
        room = ctypes.create_string_buffer(EEPROM_BYTES)
        self._lib.emulator_eeprom(self._it, room, EEPROM_BYTES, 0)
        return room.raw

    def ask(self, body: str, most_s: float = 30.0) -> str:
        """Send a plain line, as a person at a terminal does, and return the answer's."""
        self.feed(body.encode() + b"\n")
        return self.run_until(lambda out: out.endswith(b"\n"), most_s).decode().rstrip("\n")


@lru_cache
def symbols(kind: str = "pins") -> dict[str, int]:
    """Return where the program's functions and variables are: bytes of flash, or of data memory."""
    found: dict[str, int] = {}
    for line in run(["avr-nm", firmware(kind) / "scanner.elf"]).splitlines():
        address, _, name = line.rpartition(" ")[0].strip().partition(" ")[0], "", line.rsplit(" ", 1)[1]
        if address and all(digit in "0123456789abcdef" for digit in address):
            found[name] = int(address, 16) & 0x7FFFFF
    return found


def _array(pointer: object) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    return np.ctypeslib.as_array(pointer.contents)  # type: ignore[attr-defined]


def _library() -> ctypes.CDLL:
    lib = ctypes.CDLL(str(emulator_library()))
    whole, number = ctypes.c_void_p, ctypes.c_int
    lib.emulator_new.restype = whole
    lib.emulator_new.argtypes = [ctypes.c_char_p, ctypes.c_char_p, _CALLBACK]
    lib.emulator_spi_attach.argtypes = [number, number, _DEVICE, whole]
    for name in ("spi_bytes", "spi_misused"):
        getattr(lib, f"emulator_{name}").restype = ctypes.c_uint64
    byte = ctypes.c_uint8
    lib.emulator_lead.argtypes = [whole, number, byte, byte, byte, ctypes.c_uint64]
    lib.emulator_now.argtypes = [whole]
    lib.emulator_input.argtypes = [whole, ctypes.c_char_p, number]
    lib.emulator_output.argtypes = [whole, ctypes.c_char_p, number]
    lib.emulator_run.argtypes = [whole, ctypes.c_uint64, number]
    lib.emulator_thresholds.argtypes = [whole, ctypes.c_double * POINTS, ctypes.c_double, ctypes.c_uint64]
    lib.emulator_eeprom.argtypes = [whole, ctypes.c_char_p, number, number]
    lib.emulator_flash.argtypes = [whole, ctypes.c_uint32, ctypes.c_uint16]
    lib.emulator_data.argtypes = [whole, number]
    lib.emulator_data.restype = ctypes.c_uint8
    for name in ("cycle", "ever_high", "longest_interrupt"):
        getattr(lib, f"emulator_{name}").restype = ctypes.c_uint64
    for name in ("cycle", "ever_high", "longest_interrupt", "waiting", "touch", "reset", "lost", "pc"):
        getattr(lib, f"emulator_{name}").argtypes = [whole]
    lib.emulator_pins.argtypes = [whole, ctypes.c_uint64 * 3]
    return lib
