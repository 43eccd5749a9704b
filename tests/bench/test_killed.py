"""The host dies at any moment: no answer that it had is missing in the journal, and nothing stays driven."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from loomproof.bench.journal import ReplayBench
from loomproof.bench.scanner import ScannerBench
from loomproof.bench.simulation import Simulation
from loomproof.errors import LinkError
from loomproof.loom.reading import load
from loomproof.virtual.link import Device
from loomproof.virtual.scanner import Scanner
from tests.bench.device import Clock
from tests.bench.noise import Harm, Noise
from tests.bench.simline import SimLine
from tests.bench.torture import FIXTURES

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
@pytest.mark.parametrize("seed", range(4))
def test_no_answer_is_lost(tmp_path: Path, seed: int) -> None:
    simulation = Simulation(FIXTURES / "tail_lamp")
    path = tmp_path / "journal"
    try:
        host = subprocess.Popen(
            [sys.executable, "-c", HOST, str(simulation.address), str(path)], stdout=subprocess.PIPE
        )
        assert host.stdout is not None
        first = host.stdout.readline()
        time.sleep(random.Random(seed).uniform(0.0, 0.2))  # the moment of death, not a wait for anything
        host.send_signal(signal.SIGKILL)
        said = [first, *host.stdout.read().splitlines(keepends=True)]
        host.stdout.close()
        host.wait()
    finally:
        simulation.end()
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
