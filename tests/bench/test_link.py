"""The host side of the link, against a scanner in memory on a clock that only the test moves."""

from __future__ import annotations

import itertools
import random
from collections.abc import Callable

import pytest

from loomproof.bench.frames import seal
from loomproof.bench.link import Link
from loomproof.errors import LinkError, RefusedError
from tests.bench.device import Clock, MemoryLine, Scanner


def linked(
    *, patience_s: float = 10.0, open_it: bool = True, **given: object
) -> tuple[Link, MemoryLine, Scanner, Clock]:
    clock = Clock()
    scanner = Scanner(clock, **given)  # type: ignore[arg-type]  # fields of the dataclass, by name
    line = MemoryLine(scanner, clock)
    nonces = (f"{n:08X}" for n in itertools.count(0x1234ABCD))
    link = Link(line, clock=clock, nonces=lambda: next(nonces), patience_s=patience_s)
    if open_it:
        link.open()
    return link, line, scanner, clock


def dropping(*which: int) -> Callable[[bytes], list[bytes]]:
    """Drop the lines of these numbers, counted from 0."""
    count = itertools.count()
    return lambda data: [] if next(count) in which else [data]


def test_command_and_reply() -> None:
    link, line, scanner, _ = linked()
    assert link.ask("*IDN?", reply_bytes=60) == scanner.identity
    assert line.sent[-1] == seal(2, "*IDN?", b"1234ABCD")


@pytest.mark.parametrize("way", ["to", "fro"])
def test_a_dropped_line_is_sent_again_and_executed_once(way: str) -> None:
    link, line, scanner, clock = linked()
    setattr(line, way, dropping(0))
    before = clock.now
    assert link.ask("ROUT:OPEN:ALL", reply_bytes=2) == "OK"
    assert scanner.executed == ["ROUT:OPEN:ALL"]
    assert link.statistics().repeated == 1
    assert 0.5 <= clock.now - before < 0.6  # the grace of the link page, and a few bytes


def test_a_long_command_is_waited_for() -> None:
    link, line, _, _ = linked()
    line.fro = dropping(*range(200))
    with pytest.raises(LinkError):
        link.ask("*IDN?", reply_bytes=24, busy_s=60.0)
    assert link.statistics().repeated == 1  # 60 s of work and 10 s of patience: two tries


def test_silence_ends_after_the_patience() -> None:
    link, line, _, clock = linked()
    line.to = dropping(*range(1000))
    before = clock.now
    with pytest.raises(LinkError, match="no good reply") as caught:
        link.ask("*IDN?", reply_bytes=60)
    assert 10.0 <= clock.now - before < 11.0
    assert caught.value.cure


def test_a_reply_of_another_number_is_dropped() -> None:
    link, line, _, _ = linked()
    nonce = b"1234ABCD"
    line.fro = lambda data: [seal(9, "liar", nonce), data]
    assert link.ask("SYST:LINK?", reply_bytes=20) == "1,2,3"
    assert link.statistics().dropped == 1


def test_a_reply_of_an_earlier_connection_is_dropped() -> None:
    link, line, _, _ = linked()
    late = seal(3, "OK", b"1234ABCD")
    link.open()
    line.fro = lambda data: [late, data]
    assert link.ask("SYST:LINK?", reply_bytes=20) == "1,2,3"
    assert link.statistics().dropped == 1


def test_the_reply_to_an_earlier_opening_is_dropped() -> None:
    link, line, _, _ = linked(open_it=False)
    line.arrived = seal(1, "DEADBEEF", b"")
    link.open()
    assert link.ask("SYST:LINK?", reply_bytes=20) == "1,2,3"
    assert link.statistics().dropped == 1


def test_half_a_command_at_the_device_does_not_spoil_the_next() -> None:
    link, line, scanner, _ = linked()
    first = [True]

    def cut(data: bytes) -> list[bytes]:
        if first.pop() if first else False:
            return [data[:9]]
        return [data]

    line.to = cut
    assert link.ask("*IDN?", reply_bytes=60) == scanner.identity
    assert link.statistics().repeated == 1


def test_a_reply_cut_before_its_lf_does_not_spoil_the_next() -> None:
    link, line, scanner, _ = linked()
    count = itertools.count()
    line.fro = lambda data: [data[:-1] if next(count) == 0 else data]
    assert link.ask("*IDN?", reply_bytes=60) == scanner.identity
    assert link.statistics().repeated == 1


def test_a_refusal_is_an_error_with_its_code() -> None:
    link, _, scanner, _ = linked()
    scanner.refuse["SENS:SETT"] = 'ERR -222,"too ""short"""'
    with pytest.raises(RefusedError, match='too "short"') as caught:
        link.ask("SENS:SETT 1", reply_bytes=2)
    assert (caught.value.code, caught.value.command) == (-222, "SENS:SETT 1")


def test_a_flood_does_not_stretch_the_patience() -> None:
    link, line, _, clock = linked(patience_s=10.0)
    line.fro = lambda data: [b":01junk*00000000\n" * 50 + b"x" * 9000]
    before = clock.now
    with pytest.raises(LinkError):
        link.ask("*IDN?", reply_bytes=60)
    assert clock.now - before < 13.0


def test_a_reset_device_is_silent_until_it_is_opened_anew() -> None:
    link, _, scanner, _ = linked()
    scanner.reset()
    with pytest.raises(LinkError):
        link.ask("*IDN?", reply_bytes=60)
    link.open()
    assert link.ask("*IDN?", reply_bytes=60) == scanner.identity


def test_sequence_numbers_wrap() -> None:
    link, _, scanner, _ = linked()
    for _ in range(600):
        link.ask("ROUT:OPEN:ALL", reply_bytes=2)
    assert len(scanner.executed) == 600


@pytest.mark.parametrize("seed", range(60))
def test_after_an_abandoned_command_both_sides_count_alike(seed: int) -> None:
    """Lines lost, doubled and late in both ways: every reply taken belongs to its own command."""
    link, line, _, _ = linked()
    rng = random.Random(seed)
    held: dict[str, list[bytes]] = {"to": [], "fro": []}

    def bad(way: str) -> Callable[[bytes], list[bytes]]:
        def handle(data: bytes) -> list[bytes]:
            late, held[way] = held[way], []
            fate = rng.random()
            if fate < 0.35:
                return late
            if fate < 0.5:
                held[way] = [data]
                return late
            return [*late, data, data] if fate < 0.6 else [*late, data]

        return handle

    line.to, line.fro = bad("to"), bad("fro")
    for number in range(1, 60):
        body = f"SENS:DRIV? #H{number:X}"
        try:
            reply = link.ask_twice(body, reply_bytes=20)
            if reply is None:
                reply = link.ask(body, reply_bytes=20)
        except LinkError:
            return  # an honest error; silence for ten seconds
        assert reply == f"#H{number:X}"
    assert link.statistics().dropped > 0
