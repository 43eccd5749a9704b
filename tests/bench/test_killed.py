"""The host dies at any moment: no answer that it had is missing in the journal, and nothing stays driven."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
from contextlib import suppress
from functools import partial
from pathlib import Path

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.journal import JournaledBench, ReplayBench
from loomproof.bench.opening import open_bench
from loomproof.bench.scanner import ScannerBench
from loomproof.bench.simulation import Simulation
from loomproof.errors import LinkError
from loomproof.jobs.prove import prove
from loomproof.loom.reading import load
from loomproof.planning.request import Request
from loomproof.virtual.link import Device
from loomproof.virtual.scanner import Scanner
from tests.bench.device import Clock
from tests.bench.noise import Harm, Noise
from tests.bench.simline import SimLine
from tests.bench.torture import FIXTURES
from tests.cleared import cleared

HOST = """
import sys
from pathlib import Path
from loomproof.bench.journal import JournaledBench
from loomproof.bench.opening import open_bench
bench = JournaledBench(open_bench(sys.argv[1]), Path(sys.argv[2]))
for number in range(100000):
    low = bench.sense([1 << number % 13])
    print(number, f"#H{low[0]:X}", flush=True)
"""


@pytest.mark.skipif(os.name == "nt", reason="kill -9 is POSIX")
@pytest.mark.parametrize("seed", range(6))
def test_no_answer_is_lost(tmp_path: Path, seed: int) -> None:
    """Killed as soon as it has told so many answers, a seeded number: wherever it is by then."""
    simulation = Simulation(FIXTURES / "tail_lamp", tcp=seed % 2 == 1)
    path = tmp_path / "journal"
    try:
        host = subprocess.Popen(
            [sys.executable, "-c", HOST, str(simulation.address), str(path)], stdout=subprocess.PIPE
        )
        assert host.stdout is not None
        said = [host.stdout.readline() for _ in range(random.Random(seed).randrange(1, 600))]
        host.send_signal(signal.SIGKILL)
        said += host.stdout.read().splitlines(keepends=True)
        host.stdout.close()
        host.wait()
        with open_bench(simulation.address) as bench:  # the scanner is free for the next host
            assert bench.sense([0]) == [0]
    finally:
        simulation.end()
    assert all(said)
    known = [line.split() for line in said if line.endswith(b"\n")]
    journal = path.read_bytes().split(b"\n")
    answers = [json.loads(line)["answer"][0] for line in journal[1:-1]]
    assert [low.decode() for _, low in known] == answers[: len(known)]
    replay = ReplayBench(path)
    for number, answer in enumerate(answers):
        assert replay.sense([1 << number % 13]) == [int(answer[2:], 16)]
    assert replay.finished or journal[-1]


def test_a_watch_ends_five_seconds_after_the_host_fell_silent() -> None:
    clock = Clock()
    device = Device(Scanner(load(FIXTURES / "tail_lamp").loom))
    bench = ScannerBench(lambda: SimLine(device, clock, Noise(Harm())), "sim:", clock=clock).connect()
    events = bench.watch([1, 2])
    next(events)
    assert device.commands.watch is not None
    clock.now += 5.1
    device.step(clock.now)
    assert device.commands.watch is None
    with pytest.raises(LinkError, match="ended by itself"):
        events.close()
    bench.close()


class Killed(BaseException):
    """The host is no more; nothing that it would still do on its way out reaches the device."""


def same(line: SimLine) -> SimLine:
    return line


class DyingLine(SimLine):
    """A line whose host dies while it sends its n-th command, anywhere in it, or waits for the reply."""

    def __init__(self, device: Device, clock: Clock, rng: random.Random, commands: int) -> None:
        super().__init__(device, clock, Noise(Harm()))
        self._rng = rng
        self._left = rng.randrange(commands)
        self.in_watch = False
        """Whether the host lives until a watch has begun, and dies with the next command."""
        self.dead = False

    def send(self, data: bytes) -> None:
        if self.dead:
            raise Killed
        self._left -= 1
        if self.in_watch:
            self._left = 0 if b"WATC:STAR" in data else max(self._left, 1)
            self.in_watch = b"WATC:STAR" not in data
        if self._left >= 0:
            return super().send(data)
        self.dead = True
        super().send(data[: self._rng.randrange(len(data) + 1)])
        raise Killed

    def receive(self, timeout_s: float) -> bytes:
        if self.dead:
            raise Killed
        return super().receive(timeout_s)


def test_nothing_is_driven_five_seconds_after_the_host_died(tmp_path: Path) -> None:
    """Forty seeded moments of a proof with a watch; every fourth falls into the watch."""
    loom = load(FIXTURES / "tail_lamp").loom
    watching = 0
    for seed in range(40):
        clock = Clock()
        device = Device(Scanner(loom))
        line = DyingLine(device, clock, random.Random(seed), 70)
        line.in_watch = seed % 4 == 0
        request = Request(loom, in_order(loom.cavities), "run", "2031-05-04T00:00:00Z", watch_s=0.2)
        path = tmp_path / f"{seed}.jsonl"
        with suppress(Killed):
            bench = ScannerBench(partial(same, line), "sim:", clock=clock).connect()
            with JournaledBench(bench, path, clock=clock) as journaled:
                for _ in prove(request, journaled, cleared(loom, journaled)):
                    pass
        if not line.dead:
            continue
        device.step(clock.now)
        watching += device.commands.watch is not None
        clock.now += 5.1
        device.step(clock.now)
        assert device.commands.watch is None
    assert watching > 0
