"""VISA benches with pyvisa-py, against an instrument of our own and the simulator over TCP sockets."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import MISSING, fields
from pathlib import Path

import pytest

from loomproof.bench.address import TcpAddress, VisaAddress
from loomproof.bench.interface import Bench
from loomproof.bench.matrix import MatrixBench
from loomproof.bench.opening import open_bench
from loomproof.bench.profile import _READERS, Profile, parse_profile, read_profile, shipped, shipped_text
from loomproof.bench.seam import point_set
from loomproof.bench.simulation import Simulation
from loomproof.bench.visa import Instrument
from loomproof.cli.main import run as command
from loomproof.errors import LinkError, NoBenchError, RefusedError, UnfitError, UsageError
from loomproof.loom.reading import load
from loomproof.virtual.scanner import Make, Scanner
from tests.bench.device import Clock
from tests.bench.instruments import Matrix, served
from tests.bench.torture import FIXTURES, run

FOUR = "generic-matrix-four-wire"
TWO = "generic-matrix-two-wire"
DOCUMENT = (FIXTURES.parent / "firmware_notes" / "matrix_bench.md").read_text(encoding="utf-8")

pytestmark = pytest.mark.usefixtures("all_closed")


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
        with bench:
            with pytest.raises(LinkError, match="MEASure"):
                bench.resistance(1, 2)
            with pytest.raises(LinkError):
                bench.resistance(1, 2)


@pytest.mark.parametrize("first", ["4.5E-2", "9.9E37"])
def test_a_meter_that_gives_the_reading_before_is_refused(matrix: Matrix, first: str) -> None:
    matrix.behind.append(first)
    with (
        served(matrix) as resource,
        open_bench(f"visa:{resource}?profile={TWO}") as bench,
        pytest.raises(UnfitError, match="does not follow the matrix"),
    ):
        bench.resistance(1, 2)
    assert not matrix.closed


@pytest.mark.parametrize("shared", [True, False])
@pytest.mark.parametrize("twice_at", range(1, 8))
def test_an_answer_given_twice_is_an_error_at_once(matrix: Matrix, shared: bool, twice_at: int) -> None:
    """The first four readings try the meter, the fifth to seventh are of an open pair and a joined one."""
    matrix.twice_at = twice_at
    with (
        served(matrix) as switch,
        served(matrix) as other,
        open_bench(f"visa:{switch}?profile={TWO}{'' if shared else f'&meter={other}'}") as bench,
    ):
        heard: list[float] = []
        with pytest.raises(LinkError, match=r"left over|refused|OPC"):
            heard.extend(bench.resistance(1, 1 << point) for point in (4, 1, 5))
        assert heard == [math.inf, 0.25, math.inf][: max(0, twice_at - 5)]
        assert matrix.readings == twice_at
        with pytest.raises(LinkError):  # and what was left over is never taken for a reading
            bench.resistance(1, 2)
    assert not matrix.closed


def test_a_meter_of_its_own_is_asked_who_it_is_and_what_it_minds(matrix: Matrix) -> None:
    meter = Matrix(two_nets)
    meter.errors.append('-410,"Query INTERRUPTED"')  # of what somebody did before
    setup = shipped_text(TWO) + 'setup = ["SENSe:NPLC 1"]\n'
    with served(matrix) as switch, served(meter) as other:
        boxes = Instrument(switch), Instrument(other)
        with pytest.raises(RefusedError, match="the meter refused a command: -113"):
            MatrixBench(*boxes, parse_profile(setup, "x"), "visa:test", wait=lambda _: None)
        boxes = Instrument(switch), Instrument(other)
        with MatrixBench(*boxes, read_profile(TWO), "visa:test", wait=lambda _: None) as bench:
            assert ("meter", "Invented Instruments Matrix 64 M7 2.1") in bench.capabilities().other
            meter.errors.append('-213,"Init ignored"')
            with pytest.raises(RefusedError, match="the meter refused a command: -213"):
                bench.resistance(1, 2)
    assert "SENSe:NPLC 1" in meter.heard


@pytest.mark.parametrize("told", ["-9.9E37", "-1E999", "1E999", "9.91E37", "1E38"])
def test_what_stands_for_no_reading_is_an_error(matrix: Matrix, bench: Bench, told: str) -> None:
    bench.resistance(1, 4)
    matrix.behind.append(told)
    with pytest.raises(LinkError, match="without a reading"):
        bench.resistance(1, 4)


def test_nothing_there() -> None:
    with pytest.raises(NoBenchError):
        open_bench(f"visa:TCPIP::127.0.0.1::1::SOCKET?profile={TWO}")


def test_profiles() -> None:
    assert set(shipped()) == {TWO, FOUR}
    assert read_profile(FOUR).crosspoint("3", 7) == "3007"
    good = 'name="x"\npoints=8\nchannel="{row}{point}"\nrows_a=["1"]\nrows_b=["2"]\n'
    good += 'measure="M?"\nohms=[0,1e6]\naccuracy={ohm=0.1,ratio=0.01}\n'
    good += "test_current_a=0.001\ntest_voltage_v=5\n"
    assert parse_profile(good, "x").points == 8
    for text, says in (
        (good + "colour=1\n", "colour"),
        (good.replace("points=8\n", ""), "points"),
        (good.replace("{row}", "{rwo}"), "rwo"),
        (good.replace('rows_b=["2"]', 'rows_b=["1"]'), "on one bus only"),
        (good + 'measure_four="F?"\n', "measure_four needs two rows"),
        (good.replace("]\nrows_b=[", ',"3"]\nrows_b=["4",') + 'measure_four="F?"\n', "needs accuracy_four"),
        ("=", "no TOML"),
    ):
        with pytest.raises(UsageError, match=says):
            parse_profile(text, "x")
    with pytest.raises(UsageError, match="cannot be read"):
        read_profile("no-such-profile")


@pytest.mark.parametrize(
    "line",
    [
        "points=true",
        "points=1",
        "points=4097",
        'points="8"',
        "rows_a=[]",
        'rows_a="1"',
        "rows_a=[1]",
        'rows_a=["1","3","5"]',
        "ohms=[1]",
        "ohms=[9,1]",
        "ohms=[0,inf]",
        "accuracy=3",
        "accuracy={ohm=1}",
        "accuracy={ohm=0,ratio=0.1}",
        "accuracy={ohm=1,ratio=nan}",
        "accuracy={ohm=1,ratio=0.1,foo=3}",
        "settle_ms=-4",
        "settle_ms=1e12",
        "settle_ms=60001",
        "settle_ms=nan",
        "reading_ms=1e12",
        "reading_ms=0",
        "ohms=[0,1e30]",
        "accuracy={ohm=1e30,ratio=0.1}",
        f"test_voltage_v=1{400 * '0'}",
        'settle_ms="x"',
        "reading_ms=inf",
        "test_current_a=0",
        "test_voltage_v=true",
        'close="ROUTe:CLOSe"',
        'close="{channels} {x}"',
        'close="{channels} {"',
        'close="{channels:999999999}"',
        'close="{channels} {channels}"',
        'setup="SENSe"',
        "measure=3",
        'measure="Ω?"',
        'measure="A?\\nB?"',
        'name=""',
        'channel="{row}"',  # every point of a row closed at once
        'channel="{point}"',
        'channel="{row}{point}{other}"',
        'channel="{row.x}{point}"',
        'channel="{row}{point:q}"',
        'channel="{row}{point:999999999d}"',
        'channel="{row}{point:{column}d}"',
        'channel="{row:.999999999}{point}"',
        'channel="{row"',
    ],
)
def test_each_key_of_a_profile_is_checked_and_named(line: str) -> None:
    key = line.split("=")[0]
    rest = [each for each in shipped_text(TWO).splitlines() if not each.startswith(key)]
    with pytest.raises(UsageError, match=f"^mine: {key} "):
        parse_profile("\n".join([*rest, line]), "mine")


def test_what_a_profile_may_hold_stands_in_the_document() -> None:
    """Every key with the default that the code has, and no key that it does not take."""
    rows = re.findall(r"^\| `(\w+)` \|[^|]+\| ([^|]*)\|", DOCUMENT.split("## The keys")[1], re.MULTILINE)
    told = {key: default.strip().strip("`") for key, default in rows}
    assert set(told) == set(_READERS) == {field.name for field in fields(Profile)}
    for field in fields(Profile):
        default = field.default
        if default is MISSING:
            assert told[field.name] == "", field.name
        elif default in ("", (), None):
            assert told[field.name] == "none", field.name
        else:
            assert told[field.name] == (f"{default:g}" if isinstance(default, float) else default)


def test_the_options_of_the_address_stand_in_the_document() -> None:
    for field in fields(VisaAddress):
        assert re.search(rf"^\| `{field.name}` \|", DOCUMENT, re.MULTILINE | re.IGNORECASE), field.name


def test_the_documents_example_measures_with_a_meter_of_its_own(matrix: Matrix, tmp_path: Path) -> None:
    (example,) = re.findall(r"```toml\n(.*?)```", DOCUMENT, re.DOTALL)
    profile = tmp_path / "mine.toml"
    profile.write_text(example, encoding="utf-8")
    with (
        served(matrix) as switch,
        served(matrix) as meter,
        open_bench(f"visa:{switch}?profile={profile}&meter={meter}") as bench,
    ):
        assert bench.resistance(point_set([2, 7]), 1) == 0.25
        assert bench.resistance(point_set([3, 7]), 1) == math.inf
        assert bench.capabilities().test_voltage_v == 9.0
    (channels,) = re.findall(r"then close `(.*)`", DOCUMENT)
    assert f"ROUTe:CLOSe {channels}" in matrix.heard


def test_profiles_are_listed_and_printed(capsys: pytest.CaptureFixture[str]) -> None:
    assert command(["bench", "profiles"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines == [f"{FOUR}: 32 points, two and four wires", f"{TWO}: 64 points, two wires"]
    assert command(["bench", "profiles", TWO]) == 0
    assert parse_profile(capsys.readouterr().out, "again") == read_profile(TWO)
    assert command(["bench", "profiles", "generic-matrix-two"]) == 2
    assert f"There is {TWO}." in capsys.readouterr().err


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


def test_the_serial_form_against_pyvisa_sim(monkeypatch: pytest.MonkeyPatch) -> None:
    """A back end that is not ours: what is sent must be just what its dialogue knows.

    Its meter reads the same whatever is closed, so it cannot be tried first.
    """
    monkeypatch.setattr(MatrixBench, "_try_meter", lambda self, point: None)
    backend = f"{Path(__file__).parent / 'scanner_serial.yaml'}@sim"
    address = VisaAddress("ASRL3::INSTR", profile=TWO, backend=backend)
    with open_bench(address) as opened:
        assert opened.identify().serial == "M8"
        assert opened.resistance(1, 2) == 0.25
