"""What every driver owes the seam, on real lines, and what a journal of it owes on replay."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

import pytest

from loomproof.bench.address import SerialAddress, TcpAddress
from loomproof.bench.journal import JournaledBench, ReplayBench
from loomproof.bench.opening import open_bench
from loomproof.bench.scanner import ScannerBench
from loomproof.bench.seam import Bench, point_set
from loomproof.bench.simulation import Simulation
from loomproof.errors import BenchError, LinkError, NoBenchError, UnfitError
from loomproof.loom.reading import load
from loomproof.virtual.scanner import Make, Scanner
from tests.bench.instruments import Matrix, served
from tests.bench.torture import FIXTURES

TAIL_LAMP = FIXTURES / "tail_lamp"


def joined_pair() -> tuple[int, int]:
    """Two cavities that one wire joins, as points of the in-order adapter."""
    loom = load(TAIL_LAMP).loom
    wire = next(w for w in loom.wires if w.a in loom.cavities and w.b in loom.cavities)
    return loom.cavities.index(wire.a) + 1, loom.cavities.index(wire.b) + 1


@contextmanager
def simulated(form: Callable[[SerialAddress | TcpAddress], str], *, tcp: bool) -> Iterator[Bench]:
    """Open a bench on the simulator's process, at the address that ``form`` makes of where it answers.

    Paced, so that a serial port at another rate hears rubbish, as it would of a real scanner.
    """
    simulation = Simulation(TAIL_LAMP, ["--paced"], tcp=tcp)
    try:
        where = simulation.address
        assert isinstance(where, SerialAddress | TcpAddress)
        with open_bench(form(where)) as opened:
            yield opened
    finally:
        simulation.end()


def visa_serial(where: SerialAddress | TcpAddress) -> str:
    assert isinstance(where, SerialAddress)
    return f"visa:ASRL{where.port}::INSTR"


def visa_tcp(where: SerialAddress | TcpAddress) -> str:
    assert isinstance(where, TcpAddress)
    return f"visa:TCPIP::{where.host}::{where.port}::SOCKET"


@contextmanager
def matrix_and_meter() -> Iterator[Bench]:
    on_it = Scanner(load(TAIL_LAMP).loom, Make(64))
    matrix = Matrix(lambda a, b: on_it.true_resistance(point_set(a), point_set(b), 0.0))
    with (
        served(matrix) as resource,
        open_bench(f"visa:{resource}?profile=generic-matrix-two-wire") as opened,
    ):
        yield opened


DRIVERS: dict[str, Callable[[], AbstractContextManager[Bench]]] = {
    "serial": lambda: simulated(str, tcp=False),
    "tcp": lambda: simulated(str, tcp=True),
    "visa serial": lambda: simulated(visa_serial, tcp=False),
    "visa tcp": lambda: simulated(visa_tcp, tcp=True),
    "matrix and meter": matrix_and_meter,
    "sim": lambda: open_bench("sim:", loom_path=TAIL_LAMP),
}
if os.name == "nt":  # which has no pseudo-terminals
    DRIVERS = {name: driver for name, driver in DRIVERS.items() if "serial" not in name}


@pytest.mark.parametrize("name", DRIVERS)
def test_every_driver(name: str) -> None:
    with DRIVERS[name]() as bench:
        keeps_the_contract(bench)


@pytest.mark.parametrize("name", ["sim", "matrix and meter"])
def test_a_journal_and_its_replay(tmp_path: Path, name: str) -> None:
    path = tmp_path / "run.journal.jsonl"
    with DRIVERS[name]() as bench:
        keeps_the_contract(JournaledBench(bench, path))
    replay = ReplayBench(path)
    keeps_the_contract(replay)
    assert replay.finished


def keeps_the_contract(bench: Bench) -> None:
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


@pytest.mark.skipif(os.name == "nt", reason="pseudo-terminals are POSIX")
def test_where_a_second_host_can_break_in_the_first_hears_nothing_wrong() -> None:
    """pyvisa-py does not lock a serial port: the second host's link takes the place of the first one's."""
    with DRIVERS["visa serial"]() as bench:
        with open_bench(bench.address) as second:
            assert second.sense([0]) == [0]
        assert isinstance(bench, ScannerBench)
        bench.link.patience_s = 1.0
        with pytest.raises(LinkError, match="no good reply"):
            bench.sense([1])


@pytest.mark.parametrize("name", ["serial", "tcp", "visa tcp"])
def test_a_second_host_is_told_that_another_holds_it(name: str) -> None:
    if name not in DRIVERS:
        pytest.skip("pseudo-terminals are POSIX")
    with DRIVERS[name]() as bench:
        with pytest.raises(NoBenchError) as caught:
            open_bench(bench.address, patience_s=1.0)
        told = f"{caught.value.message} {caught.value.cure}"
        place = bench.address.partition(":")[2].removeprefix("ASRL")
        assert place in told
        assert "another program" in told or "no other program" in told
        assert bench.sense([0]) == [0]  # and the first one has noticed nothing
