"""What every driver owes the seam, on real lines: a pseudo-terminal, TCP, VISA over TCP, matrix and meter."""

from __future__ import annotations

import math
import os
from collections.abc import Iterator

import pytest

from loomproof.bench.address import TcpAddress
from loomproof.bench.opening import open_bench
from loomproof.bench.seam import Bench, point_set
from loomproof.bench.simulation import Simulation
from loomproof.errors import BenchError, UnfitError
from loomproof.loom.reading import load
from loomproof.virtual.scanner import Make, Scanner
from tests.bench.instruments import Matrix, served
from tests.bench.torture import FIXTURES

TAIL_LAMP = FIXTURES / "tail_lamp"
KINDS = ["pty", "tcp", "visa", "matrix"]
if os.name == "nt":
    KINDS.remove("pty")


def joined_pair() -> tuple[int, int]:
    """Two cavities that one wire joins, as points of the in-order adapter."""
    loom = load(TAIL_LAMP).loom
    wire = next(w for w in loom.wires if w.a in loom.cavities and w.b in loom.cavities)
    return loom.cavities.index(wire.a) + 1, loom.cavities.index(wire.b) + 1


@pytest.fixture(params=KINDS)
def bench(request: pytest.FixtureRequest) -> Iterator[Bench]:
    if request.param == "matrix":
        on_it = Scanner(load(TAIL_LAMP).loom, Make(64))
        matrix = Matrix(lambda a, b: on_it.true_resistance(point_set(a), point_set(b), 0.0))
        with (
            served(matrix) as resource,
            open_bench(f"visa:{resource}?profile=generic-matrix-two-wire") as opened,
        ):
            yield opened
        return
    simulation = Simulation(TAIL_LAMP, tcp=request.param != "pty")
    try:
        where = simulation.address
        address = str(where)
        if request.param == "visa":
            assert isinstance(where, TcpAddress)
            address = f"visa:TCPIP::127.0.0.1::{where.port}::SOCKET"
        with open_bench(address) as opened:
            yield opened
    finally:
        simulation.end()


def test_every_driver(bench: Bench) -> None:
    able = bench.capabilities()
    a, b = joined_pair()
    first, second = point_set([a]), point_set([b])
    assert bench.identify() == bench.identify()
    assert all((bench.identify().maker, bench.identify().model, bench.identify().serial))
    assert able.points >= 13
    assert bench.resistance(first, second) < 5.0
    alone = point_set(range(1, 14)) & ~first & ~second
    if able.sense_ohm is None:
        with pytest.raises(UnfitError):
            bench.sense([0])
    else:
        assert bench.sense([0, first])[0] == 0
        low = bench.sense([first])[0]
        assert low & second
        assert math.isinf(bench.resistance(first, alone & ~low))
    for wrong in ((0, first), (first, first), (first | second, second)):
        with pytest.raises(ValueError, match="two sets"):
            bench.resistance(*wrong)
    with pytest.raises(UnfitError):
        bench.resistance(first, 1 << able.points)
    before = bench.statistics().round_trips
    bench.release()
    bench.release()
    assert bench.statistics().round_trips > before
    bench.close()
    bench.close()
    with pytest.raises(BenchError):
        bench.resistance(first, second)
