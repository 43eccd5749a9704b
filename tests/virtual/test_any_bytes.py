"""Whatever comes down the line, the device neither breaks nor answers what it should not."""

from __future__ import annotations

import random

from hypothesis import given, settings
from hypothesis import strategies as st

from loomproof.virtual.commands import Commands
from loomproof.virtual.link import Device
from loomproof.virtual.scanner import Scanner
from tests.virtual.looms import small_loom
from tests.virtual.test_link import device, line, opened, say

HEADERS = [*Commands(Scanner(small_loom()))._table, "SYST:LINK?", "SYST:LINK:CLOS", "SYST:BAUD", "NO:SUCH"]
WORDS = ["#H1", "#H2", "#H0", "#HFFFF", "5", "-1", "1e9", "nan", "", '"', "#H", "500", "é"]
BODY = st.builds(
    lambda header, words: header + (" " + ",".join(words) if words else ""),
    st.sampled_from(HEADERS),
    st.lists(st.sampled_from(WORDS), max_size=5),
)


@given(st.lists(st.binary(max_size=60), max_size=12))
@settings(max_examples=200, deadline=None)
def test_no_bytes_break_it(pieces: list[bytes]) -> None:
    it = device()
    for at, piece in enumerate(pieces):
        say(it, piece, float(at))
    it.feed(b"\n", 100.0)
    it.step(100.0)
    assert say(it, b"SENS:SETT?\n", 200.0) in (b"500\n",)


@given(st.lists(BODY, max_size=12))
@settings(max_examples=200, deadline=None)
def test_every_good_line_gets_exactly_one_reply_in_its_own_form(bodies: list[str]) -> None:
    it, number, now_s = opened(), 0, 0.0
    for body in bodies:
        if body.startswith(("SYST:LINK:CLOS", "SYST:BAUD")):
            continue
        number = (number + 1) % 256
        now_s = max(now_s, it.busy_s) + 0.001
        text = f"{number:02X}{body}".encode()
        reply = say(it, line_of(text), now_s)
        replies = [one for one in reply.split(b"\n") if one and not one.startswith(b":!")]
        assert len(replies) == 1
        assert replies[0].startswith(b":%02X" % number)
        assert len(replies[0]) + 1 <= it.scanner.make.line_bytes


def line_of(text: bytes) -> bytes:
    from zlib import crc32

    return b":%b*%08X\n" % (text, crc32(b"1234ABCD" + text))


def test_no_damaged_line_is_executed() -> None:
    # Every single flipped bit, and ten thousand bursts: CRC-32 finds all of the former by construction.
    it = opened()
    good = line(1, "SENS:SETT 900")
    rng = random.Random(0)
    damaged = [_flipped(good, 1 << bit) for bit in range(8 * (len(good) - 1))]
    damaged += [
        _flipped(good, rng.getrandbits(40) << rng.randrange(8 * len(good) - 48)) for _ in range(10_000)
    ]
    for one in damaged:
        if one != good and b"\n" not in one[:-1]:
            assert say(it, one) == b""
    assert it.commands.settle_us == 500
    assert say(it, good) == line(1, "OK")


def _flipped(data: bytes, mask: int) -> bytes:
    # The line feed stays: what ends a line is not what is tested here.
    found = int.from_bytes(data[:-1], "big") ^ mask
    return found.to_bytes(len(data) - 1, "big") + b"\n"


def test_two_devices_fed_alike_answer_alike() -> None:
    def talk(it: Device) -> list[bytes]:
        return [say(it, b"MEAS:RES? #H1,#H10\nSENS:DRIV? #H1,#H2\n", float(at)) for at in range(20)]

    assert talk(device("loose P2:1 7 Hz")) == talk(device("loose P2:1 7 Hz"))


def test_the_looms_clock_does_not_know_how_long_the_host_thinks() -> None:
    # The same conversation finds a loose contact in the same states, on a quick host and on a slow one.
    def talk(pause_s: float) -> list[bytes]:
        it, now_s, found = device("loose P2:1 7 Hz"), 0.0, []
        for _ in range(200):
            found.append(say(it, b"SENS:DRIV? #H1\n", now_s))
            now_s = it.busy_s + pause_s
        return found

    assert talk(0.0) == talk(0.3)
    assert set(talk(0.0)) == {b"#H1\n", b"#H11\n"}
