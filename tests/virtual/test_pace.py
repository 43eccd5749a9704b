"""The server's two clocks, on a line and a time that the test holds: nothing here sleeps."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest

from loomproof.loom.model import Loom
from loomproof.virtual.console import Control
from loomproof.virtual.link import Device
from loomproof.virtual.noise import Noise
from loomproof.virtual.scanner import Scanner
from loomproof.virtual.serve import Server
from tests.virtual.looms import small_loom


class HeldLine:
    """A line whose both ends the test holds."""

    address = "held"

    def __init__(self) -> None:
        self.to_device = b""
        self.to_host = b""
        self.takes = 1 << 30

    def watched(self) -> list[int]:
        return []

    def read(self) -> bytes:
        data, self.to_device = self.to_device, b""
        return data

    def write(self, data: bytes) -> int:
        taken = data[: self.takes]
        self.to_host += taken
        return len(taken)

    def host_baud(self) -> int | None:
        return None

    def close(self) -> None:
        pass


class Bench:
    """A server on a held line at a held time."""

    def __init__(self, *, paced: bool) -> None:
        self.time_s = 1000.0
        self.line = HeldLine()
        device = Device(Scanner(small_loom()))
        control = Control(device, Noise(), _no_loading)
        self.server = Server(device, self.line, control, paced=paced, clock=lambda: self.time_s)

    def answered_after(self, body: bytes) -> float:
        """How long the host waits for the end of a reply, s, in steps of 0.1 ms."""
        self.line.to_device, self.line.to_host = body, b""
        began_s = self.time_s
        for _ in range(200_000):
            self.server.turn()
            if self.line.to_host.endswith(b"\n"):
                return self.time_s - began_s
            self.time_s += 1e-4
        raise AssertionError("no reply")


@pytest.fixture
def bench_of() -> Iterator[Callable[[bool], Bench]]:
    """Make benches, paced or not, and close them."""
    made: list[Bench] = []

    def make(paced: bool) -> Bench:
        made.append(Bench(paced=paced))
        return made[-1]

    yield make
    for bench in made:
        bench.server.close()


def _no_loading(where: str) -> Loom:
    raise AssertionError(where)


def test_on_a_virtual_clock_nothing_is_waited_for(bench_of: Callable[[bool], Bench]) -> None:
    bench = bench_of(False)
    for body in (b"SENS:SETT 1000000\n", b"SENS:DRIV? #H1,#H2,#H4\n", b"MEAS:RES? #H1,#H10\n") * 5:
        assert bench.answered_after(body) == 0.0
    # The device's own clock has moved on all the same: a second for each of fifteen vectors.
    assert bench.server.now_s() > 15.0


@pytest.mark.parametrize(
    ("body", "work_s"),
    [
        (b"SENS:SETT?\n", 0.0),
        (b"MEAS:RES? #H1,#H10\n", 20e-3),
        (b"SENS:DRIV? " + b",".join([b"#H1"] * 100) + b"\n", 0.05),
    ],
)
def test_paced_a_reply_takes_its_work_and_its_bytes_both_ways(
    bench_of: Callable[[bool], Bench], body: bytes, work_s: float
) -> None:
    bench = bench_of(True)
    waited_s = bench.answered_after(body)
    bytes_s = (len(body) + len(bench.line.to_host)) * 10 / 115_200
    assert waited_s == pytest.approx(work_s + bytes_s, abs=5e-3)
    assert waited_s >= work_s + bytes_s - 1e-9


def test_a_host_that_asks_and_never_reads_does_not_fill_the_memory(bench_of: Callable[[bool], Bench]) -> None:
    bench = bench_of(False)
    bench.line.takes = 0
    for _ in range(3000):
        bench.line.to_device = b"SYST:CAP?\n"
        bench.server.turn()
    bench.line.takes = 1 << 30
    bench.server.turn()
    assert 100_000 < len(bench.line.to_host) < 300_000


def test_bytes_that_the_line_takes_a_few_at_a_time_arrive_whole(bench_of: Callable[[bool], Bench]) -> None:
    bench = bench_of(False)
    bench.line.takes = 3
    bench.line.to_device = b"SYST:CAP?\n"
    for _ in range(200):
        bench.server.turn()
    assert bench.line.to_host.startswith(b"LINK=1,POINTS=7,")
    assert bench.line.to_host.endswith(b"\n")


def test_a_stalled_line_answers_when_it_moves_again(bench_of: Callable[[bool], Bench]) -> None:
    bench = bench_of(False)
    bench.server.control.obey("line stall 3", bench.server.now_s())
    assert bench.answered_after(b"SENS:SETT?\n") == pytest.approx(3.0, abs=0.01)
