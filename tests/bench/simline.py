"""The simulator's own device, in memory, on a clock that only the test moves."""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol

from loomproof.bench.scanner import ScannerBench
from loomproof.virtual.link import Device, Sent
from loomproof.virtual.scanner import Scanner
from tests.bench.device import Clock
from tests.bench.noise import Harm, Noise


class Wired(Protocol):
    """A device at the other end of the line: bytes in, bytes out, at times of the caller's clock."""

    def power_on(self, now_s: float) -> None: ...
    def feed(self, data: bytes, now_s: float) -> None: ...
    def step(self, now_s: float) -> list[Sent]: ...
    def wake_s(self, now_s: float) -> float: ...


class SimLine:
    """A line to a simulated device. Bytes take their time at the line's rate; noise works on them."""

    def __init__(self, device: Wired, clock: Clock, noise: Noise) -> None:
        self.device = device
        self.clock = clock
        self.noise = noise
        self.rate = 115_200
        self._inward: list[tuple[float, int, bytes]] = []
        self._outward: list[tuple[float, int, bytes]] = []
        self._order = itertools.count()
        self._free_s = 0.0
        self.carried = b""
        self.sent_bytes = 0

    def send(self, data: bytes) -> None:
        self.clock.now += 10 * len(data) / self.rate
        self.sent_bytes += len(data)
        for late, piece in self.noise.to_device(data):
            heapq.heappush(self._inward, (self.clock.now + late, next(self._order), piece))

    def receive(self, timeout_s: float) -> bytes:
        deadline = self.clock.now + timeout_s
        while True:
            self._work()
            data = b""
            while self._outward and self._outward[0][0] <= self.clock.now:
                data += heapq.heappop(self._outward)[2]
            if data:
                return data
            due = [deadline, self.device.wake_s(self.clock.now)]
            due += [queue[0][0] for queue in (self._inward, self._outward) if queue]
            self.clock.now = max(self.clock.now + 1e-6, min(due))
            if self.clock.now >= deadline and not (self._outward and self._outward[0][0] <= deadline):
                return b""

    def _work(self) -> None:
        now = self.clock.now
        while self._inward and self._inward[0][0] <= now:
            arrived, _, piece = heapq.heappop(self._inward)
            if self.noise.resets():
                self.device.power_on(now)
            self.device.feed(piece, max(arrived, now))
        for sent in self.device.step(now):
            self.carried += sent.data
            done = max(sent.ready_s, self._free_s, now) + 10 * len(sent.data) / sent.baud
            self._free_s = done
            for late, piece in self.noise.to_host(sent.data):
                heapq.heappush(self._outward, (done + late, next(self._order), piece))

    def set_rate(self, rate: int) -> None:
        self.rate = rate

    def close(self) -> None:
        """Whatever is in the channel is lost with it, but not what `Noise` remembers."""


@contextmanager
def sim_bench(
    scanner: Scanner,
    harm: Harm | None = None,
    seed: int = 0,
    *,
    patience_s: float = 10.0,
    clock: Clock,
    noise: Noise | None = None,
) -> Iterator[ScannerBench]:
    """Open a bench on a simulated scanner; harm begins once the link is open."""
    with bench_over(
        Device(scanner), "sim:", harm, seed, patience_s=patience_s, clock=clock, noise=noise
    ) as bench:
        yield bench


@contextmanager
def bench_over(
    device: Wired,
    address: str,
    harm: Harm | None,
    seed: int,
    *,
    patience_s: float,
    clock: Clock,
    noise: Noise | None,
) -> Iterator[ScannerBench]:
    """Open a bench on any device over a line in memory; harm begins once the link is open."""
    noise = noise or Noise(Harm(), seed)
    lines: list[SimLine] = []

    def reach() -> SimLine:
        if lines:
            noise.remember(lines[-1].carried)
        lines.append(SimLine(device, clock, noise))
        return lines[-1]

    numbers = itertools.count(seed * 1000 + 1)
    bench = ScannerBench(
        reach, address, clock=clock, nonces=lambda: f"{next(numbers):08X}", patience_s=patience_s
    )
    bench.connect()
    if harm is not None:
        if harm.stale:
            # Replies of an earlier connection, to be thrown in later.
            bench.sense([0, 1, 3])
            bench.reconnect()
        noise.batches.clear()
        noise.harm = harm
    with bench:
        yield bench
