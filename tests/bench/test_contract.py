"""What every driver owes the seam, on real lines, and what a journal of it owes on replay."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import get_args

import networkx as nx
import pytest

from loomproof.bench import questions as q
from loomproof.bench.address import SCHEMES, SerialAddress, TcpAddress
from loomproof.bench.by_hand import AnswerLog, HandBench
from loomproof.bench.interface import Bench
from loomproof.bench.journal import JournaledBench, ReplayBench
from loomproof.bench.opening import open_bench
from loomproof.bench.scanner import ScannerBench
from loomproof.bench.seam import Capabilities, point_set, singles
from loomproof.bench.simulation import Simulation
from loomproof.errors import LinkError, NoBenchError, RefusedError, UnfitError
from loomproof.loom.reading import load
from loomproof.virtual.scanner import Make, Scanner
from tests.bench.instruments import Matrix, served
from tests.bench.torture import FIXTURES

TAIL_LAMP = FIXTURES / "tail_lamp"


def joined_to(point: int) -> list[int]:
    """The points whose cavities hang on that of this one, whatever is between."""
    loom = load(TAIL_LAMP).loom
    graph = nx.Graph([(wire.a, wire.b) for wire in loom.wires])
    graph.add_edges_from((part.ends[0], end) for part in loom.components for end in part.ends[1:])
    reached = nx.node_connected_component(graph, loom.cavities[point - 1])
    return [loom.cavities.index(end) + 1 for end in reached if end in loom.cavities]


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


@contextmanager
def by_hand() -> Iterator[Bench]:
    """A person with a meter, who lays both probes where the question says."""
    loom = load(TAIL_LAMP).loom
    on_it = Scanner(loom, Make(64))

    def touch(question: q.Question) -> q.Answer:
        match question:
            case q.Sweep(black, red):
                ohms = {one: on_it.true_resistance(one, black, 0.0) for one in singles(red)}
                return [sum(one for one, ohm in ohms.items() if ohm < 50.0)]
            case q.Diode(a, b):
                return on_it.diode(a, b, 0.0)
            case q.Resistance(a, b):
                return on_it.true_resistance(a, b, 0.0)
        raise AssertionError(question)

    with open_bench("hand:?beeps=30-60&clips=4") as opened:
        assert isinstance(opened, HandBench)
        opened.attach(touch, AnswerLog(), lambda: 0.0)
        yield opened


DRIVERS: dict[str, Callable[[], AbstractContextManager[Bench]]] = {
    "serial": lambda: simulated(str, tcp=False),
    "tcp": lambda: simulated(str, tcp=True),
    "visa serial": lambda: simulated(visa_serial, tcp=False),
    "visa tcp": lambda: simulated(visa_tcp, tcp=True),
    "matrix and meter": matrix_and_meter,
    "hand": by_hand,
    "sim": lambda: open_bench("sim:", loom_path=TAIL_LAMP),
    "sim with an insulation tester": lambda: open_bench("sim:?insulation=500&four-wire", loom_path=TAIL_LAMP),
    "sim with a capacitance meter": lambda: open_bench("sim:?cap&driver=1000&pulls=8", loom_path=TAIL_LAMP),
}
if os.name == "nt":  # which has no pseudo-terminals
    DRIVERS = {name: driver for name, driver in DRIVERS.items() if "serial" not in name}


@pytest.mark.skipif(os.name == "nt", reason="there are no pseudo-terminals")
def test_every_form_of_address_is_opened_here() -> None:
    assert {name.split()[0] for name in DRIVERS} >= set(SCHEMES)


@pytest.mark.parametrize("name", DRIVERS)
def test_every_driver(name: str) -> None:
    with DRIVERS[name]() as bench:
        keeps_the_contract(bench)


ALL_KINDS = [
    "hand",
    "sim",
    "sim with an insulation tester",
    "sim with a capacitance meter",
    "matrix and meter",
]


@pytest.mark.parametrize("name", ALL_KINDS)
def test_a_journal_and_its_replay(tmp_path: Path, name: str) -> None:
    path = tmp_path / "run.journal.jsonl"
    with DRIVERS[name]() as bench:
        keeps_the_contract(JournaledBench(bench, path))
    replay = ReplayBench(path)
    keeps_the_contract(replay)
    assert replay.finished


@dataclass(frozen=True)
class Asked:
    """A bench and three sets of its points: two that one wire joins, and points of neither."""

    bench: Bench
    first: int
    second: int
    apart: int

    @property
    def able(self) -> Capabilities:
        return self.bench.capabilities()


def senses(it: Asked) -> None:
    assert it.bench.sense([]) == []
    nothing, low = it.bench.sense([0, it.first])
    assert nothing == 0
    assert low & it.first
    assert low & it.second
    assert not low & it.apart


def settles(it: Asked) -> None:
    it.bench.set_settle(it.able.settle_min_us)
    with pytest.raises(UnfitError, match="below the bench's least"):
        it.bench.set_settle(it.able.settle_min_us - 1)


def measures_ohms(it: Asked) -> None:
    assert abs(it.bench.resistance(it.first, it.second)) < 5.0
    assert math.isinf(it.bench.resistance(it.first, it.apart))
    if it.able.four_wire:
        assert abs(it.bench.resistance(it.first, it.second, 4)) < 1.0
    else:
        with pytest.raises(UnfitError, match="four wires"):
            it.bench.resistance(it.first, it.second, 4)


def measures_volts(it: Asked) -> None:
    assert abs(it.bench.voltage(it.first, it.apart)) < 0.5


def reads_diodes(it: Asked) -> None:
    assert abs(it.bench.diode(it.first, it.second)) < 0.1
    assert math.isinf(it.bench.diode(it.first, it.apart & -it.apart))


def reads_capacitance(it: Asked) -> None:
    """More points held at 0 V draw more; what is joined does not settle."""
    all_apart = it.bench.capacitance(it.first | it.second, it.apart)
    one_apart = it.bench.capacitance(it.first | it.second, it.apart & -it.apart)
    assert all_apart is not None
    assert one_apart is not None
    assert 1e-12 < one_apart < all_apart + 20e-12 < 100e-9
    assert it.bench.capacitance(it.first, it.second) is None


def sweeps(it: Asked) -> None:
    assert it.bench.sweep(it.first, it.second | it.apart) == it.second
    assert it.bench.sweep(it.apart & -it.apart, it.first, chained=True) == 0


def arms(it: Asked) -> None:
    with pytest.raises(UnfitError, match="over this bench's largest"):
        it.bench.arm(it.able.insulation_v + 1)
    it.bench.arm(it.able.insulation_v)


def reads_insulation(it: Asked) -> None:
    volts = it.able.insulation_v
    it.bench.arm(volts)
    assert it.bench.insulation(it.first, it.apart, volts, 10) > 1e6
    with pytest.raises(RefusedError):  # armed for one test
        it.bench.insulation(it.first, it.apart, volts, 10)


def knows_its_temperature(it: Asked) -> None:
    celsius = it.bench.temperature()
    assert celsius is None or -20.0 < celsius < 60.0


def watches(it: Asked) -> None:
    seen = list(it.bench.watch([it.first, 0], seconds=0.05))
    assert [(event.number, event.index) for event in seen] == [(0, 0), (1, 1)]
    assert seen[0].low & it.second
    assert not seen[1].low
    ended = it.bench.watched
    assert ended is not None
    assert (ended.events, ended.lost) == (2, 0)
    broken_off = it.bench.watch([it.first])
    next(broken_off)
    broken_off.close()
    assert it.bench.watched is not None
    assert it.bench.sense([0]) == [0]  # and it listens again


def is_confirmed(it: Asked) -> None:
    it.bench.confirm()
    assert it.bench.identify() == it.bench.identify()


def counts_and_releases(it: Asked) -> None:
    before = it.bench.statistics().round_trips
    it.bench.release()
    it.bench.release()
    it.bench.confirm()
    assert it.bench.statistics().round_trips > before


CHECKS: dict[type, tuple[q.Question, Callable[[Asked], None]]] = {
    q.Sense: (q.Sense((0,)), senses),
    q.Settle: (q.Settle(1000), settles),
    q.Resistance: (q.Resistance(1, 2), measures_ohms),
    q.Voltage: (q.Voltage(1, 2), measures_volts),
    q.Diode: (q.Diode(1, 2), reads_diodes),
    q.Capacitance: (q.Capacitance(1, 2), reads_capacitance),
    q.Sweep: (q.Sweep(1, 2), sweeps),
    q.Arm: (q.Arm(50.0), arms),
    q.Insulation: (q.Insulation(1, 2, 50.0, 10), reads_insulation),
    q.Temperature: (q.Temperature(), knows_its_temperature),
    q.Watch: (q.Watch((1,)), watches),
    q.Confirm: (q.Confirm(), is_confirmed),
    q.Carried: (q.Carried(), counts_and_releases),
    q.Release: (q.Release(), counts_and_releases),
}
"""Each kind of question: one of it, and what a bench that claims to be able to it is held to."""


def test_every_question_is_in_the_contract() -> None:
    assert set(CHECKS) == set(get_args(q.Question)) - {q.NextEvent, q.Watched}, "those two are a watch's own"


def test_every_ability_is_claimed_by_a_driver_here_and_lacked_by_another() -> None:
    """So that both halves of the contract are asked of something."""
    claimed: set[type] = set()
    lacked: set[type] = set()
    for name in ALL_KINDS:
        with DRIVERS[name]() as bench:
            able = bench.capabilities()
        for kind, (question, _) in CHECKS.items():
            (lacked if q.refusal(question, able) else claimed).add(kind)
    assert claimed == set(CHECKS)
    assert lacked == {
        q.Sense,
        q.Settle,
        q.Voltage,
        q.Diode,
        q.Capacitance,
        q.Arm,
        q.Insulation,
        q.Watch,
        q.Sweep,
    }


def keeps_the_contract(bench: Bench) -> None:
    """Ask all that it claims to be able to, and all that it does not."""
    able = bench.capabilities()
    a, b = joined_pair()
    first, second = point_set([a]), point_set([b])
    apart = point_set(range(1, 14)) & ~first & ~second
    assert all((bench.identify().maker, bench.identify().model, bench.identify().serial))
    assert able.points >= 13
    it = Asked(bench, first, second, apart & ~point_set(joined_to(a)))
    for question, check in CHECKS.values():
        if q.refusal(question, able):
            with pytest.raises(UnfitError):
                bench.ask(question)
        else:
            check(it)
    if able.ohms is not None or able.farads is not None:  # else it is never asked about two sets
        pair = bench.resistance if able.ohms is not None else bench.capacitance
        for wrong in ((0, first), (first, first), (first | second, second)):
            with pytest.raises(ValueError, match="two sets"):
                pair(*wrong)
        with pytest.raises(UnfitError, match=f"point {able.points + 1} was asked for"):
            pair(first, 1 << able.points)
    bench.close()
    bench.close()
    assert bench.released
    for kind, (question, _) in CHECKS.items():
        if kind is not q.Carried:  # what the line has carried can still be told
            with pytest.raises(NoBenchError, match="closed"):
                bench.ask(question)


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
