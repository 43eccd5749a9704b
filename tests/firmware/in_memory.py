"""The emulated board behind the ordinary driver in memory, on a clock that only the test moves."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from loomproof.bench.scanner import ScannerBench
from loomproof.virtual.link import Sent
from tests.bench.device import Clock
from tests.bench.noise import Harm, Noise
from tests.bench.simline import bench_over
from tests.firmware.emulated import HZ, Board
from tests.firmware.on_loom import LoomOnPins

_STEP_S = 0.002
_AT_ONCE = 1_000_000_000
"""Bits per second: what the chip sends has taken its time on its own wire already."""


class EmulatedDevice:
    """The board as what `simline` has at the other end of its line."""

    def __init__(self, board: Board, clock: Clock) -> None:
        self.board = board
        self._began_s = clock() - board.seconds

    def power_on(self, now_s: float) -> None:
        """The reset pin is pulled."""
        self.board.reset()

    def feed(self, data: bytes, now_s: float) -> None:
        self.board.feed(data)

    def step(self, now_s: float) -> list[Sent]:
        due = int((now_s - self._began_s) * HZ) - self.board.cycle
        if due <= 0:
            return []
        data = self.board.run(due)
        circuit = self.board.circuit
        if isinstance(circuit, LoomOnPins) and circuit.at(now_s):
            self.board.touch()
        return [Sent(now_s, data, _AT_ONCE)] if data else []

    def wake_s(self, now_s: float) -> float:
        return now_s + _STEP_S


@contextmanager
def board_bench(
    board: Board,
    harm: Harm | None = None,
    seed: int = 0,
    *,
    patience_s: float = 10.0,
    clock: Clock,
    noise: Noise | None = None,
) -> Iterator[ScannerBench]:
    """Open a bench on the board; harm begins once the link is open. As `simline.sim_bench`."""
    device = EmulatedDevice(board, clock)
    with bench_over(
        device, "serial:emulated", harm, seed, patience_s=patience_s, clock=clock, noise=noise
    ) as bench:
        yield bench
