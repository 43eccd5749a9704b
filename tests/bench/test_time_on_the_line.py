"""How long the host waits, counts and listens on the line: by a clock that only the test moves."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass, field

import pytest

from loomproof.bench.frames import Splitter
from loomproof.bench.link import Link
from loomproof.bench.opening import open_bench
from loomproof.errors import LinkError, LostEventError, NoBenchError, RefusedError, UnfitError
from tests.bench.device import Clock, MemoryLine, Scanner
from tests.bench.test_link import dropping, linked
from tests.bench.test_scanner import Rig

pytestmark = pytest.mark.usefixtures("all_closed")

BYTE_S = 10 / 115_200
"""Eight bits, a start and a stop bit at the rate of the line (8N1)."""

GRACE_S = 0.5
"""What a reply may take beyond its bytes and the device's own work: the link's contract, section 3."""


@dataclass
class TimedLine(MemoryLine):
    """A line that notes when each command was sent, and at which rate.

    It is read in slices, as a serial port is.
    """

    begun: list[tuple[float, int]] = field(default_factory=list)
    slice_s: float = 100.0

    def send(self, data: bytes) -> None:
        self.begun.append((self.clock.now, self.rate))
        super().send(data)

    def receive(self, timeout_s: float) -> bytes:
        return super().receive(min(timeout_s, self.slice_s))


def timed(*, patience_s: float = 10.0) -> tuple[Link, TimedLine]:
    clock = Clock()
    line = TimedLine(Scanner(clock, line=1000), clock)
    nonces = (f"{n:08X}" for n in itertools.count(0x1234ABCD))
    return Link(line, clock=clock, nonces=lambda: next(nonces), patience_s=patience_s), line


def ending(most: int, way: Callable[[bytes], list[bytes]]) -> Callable[[bytes], list[bytes]]:
    """Let so many lines go this way; whoever sends more never ends."""
    count = itertools.count(1)

    def limited(data: bytes) -> list[bytes]:
        assert next(count) <= most, "it never ends"
        return way(data)

    return limited


def gaps_s(line: TimedLine) -> list[float]:
    return [after - before for (before, _), (after, _) in itertools.pairwise(line.begun)]


def test_a_reply_is_waited_for_as_long_as_its_bytes_take() -> None:
    """A command of 60 characters and a reply of up to 11 520, each with a frame of 13: at 115 200 baud the
    reply alone takes a second. The command's bytes count twice: once sent, once as they may stand in a queue.
    """
    link, line = timed()
    link.open()
    line.fro = dropping(0)
    line.begun.clear()
    link.ask("S" * 60, reply_bytes=11_520)
    (gap,) = gaps_s(line)
    sent, told = 60 + 13, 11_520 + 13
    assert gap == pytest.approx((2 * sent + told) * BYTE_S + GRACE_S, abs=1e-3)


def test_an_opening_is_not_waited_for_longer_than_its_bytes_take() -> None:
    link, line = timed()
    line.to = dropping(0)
    link.open()
    (gap,) = gaps_s(line)
    assert GRACE_S <= gap < GRACE_S + 0.01


def test_an_insulation_reading_is_waited_for_through_its_dwell() -> None:
    """5 s of dwell and 20 ms of measuring, as the device states it."""
    rig = Rig()
    rig.bench.arm(50.0)
    sent: list[float] = []

    def note(data: bytes) -> list[bytes]:
        sent.append(rig.clock.now)
        return [data]

    rig.line.to = note
    rig.line.fro = dropping(0)
    assert rig.bench.insulation(1, 2, 50.0, 5000) == 5e8
    first, again = sent
    assert again - first == pytest.approx(5.0 + 0.02 + GRACE_S, abs=0.02)


def test_after_two_seconds_of_silence_and_not_before_it_is_asked_who_it_is() -> None:
    """On a line without any length the clock stands still, so that the two seconds are two seconds."""
    for silence_s, asked in ((1.999, False), (2.0, True)):
        rig = Rig(connect=False)
        rig.reach = still(rig.reach)  # type: ignore[method-assign]
        rig.bench._reach = rig.reach
        rig.bench.connect()
        rig.scanner.executed.clear()
        rig.clock.now += silence_s
        rig.bench.resistance(1, 2)
        assert ("*IDN?" in rig.scanner.executed) is asked


def still(reach: Callable[[], MemoryLine]) -> Callable[[], MemoryLine]:
    def made() -> MemoryLine:
        line = reach()
        line.rate = line.device_rate = 10**30
        return line

    return made


def test_another_scanner_after_a_silence_is_refused_whatever_is_asked() -> None:
    rig = Rig()
    rig.scanner.identity = "Invented Instruments,Pin Scanner,SN2,1.0"
    rig.clock.now += 3.0
    with pytest.raises(UnfitError, match="another scanner answers"):
        rig.bench.resistance(1, 2)
    assert not any(body.startswith("MEAS:") for body in rig.scanner.executed)


def test_a_device_that_finds_one_set_too_long_is_not_asked_again() -> None:
    rig = Rig(Scanner(Clock(), points=64, line=1000, most_sets=0))
    rig.line.to = ending(9, lambda data: [data])
    with pytest.raises(RefusedError, match="Too much data"):
        rig.bench.sense([1])
    senses = [body for body in rig.scanner.executed if body.startswith("SENS:DRIV?")]
    assert len(senses) == 1


def test_two_sets_that_get_lost_are_sent_one_by_one() -> None:
    rig = Rig(Scanner(Clock(), points=64, line=1000))
    rig.line.to = lambda data: [] if b"," in data else [data]
    assert rig.bench.sense([1, 2]) == [1, 2]
    senses = [body for body in rig.scanner.executed if body.startswith("SENS:DRIV?")]
    assert senses == ["SENS:DRIV? #H1", "SENS:DRIV? #H2"]


def test_a_reply_as_long_as_the_device_says_is_taken() -> None:
    """61 sets of 512 points in one line of 8 kB, twice what a link takes before it knows the device."""
    rig = Rig(Scanner(Clock(), points=512, line=8192))
    drives = [1 << 511 - k for k in range(61)]
    assert rig.bench.sense(drives) == drives
    senses = [body for body in rig.scanner.executed if body.startswith("SENS:DRIV?")]
    assert len(senses) == 1
    assert rig.bench.statistics().repeated == 0


def test_a_rate_that_does_not_hold_is_given_up_before_the_device_gives_it_up() -> None:
    """The device waits 2 s for a good line at the new rate (the link's contract, section 7): the host tries
    for one, and says nothing for two more before it opens anew at the old one."""
    clock = Clock()
    scanner = Scanner(clock, capabilities="BAUD=1000000")
    rig = Rig(scanner, connect=False)
    line = TimedLine(scanner, clock, slice_s=0.05)
    rig.bench._reach = lambda: line
    rig.bench.connect()
    line.begun.clear()
    assert rig.bench.switch_rate(921_600) is False
    new = [when for when, rate in line.begun if rate == 921_600]
    old = [when for when, rate in line.begun[1:] if rate == 115_200]
    assert len(new) == 2, "half a second each"
    assert new[-1] + GRACE_S + 2.0 <= old[0] < new[-1] + GRACE_S + 2.1


# -- where the device's count stands ------------------------------------------------------------------


def test_a_number_that_may_still_be_answered_is_never_used_again() -> None:
    """The probe with the abandoned command's number is answered late, after the one beyond it has been
    sent: the answer to that one is still on its way, and would be taken for the next command's."""
    link, line, scanner, _ = linked()
    held: list[bytes] = []
    count = itertools.count()

    def late(data: bytes) -> list[bytes]:
        """Answers: of the probe n held; of the probe n + 1 held, that of n given; from then on all."""
        held.append(data)
        number = next(count)
        if number == 0:
            return []
        if number == 1:
            return [held.pop(0)]
        given, held[:] = list(held), []
        return given

    line.to = dropping(0, 1)
    line.fro = late
    assert link.ask_twice("SENS:DRIV? #H1", reply_bytes=20) is None
    assert link.ask("*IDN?", reply_bytes=60) == scanner.identity


def test_an_abandoned_command_that_was_executed_is_counted() -> None:
    """Its answer was lost twice: the device waits for the number after it, and a probe finds that."""
    link, line, scanner, _ = linked()
    line.fro = dropping(0, 1)
    assert link.ask_twice("SENS:DRIV? #H1", reply_bytes=20) is None
    assert scanner.executed == ["SENS:DRIV? #H1", "*CLS"]
    assert link.ask("*IDN?", reply_bytes=60) == scanner.identity


def test_the_search_for_the_count_ends_with_the_patience() -> None:
    link, line, _, clock = linked(patience_s=5.0)
    line.to = ending(40, lambda _: [])
    before = clock.now
    with pytest.raises(LinkError, match=r"no good reply to \*CLS"):
        link.ask_twice("SENS:DRIV? #H1", reply_bytes=20)
    assert 5.0 <= clock.now - before < 6.0


def test_the_search_for_the_count_has_as_much_patience_as_the_work_needs() -> None:
    """4 s of work: two tries and a probe in vain, 4.5 s each, are 13.5 s of 10 s of patience and 4 s."""
    link, line, scanner, _ = linked(patience_s=10.0)
    line.fro = dropping(0, 1)
    assert link.ask_twice("SENS:DRIV? #H1", reply_bytes=20, busy_s=4.0) is None
    assert link.ask("*IDN?", reply_bytes=60) == scanner.identity


def test_what_was_answered_leaves_nothing_in_doubt() -> None:
    """The release goes out on the open link; after a command without an answer it is opened anew first."""
    link, line, scanner, _ = linked()
    link.ask("*IDN?", reply_bytes=60)
    line.sent.clear()
    assert link.end()
    assert [sent.partition(b"*")[0][3:] for sent in line.sent] == [b"ROUT:OPEN:ALL", b"SYST:LINK:CLOS"]
    assert scanner.executed[-2:] == ["ROUT:OPEN:ALL", "SYST:LINK:CLOS"]


def test_a_release_that_nobody_confirms_is_given_up_after_a_second_on_the_link_and_one_on_a_new_one() -> None:
    link, line, _, clock = linked()
    link.ask("*IDN?", reply_bytes=60)
    line.to = ending(40, lambda _: [])
    before = clock.now
    assert link.end() is False
    assert 2.0 <= clock.now - before < 2.5


def test_an_opening_takes_the_number_after_255_as_any_command() -> None:
    """One of eight bits: after 255 comes 0. The link itself was opened with 1."""
    link, line, scanner, _ = linked()
    for _ in range(254):
        link.ask("ROUT:OPEN:ALL", reply_bytes=2)
    link.open()
    assert line.sent[-1].startswith(b":00SYST:LINK:OPEN ")
    assert link.ask("*IDN?", reply_bytes=60) == scanner.identity


def test_the_events_that_were_lost_are_counted() -> None:
    """Event 0 came, 1 and 2 were lost, 3 comes."""
    rig = Rig()
    events = rig.bench.watch([1], seconds=3.0)
    start = rig.line.fro
    rig.line.fro = lambda data: [data, rig.scanner.event(0, 0, 7)]
    assert next(events).number == 0
    rig.line.fro = start
    for lost in (True, True, False):
        rig.line.arrived += rig.scanner.event(9, 0, 3, skip=lost)
    with pytest.raises(LostEventError, match="watch event 1 was lost on the line") as caught:
        next(events)
    assert caught.value.lost == 2


def test_an_event_as_long_as_a_line_can_be_is_dropped_and_not_continued() -> None:
    splitter = Splitter(8)
    assert splitter.feed(b":!!12345") == []
    splitter.forget()
    assert splitter.feed(b"y\n") == [b"y"]


# -- a first sign of life -----------------------------------------------------------------------------


@pytest.mark.parametrize("address", ["tcp:192.0.2.7:7000", "visa:TCPIP::192.0.2.7::7000::SOCKET"])
@pytest.mark.parametrize(("patience_s", "seconds"), [(10.0, 5), (2.0, 2)])
def test_a_first_sign_of_life_is_waited_for_five_seconds_or_less(
    address: str, patience_s: float, seconds: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = Clock()
    line = MemoryLine(Scanner(clock), clock, to=lambda _: [])
    monkeypatch.setattr("loomproof.bench.opening.open_line", lambda _: line)
    monkeypatch.setattr("loomproof.bench.visa.VisaLine", lambda *_: line)
    with pytest.raises(NoBenchError, match=rf"no good reply to SYST:LINK:OPEN \w+ for {seconds}\.[0-5] s"):
        open_bench(address, clock=clock, patience_s=patience_s)
    assert line.closed


@pytest.mark.parametrize(("query", "rate"), [("", 115_200), ("?switch=921600", 921_600)])
def test_another_rate_is_tried_where_the_address_asks_for_it(
    query: str, rate: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = Clock()
    scanner = Scanner(clock, capabilities="BAUD=1000000")
    line = MemoryLine(scanner, clock)
    execute = scanner.execute

    def follow(body: str) -> str:
        if body.startswith("SYST:BAUD"):
            line.device_rate = int(body.partition(" ")[2])
        return execute(body)

    scanner.execute = follow  # type: ignore[method-assign]
    monkeypatch.setattr("loomproof.bench.opening.open_line", lambda _: line)
    with open_bench(f"serial:X1{query}", clock=clock) as bench:
        assert line.rate == line.device_rate == rate
        assert bench.sense([1]) == [1]
    assert any(body.startswith("SYST:BAUD") for body in scanner.executed) is bool(query)
