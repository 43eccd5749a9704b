"""A cable pulled out of a real port or socket: an error at once, and back only to the same scanner."""

from __future__ import annotations

import os
import random
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from loomproof.bench.address import Address
from loomproof.bench.journal import JournaledBench, ReplayBench
from loomproof.bench.opening import open_bench
from loomproof.bench.scanner import ScannerBench
from loomproof.errors import LinkError, NoBenchError, UnfitError
from tests.bench.noise import Harm, Noise
from tests.bench.proxy import Kind, Proxy
from tests.bench.real_line import KINDS, real_line
from tests.bench.torture import FIXTURES, digest_of, loom_of, reference, run
from tests.simulating import started

NAME = "tail_lamp"
SETS = [1 << point for point in range(13)]

pytestmark = pytest.mark.skipif(os.name == "nt", reason="pseudo-terminals are POSIX")


@contextmanager
def simulated(kind: Kind, *options: str) -> Iterator[Address]:
    simulation = started(FIXTURES / NAME, options, tcp=kind == "tcp")
    try:
        yield simulation.address
    finally:
        simulation.end()


def opened(proxy: Proxy) -> ScannerBench:
    bench = open_bench(proxy.address, patience_s=2.0)
    assert isinstance(bench, ScannerBench)
    return bench


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("kind", KINDS)
def test_a_proof_whose_cable_is_pulled_claims_nothing_and_may_be_run_again(
    tmp_path: Path, kind: Kind, seed: int
) -> None:
    """Pulled at a seeded command of the proof, half of a reply on the line."""
    with real_line(kind, NAME, started) as line, opened(line.proxy) as bench:
        line.proxy.pull_after = random.Random(seed).randrange(1, 25)
        with pytest.raises(LinkError, match="failed") as caught:
            run(loom_of(NAME), bench, time.monotonic)
        assert caught.value.cure
        with pytest.raises(NoBenchError):  # still out
            bench.reconnect()
        line.proxy.plug()
        bench.reconnect()
        assert digest_of(run(loom_of(NAME), bench, time.monotonic)) == reference(NAME, (), 1024)


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_measured_before_is_lost_and_the_settle_time_comes_back(tmp_path: Path, kind: Kind) -> None:
    journal = tmp_path / "journal"
    with real_line(kind, NAME, started) as line, opened(line.proxy) as bench:
        journaled = JournaledBench(bench, journal)
        journaled.set_settle(3000)
        told = [journaled.sense([each])[0] for each in SETS[:5]]
        line.proxy.pull()
        with pytest.raises(LinkError):
            journaled.sense(SETS)
        line.proxy.plug()
        bench.reconnect()
        assert bench.link.ask("SENS:SETT?", reply_bytes=10) == "3000"
        assert [bench.sense([each])[0] for each in SETS[:5]] == told
        journaled.detach()
    replay = ReplayBench(journal)
    replay.set_settle(3000)
    assert [replay.sense([each])[0] for each in SETS[:5]] == told
    with pytest.raises(LinkError):  # what went wrong is in the journal too
        replay.sense(SETS)


@pytest.mark.parametrize("options", [("--seed", "7"), ("--points", "64")], ids=["serial number", "points"])
@pytest.mark.parametrize("kind", KINDS)
def test_another_scanner_in_its_place_is_refused(
    tmp_path: Path, kind: Kind, options: tuple[str, ...]
) -> None:
    with (
        simulated(kind) as first,
        simulated(kind, *options) as second,
        Proxy(kind, first, Noise(Harm()), tmp_path, lambda: None) as proxy,
        opened(proxy) as bench,
    ):
        before = bench.sense(SETS)
        proxy.pull()
        with pytest.raises(LinkError):
            bench.sense(SETS)
        proxy.plug(second)
        with pytest.raises(UnfitError, match="another scanner answers") as caught:
            bench.reconnect()
        assert "Plug the first one in again" in caught.value.cure
        with pytest.raises(NoBenchError, match="closed"):
            bench.sense(SETS)
        proxy.pull()
        proxy.plug(first)
        bench.reconnect()
        assert bench.sense(SETS) == before
