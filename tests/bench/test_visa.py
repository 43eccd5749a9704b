"""VISA benches with pyvisa-py, against an instrument of our own and the simulator over TCP sockets."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import pytest

from loomproof.bench.address import TcpAddress, VisaAddress
from loomproof.bench.matrix import MatrixBench
from loomproof.bench.opening import open_bench
from loomproof.bench.profile import parse_profile, read_profile, shipped
from loomproof.bench.seam import Bench, point_set
from loomproof.bench.simulation import Simulation
from loomproof.bench.visa import Instrument
from loomproof.errors import LinkError, NoBenchError, RefusedError, UnfitError, UsageError
from loomproof.loom.reading import load
from loomproof.virtual.scanner import Make, Scanner
from tests.bench.device import Clock
from tests.bench.instruments import Matrix, served
from tests.bench.torture import FIXTURES, run

FOUR = "generic-matrix-four-wire"
TWO = "generic-matrix-two-wire"


def two_nets(a: frozenset[int], b: frozenset[int]) -> float:
    """Points 1 and 2 are one net of 0.25 ohm."""
    return 0.25 if a & {1, 2} and b & {1, 2} else math.inf


@pytest.fixture
def matrix() -> Matrix:
    return Matrix(two_nets)


@pytest.fixture
def bench(matrix: Matrix) -> Iterator[Bench]:
    with served(matrix) as resource, open_bench(f"visa:{resource}?profile={FOUR}") as opened:
        yield opened


def test_readings(matrix: Matrix, bench: Bench) -> None:
    assert bench.identify().serial == "M7"
    assert bench.resistance(1, 2) == 0.25
    assert bench.resistance(1, 2, 4) == 0.25
    assert bench.resistance(1, 4) == math.inf
    assert bench.resistance(point_set([1, 5]), point_set([2, 7])) == 0.25
    assert "ROUTe:CLOSe (@1001,1005,2002,2007)" in matrix.heard
    assert not matrix.closed
    assert bench.statistics().round_trips > 0


def test_what_it_cannot(bench: Bench) -> None:
    able = bench.capabilities()
    assert (able.sense_ohm, able.volt_max, able.watch_us, able.four_wire) == (None, None, None, True)
    for ask in (
        lambda: bench.sense([1]),
        lambda: bench.voltage(1, 2),
        lambda: bench.diode(1, 2),
        lambda: bench.arm(50.0),
        lambda: bench.set_settle(100),
        lambda: bench.resistance(1, 1 << 32),
    ):
        with pytest.raises(UnfitError):
            ask()
    assert bench.temperature() is None


def test_a_refused_crosspoint_is_an_error_and_releases(matrix: Matrix, bench: Bench) -> None:
    matrix.errors.append('-222,"Data out of range"')
    with pytest.raises(RefusedError) as caught:
        bench.resistance(1, 2)
    assert caught.value.code == -222
    assert not matrix.closed


def test_silence_is_an_error_and_a_late_answer_is_never_taken(matrix: Matrix) -> None:
    with served(matrix) as resource:
        instrument = Instrument(resource, timeout_s=0.2)
        bench = MatrixBench(instrument, instrument, read_profile(TWO), "visa:test", wait=lambda _: None)
        matrix.deaf_to = "MEASure"
        with bench, pytest.raises(LinkError, match="MEASure"):
            bench.resistance(1, 2)
        with pytest.raises(LinkError):
            bench.resistance(1, 2)


def test_nothing_there() -> None:
    with pytest.raises(NoBenchError):
        open_bench(f"visa:TCPIP::127.0.0.1::1::SOCKET?profile={TWO}")


def test_profiles() -> None:
    assert set(shipped()) == {TWO, FOUR}
    assert read_profile(FOUR).crosspoint("3", 7) == "3007"
    good = 'name="x"\npoints=8\nchannel="{row}{point}"\nrows_a=["1"]\nrows_b=["2"]\n'
    good += 'measure="M?"\nohms=[0,1e6]\naccuracy={ohm=0.1,ratio=0.01}\n'
    assert parse_profile(good, "x").points == 8
    for text, says in (
        (good + "colour=1\n", "colour"),
        (good.replace("points=8\n", ""), "points"),
        (good.replace("{row}", "{rwo}"), "rwo"),
        (good.replace("[0,1e6]", "7"), "cannot be meant"),
        (good.replace('rows_b=["2"]', 'rows_b=["1"]'), "rows that differ"),
        (good + 'measure_four="F?"\n', "measure_four needs"),
        ("=", "no TOML"),
    ):
        with pytest.raises(UsageError, match=says):
            parse_profile(text, "x")
    with pytest.raises(UsageError, match="cannot be read"):
        read_profile("no-such-profile")


@pytest.mark.parametrize(("faults", "verdict"), [((), "pass"), (("open W2",), "fail")])
def test_matrix_and_meter_prove_a_loom(faults: tuple[str, ...], verdict: str) -> None:
    loom = load(FIXTURES / "tail_lamp").loom
    on_it = Scanner(loom, Make(32), faults=faults)

    def ohms(a: frozenset[int], b: frozenset[int]) -> float:
        return on_it.true_resistance(point_set(a), point_set(b), 0.0)

    with served(Matrix(ohms)) as resource, open_bench(f"visa:{resource}?profile={FOUR}") as opened:
        outcome = run(loom, opened, Clock(), meter_v=0.0)
    assert outcome.document.verdict == verdict


@pytest.mark.parametrize(("fault", "verdict"), [(None, "pass"), ("open W2", "fail")])
def test_a_scanner_behind_a_visa_resource_proves_a_loom(fault: str | None, verdict: str) -> None:
    folder: Path = FIXTURES / "tail_lamp"
    simulation = Simulation(folder, [f"--fault={fault}"] if fault else [], tcp=True)
    try:
        where = simulation.address
        assert isinstance(where, TcpAddress)
        with open_bench(f"visa:TCPIP::127.0.0.1::{where.port}::SOCKET") as opened:
            assert run(load(folder).loom, opened, Clock()).document.verdict == verdict
    finally:
        simulation.end()


def test_the_serial_form_against_pyvisa_sim() -> None:
    """A back end that is not ours: what is sent must be just what its dialogue knows."""
    backend = f"{Path(__file__).parent / 'scanner_serial.yaml'}@sim"
    address = VisaAddress("ASRL3::INSTR", profile=TWO, backend=backend)
    with open_bench(address) as opened:
        assert opened.identify().serial == "M8"
        assert opened.resistance(1, 2) == 0.25
