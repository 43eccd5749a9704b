"""The scanner driver: batches, capabilities, refusals, coming back."""

from __future__ import annotations

import itertools
import math
import random

import pytest

from loomproof.bench.frames import write_set
from loomproof.bench.interface import Bench
from loomproof.bench.link import Line
from loomproof.bench.scanner import ScannerBench
from loomproof.bench.seam import Identity, point_set
from loomproof.errors import LinkError, NoBenchError, RefusedError, UnfitError
from tests.bench.device import Clock, MemoryLine, Scanner

pytestmark = pytest.mark.usefixtures("all_closed")


class Rig:
    """A driver, its line and its scanner."""

    def __init__(self, scanner: Scanner | None = None, connect: bool = True) -> None:
        self.clock = scanner.clock if scanner else Clock()
        self.scanner = scanner or Scanner(self.clock, groups=(frozenset({1, 2, 3}), frozenset({5, 9})))
        self.lines: list[MemoryLine] = []
        nonces = (f"{n:08X}" for n in itertools.count(7))
        self.ended = 0
        self.bench = ScannerBench(
            self.reach, "tcp:test:1", clock=self.clock, nonces=lambda: next(nonces), on_close=self.end
        )
        if connect:
            self.bench.connect()

    def reach(self) -> MemoryLine:
        self.lines.append(MemoryLine(self.scanner, self.clock))
        return self.lines[-1]

    def end(self) -> None:
        self.ended += 1

    @property
    def line(self) -> MemoryLine:
        return self.lines[-1]


def test_it_is_a_bench() -> None:
    bench: Bench = Rig().bench
    assert bench.identify() == Identity("Invented Instruments", "Pin Scanner", "SN1", "1.0")
    assert bench.address == "tcp:test:1"


def test_sense() -> None:
    rig = Rig()
    assert rig.bench.sense([0, point_set([1]), point_set([9, 16])]) == [
        0,
        point_set([1, 2, 3]),
        point_set([5, 9, 16]),
    ]
    assert rig.bench.sense([]) == []


@pytest.mark.parametrize(("points", "line"), [(16, 0), (16, 200), (512, 0), (512, 1024), (100, 300)])
def test_no_batch_can_exceed_the_line(points: int, line: int) -> None:
    clock = Clock()
    scanner = Scanner(clock, points=points, line=line, groups=(frozenset(range(1, points + 1)),))
    rig = Rig(scanner)
    rng = random.Random(points + line)
    drives = [rng.getrandbits(points) for _ in range(40)]
    everything = (1 << points) - 1
    assert rig.bench.sense(drives) == [everything if drive else 0 for drive in drives]
    longest = max(len(sent) for sent in rig.line.sent)
    assert longest <= scanner.line
    senses = [body for body in scanner.executed if body.startswith("SENS:DRIV?")]
    most = max(body.count(",") + 1 for body in senses)
    # Longest possible reply of a batch, as the link's page counts it: a frame of 13 bytes, and for each set
    # ceil(points / 4) + 2 and a comma, the last one's too.
    assert most == 1 or 13 + most * (-(-points // 4) + 3) <= scanner.line
    assert 13 + 11 + (most + 1) * (len(write_set(everything)) + 1) - 1 > scanner.line or most == 40


@pytest.mark.parametrize("most", [1, 2, 5])
def test_a_batch_that_the_device_finds_too_long_is_sent_in_parts(most: int) -> None:
    rig = Rig(Scanner(Clock(), points=64, line=1000, most_sets=most))
    drives = [1 << (i % 64) for i in range(100)]
    assert rig.bench.sense(drives) == drives
    refused = sum(body.count(",") + 1 > most for body in rig.scanner.executed if "DRIV" in body)
    assert refused < 15  # it does not try the same again
    with pytest.raises(UnfitError, match="watch fewer at a time"):
        next(rig.bench.watch(drives[: most + 1]))


def test_a_device_that_is_another_by_now_is_refused() -> None:
    rig = Rig()
    rig.bench.confirm()
    rig.scanner.identity = "Invented Instruments,Pin Scanner,SN2,1.0"
    assert rig.bench.sense([1])
    with pytest.raises(UnfitError, match=r"another scanner answers .* SN2 .*bound to .* SN1"):
        rig.bench.confirm()


def test_after_a_silence_it_is_asked_who_it_is() -> None:
    rig = Rig()
    rig.scanner.identity = "Invented Instruments,Pin Scanner,SN2,1.0"
    rig.clock.now += 3.0
    with pytest.raises(UnfitError, match="another scanner answers"):
        rig.bench.sense([1])
    assert rig.scanner.executed[-1] == "SYST:LINK:CLOS"


def test_batches_shrink_and_grow_again() -> None:
    clock = Clock()
    scanner = Scanner(clock, points=64, line=1000)
    rig = Rig(scanner)
    rig.line.to = lambda data: [] if len(data) > 300 else [data]
    drives = [1 << (i % 64) for i in range(400)]
    assert rig.bench.sense(drives) == drives
    sizes = [body.count(",") + 1 for body in scanner.executed if body.startswith("SENS:DRIV?")]
    assert sum(sizes) == 400
    rig.line.to = lambda data: [data]
    assert rig.bench.sense(drives * 20) == drives * 20
    grown = [body.count(",") + 1 for body in scanner.executed if body.startswith("SENS:DRIV?")]
    assert max(grown[len(sizes) :]) > max(sizes)
    assert dict(rig.bench.statistics().extra)["abandoned"] >= 1


def test_without_progress_shrinking_ends_too() -> None:
    clock = Clock()
    rig = Rig(Scanner(clock, points=64, line=1000))
    rig.line.to = lambda data: [] if b"SENS:DRIV" in data else [data]
    before = clock.now
    with pytest.raises(LinkError, match="no good reply"):
        rig.bench.sense([1 << (i % 64) for i in range(40)])
    assert clock.now - before < 12.0


def test_readings() -> None:
    rig = Rig()
    bench = rig.bench
    assert bench.resistance(1, 2) == 0.125
    assert bench.resistance(1, 8) == math.inf
    assert bench.diode(1, 2) == 0.6
    assert bench.voltage(1, 2) == 0.0
    assert bench.temperature() == 21.5
    bench.arm(50.0)
    assert bench.insulation(1, 2, 50.0, 100) == 5e8
    with pytest.raises(RefusedError) as caught:
        bench.insulation(1, 2, 50.0, 100)
    assert caught.value.code == -203
    assert bench.self_test() == 0


def test_what_the_bench_lacks_is_refused_before_it_is_asked() -> None:
    rig = Rig(Scanner(Clock(), capabilities="FOUR=0"))
    asked = len(rig.line.sent)
    for ask in (
        lambda: rig.bench.resistance(1, 2),
        lambda: rig.bench.voltage(1, 2),
        lambda: rig.bench.diode(1, 2),
        lambda: rig.bench.arm(100.0),
        lambda: rig.bench.set_settle(1),
        lambda: rig.bench.sense([1 << 16]),
        lambda: next(rig.bench.watch([1])),
    ):
        with pytest.raises(UnfitError):
            ask()
    assert len(rig.line.sent) == asked


@pytest.mark.parametrize(
    ("answer", "says"),
    [
        ("#H1", "1 answers to 2 sets"),
        ("#H1,#H10000", "names point 17"),
        ("#H1,9", "no point set"),
        ("OK", "1 answers"),
    ],
)
def test_an_answer_outside_the_contract_is_an_error(answer: str, says: str) -> None:
    rig = Rig()
    rig.scanner.refuse["SENS:DRIV?"] = answer
    with pytest.raises(LinkError, match=says):
        rig.bench.sense([1, 2])


@pytest.mark.parametrize("answer", ["9.91E37", "OK", "", "1,2"])
def test_no_number_is_an_error(answer: str) -> None:
    rig = Rig()
    rig.scanner.refuse["MEAS:RES?"] = answer
    with pytest.raises(LinkError):
        rig.bench.resistance(1, 2)


def test_nothing_answers() -> None:
    rig = Rig(connect=False)
    rig.scanner.feed = lambda data: b""  # type: ignore[method-assign]  # a device that is switched off
    with pytest.raises(NoBenchError, match="pin scanner"):
        rig.bench.connect(patience_s=2.0)
    assert rig.line.closed
    assert rig.ended == 1


def test_leaving_releases_and_closes_on_every_way_out() -> None:
    rig = Rig()
    with pytest.raises(KeyboardInterrupt), rig.bench:
        raise KeyboardInterrupt
    assert rig.scanner.executed[-2:] == ["ROUT:OPEN:ALL", "SYST:LINK:CLOS"]
    assert rig.line.closed
    rig.bench.close()
    assert rig.ended == 1
    with pytest.raises(NoBenchError, match="closed"):
        rig.bench.sense([1])


def test_after_a_pause_the_link_is_opened_anew_and_the_settle_time_set_again() -> None:
    rig = Rig()
    rig.bench.set_settle(2000)
    rig.clock.now += 60.0
    assert rig.bench.sense([1]) == [7]
    assert rig.scanner.executed[-4:] == ["*IDN?", "SYST:CAP?", "SENS:SETT 2000", "SENS:DRIV? #H1"]


def test_another_scanner_after_a_pause_is_refused() -> None:
    rig = Rig()
    rig.clock.now += 60.0
    rig.scanner.identity = "Invented Instruments,Pin Scanner,SN2,1.0"
    with pytest.raises(UnfitError, match="SN2"):
        rig.bench.sense([1])


def test_reconnect_is_explicit_and_needs_the_same_scanner_and_points() -> None:
    rig = Rig()
    rig.bench.set_settle(1000)
    rig.scanner.reset()
    with pytest.raises(LinkError):
        rig.bench.sense([1])
    rig.bench.reconnect()
    assert rig.scanner.settle_us == 1000
    assert rig.bench.sense([1]) == [7]
    assert len(rig.lines) == 2
    rig.scanner.points = 12
    with pytest.raises(UnfitError, match="another scanner"):
        rig.bench.reconnect()


def test_another_scanner_is_not_bound_by_half_an_answer() -> None:
    """It says who it is and falls silent; the next one asked is still held against the first."""
    rig = Rig()
    rig.scanner.identity = "Invented Instruments,Pin Scanner,SN2,1.0"
    reach = rig.bench._reach
    rig.bench._reach = lambda: deaf_to_capabilities(reach())
    with pytest.raises(LinkError):
        rig.bench.reconnect()
    rig.bench._reach = reach
    with pytest.raises(UnfitError, match="another scanner"):
        rig.bench.reconnect()


def deaf_to_capabilities(line: Line) -> Line:
    assert isinstance(line, MemoryLine)
    line.to = lambda data: [] if b"SYST:CAP?" in data else [data]
    return line


def test_a_line_that_cannot_be_reached_may_be_tried_again() -> None:
    rig = Rig()
    asked = rig.bench.statistics().round_trips
    reach = rig.bench._reach

    def unreachable() -> Line:
        raise NoBenchError("nothing there")

    rig.bench._reach = unreachable
    for _ in range(3):
        with pytest.raises(NoBenchError):
            rig.bench.reconnect()
    assert rig.bench.statistics().round_trips == asked  # counted once, however often it was tried
    rig.bench._reach = reach
    rig.bench.reconnect()
    assert rig.bench.sense([1]) == [7]


@pytest.mark.parametrize("works", [True, False])
def test_rate_switch_and_fall_back(works: bool) -> None:
    rig = Rig(Scanner(Clock(), capabilities="BAUD=1000000"))
    rig.bench.set_settle(700)
    plain = rig.scanner.execute

    def execute(body: str) -> str:
        if body.startswith("SYST:BAUD") and works:
            rig.line.device_rate = 921_600
        elif body.startswith("SYST:BAUD"):
            rig.line.device_rate = 0  # the device can, the cable cannot
        return plain(body)

    rig.scanner.execute = execute  # type: ignore[method-assign]
    set_rate = rig.line.set_rate

    def follow(rate: int) -> None:
        set_rate(rate)
        if rate == 115_200:
            rig.line.device_rate = rate
            rig.scanner.open = False

    rig.line.set_rate = follow  # type: ignore[method-assign]
    assert rig.bench.switch_rate(921_600) is works
    assert rig.line.rate == (921_600 if works else 115_200)
    assert rig.bench.sense([1]) == [1]
    assert rig.scanner.settle_us == 700
    assert rig.bench.switch_rate(2_000_000) is False
