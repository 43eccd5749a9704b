"""Models on the SPI: the chain of shift registers with its multiplexers, and the 24-bit converter behind it.

The converter's commands and registers are those of a widely sold part with four inputs, written from its
published tables; its errors are drawn anew for every board: offset, gain of each amplification, noise by
amplification and pace, rejection of the inputs' common voltage, curvature, and currents of lines and inputs
that drop over tap resistor and switch.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from tests.firmware.circuit import SUPPLY_V
from tests.firmware.emulated import Board
from tests.firmware.tapped import HZ, POINTS, TappedCircuit, db

TAP_BOARDS = (POINTS + 15) // 16
TAP_OHM = 1000.0
"""In front of the multiplexers of X and Y."""
READY_S = {0: 0.0512, 2: 0.0112, 4: 0.0032}
"""Time of one reading by the pace's code, s."""
NOISE_UV = (4.0, 2.0, 1.2, 0.8, 0.4, 0.25, 0.17, 0.13)
"""At 20 a second, at the input, µV rms, by amplification."""
NOISE_OF_PACE = {0: 1.0, 2: 2.1, 4: 4.0}
REFERENCE_V = 2.048
FULL = 1 << 23


class Taps:
    """Two eight-bit registers for every sixteen points; what they hold is taken over when the latch rises."""

    select = "B4"

    def __init__(self) -> None:
        self.chain = [0] * (2 * TAP_BOARDS)
        self.held = list(self.chain)
        self.broken = False
        self.crossed: dict[int, int] = {}
        """Points, by index, whose taps were soldered to another's place."""

    def selected(self, board: Board) -> None:
        pass

    def byte(self, board: Board, value: int) -> int:
        if self.broken:
            return 0xFF
        self.chain.insert(0, value)
        return self.chain.pop()

    def deselected(self, board: Board) -> None:
        self.held = list(self.chain)

    def on(self, line: int) -> int | None:
        """Return which point, by index, is on line X, Y or Z (0, 1, 2); at most one may be."""
        found = []
        for number in range(TAP_BOARDS):
            xy, z = self.held[2 * number], self.held[2 * number + 1]
            if not z & (0x10 << line):
                found.append(16 * number + ((xy & 15, xy >> 4, z & 15)[line]))
        assert len(found) <= 1, f"points {found} are joined on one line"
        return self.crossed.get(found[0], found[0]) if found else None


def _zeros() -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.zeros(3)


@dataclass
class Errors:
    """One converter's and its lines' own errors; none of it by default."""

    offset_v: float = 0.0
    gain: tuple[float, ...] = (0.0,) * 8
    noise: float = 0.0
    common: float = 0.0
    curve: float = 0.0
    reference: float = 0.0
    switch_ohm: np.ndarray[tuple[int], np.dtype[np.float64]] = field(
        default_factory=lambda: np.full(POINTS, 100.0)
    )
    line_a: np.ndarray[tuple[int], np.dtype[np.float64]] = field(default_factory=_zeros)
    line_s: np.ndarray[tuple[int], np.dtype[np.float64]] = field(default_factory=_zeros)

    @classmethod
    def drawn(cls, seed: int) -> Errors:
        """Return those of one board, within what data sheets of such parts allow at room temperature."""
        rng = np.random.default_rng([seed, 24])
        return cls(
            float(rng.uniform(-30e-6, 30e-6)),
            tuple(float(g) for g in rng.uniform(-1e-3, 1e-3, 8)),
            1.0,
            float(rng.choice((-1.0, 1.0))) * db(100.0),
            float(rng.uniform(-15e-6, 15e-6)),
            float(rng.uniform(-2e-3, 2e-3)),
            rng.uniform(60.0, 160.0, POINTS),
            rng.uniform(-100e-9, 100e-9, 3),
            rng.uniform(0.0, 10e-9, 3),
        )


class Converter:
    """Four registers, six commands, a data line that goes low when a reading is there."""

    select = "B0"

    def __init__(self, taps: Taps, errors: Errors, seed: int = 0) -> None:
        self.taps, self.errors = taps, errors
        self._rng = np.random.default_rng([seed, 7])
        self._registers = [0, 0, 0, 0]
        self._answer: list[int] = []
        self._left = 0
        self._at = 0
        self._begun: int | None = None
        self.dead = False
        """Its supply is gone: it answers nothing."""
        self.never_ready = False
        self.read = 0
        self.stops_at = 0
        """The reading, counted in `read`, from which on it is never ready; 0: it does not stop."""

    def selected(self, board: Board) -> None:
        self._left, self._answer = 0, []
        board.lead("B", 3, True)

    def deselected(self, board: Board) -> None:
        board.lead("B", 3, False)

    def byte(self, board: Board, value: int) -> int:
        if self.dead:
            return 0
        if self._answer:
            return self._answer.pop(0)
        if self._left:
            self._registers[self._at] = value
            self._at, self._left = self._at + 1, self._left - 1
        elif value >> 4 == 0x4:
            self._at, self._left = value >> 2 & 3, (value & 3) + 1
        elif value >> 4 == 0x2:
            start = value >> 2 & 3
            self._answer = self._registers[start : start + (value & 3) + 1]
        elif value >> 1 == 0x3:
            self._registers, self._begun = [0, 0, 0, 0], None
        elif value >> 1 == 0x4:
            self._start(board)
        elif value >> 4 == 0x1:
            code = self._code(board)
            self._answer = [code >> 16 & 0xFF, code >> 8 & 0xFF, code & 0xFF]
        return 0xFF

    def _start(self, board: Board) -> None:
        board.now()
        self._begun = board.cycle
        stopped = self.stops_at and self.read >= self.stops_at
        if not self.never_ready and not stopped:
            board.lead("B", 3, True, False, board.cycle + int(READY_S[self._registers[1] >> 5] * HZ))

    def _code(self, board: Board) -> int:
        assert self._begun is not None, "read before it was started"
        board.now()
        self.read += 1
        source, gain, bypass = self._registers[0] >> 4, self._registers[0] >> 1 & 7, self._registers[0] & 1
        pace = self._registers[1] >> 5
        by_supply = self._registers[2] >> 6 == 3
        assert not self._registers[2] >> 4 & 3 or pace == 0, "mains rejection is for the slowest pace"
        assert not bypass or gain <= 2, "without its amplifier it multiplies by four at the most"
        plus, minus = self._inputs(board, source, self._begun, self._begun + int(READY_S[pace] * HZ))
        e = self.errors
        full_v = (SUPPLY_V if by_supply else REFERENCE_V * (1.0 + e.reference)) / (1 << gain)
        common = (plus + minus) / 2.0
        reach = abs(plus - minus) * (1 << gain) / 2.0
        if not bypass and not 0.2 + reach <= common <= SUPPLY_V - 0.2 - reach:
            return 0x7FFFFF  # the amplifier's outputs are at their ends
        noise_v = e.noise * NOISE_UV[gain] * 1e-6 * NOISE_OF_PACE[pace] * float(self._rng.standard_normal())
        volts = (plus - minus) * (1.0 + e.gain[gain]) + e.offset_v / (1 << gain) + e.offset_v / 10.0
        share = (volts + common * e.common + noise_v) / full_v
        share += e.curve * (share**3 - share)
        return min(max(round(share * FULL), -FULL), FULL - 1) & 0xFFFFFF

    def _inputs(self, board: Board, source: int, begin: int, end: int) -> tuple[float, float]:
        if source == 14:
            return SUPPLY_V / 2.0, SUPPLY_V / 2.0
        if source == 13:
            return SUPPLY_V / 4.0, 0.0
        x, y, z = (self._line(board, line, begin, end) for line in range(3))
        pairs = {0: (x, y), 1: (x, z), 3: (y, z), 8: (x, 0.0), 9: (y, 0.0), 10: (z, 0.0)}
        return pairs[source]

    def _line(self, board: Board, line: int, begin: int, end: int) -> float:
        circuit = board.circuit
        assert isinstance(circuit, TappedCircuit)
        point = self.taps.on(line)
        outputs_off = not board.data(0x24, 1)[0] & 0x20 or board.data(0x25, 1)[0] & 0x20
        if point is None or outputs_off or point >= POINTS:
            return SUPPLY_V / 2.0
        terminals, pins = circuit.taken(begin, end)
        at = float((pins if line == 2 else terminals)[point])
        ohm = self.errors.switch_ohm[point] + (0.0 if line == 2 else TAP_OHM)
        amps = self.errors.line_a[line] + self.errors.line_s[line] * (SUPPLY_V / 2.0 - at)
        return min(max(at + float(amps * ohm), -0.5), SUPPLY_V + 0.5)
