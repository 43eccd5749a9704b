"""The device side of the link, line by line; the worked lines are the contract's own examples."""

from __future__ import annotations

from zlib import crc32

from loomproof.virtual.link import Device
from loomproof.virtual.scanner import Scanner
from tests.virtual.looms import small_loom

NONCE = b"1234ABCD"


def device(*faults: str) -> Device:
    return Device(Scanner(small_loom(), faults=faults))


def say(it: Device, data: bytes, now_s: float = 0.0) -> bytes:
    it.feed(data, now_s)
    return b"".join(sent.data for sent in it.step(now_s))


def line(sequence: int, body: str, nonce: bytes = NONCE) -> bytes:
    text = f"{sequence:02X}{body}".encode()
    return b":%b*%08X\n" % (text, crc32(nonce + text))


def opened() -> Device:
    it = device()
    say(it, b":00SYST:LINK:OPEN 1234ABCD*88D5C6D6\n")
    return it


def test_the_check_is_the_published_crc() -> None:
    # CRC-32 of ITU-T V.42; its published check value over the nine digits.
    assert crc32(b"123456789") == 0xCBF43926


def test_open_and_identify_as_in_the_contract() -> None:
    it = device()
    assert say(it, b":00SYST:LINK:OPEN 1234ABCD*88D5C6D6\n") == b":001234ABCD*FFCF59F8\n"
    reply = say(it, b":01*IDN?*27CDACD8\n")
    assert reply == line(1, "loomproof,simulated scanner,SIM000000,1.0")


def test_plain_lines_are_for_a_person_while_no_link_is_open() -> None:
    it = device()
    assert say(it, b"SENS:DRIV? #H1\r\n") == b"#H11\n"
    it = opened()
    assert say(it, b"SENS:DRIV? #H1\n") == b""


def test_a_repeated_line_is_answered_from_store_and_not_executed_again() -> None:
    it = opened()
    first = say(it, line(1, "SYST:ERR?"))
    assert say(it, line(1, "SYST:ERR?")) == first
    assert say(it, line(3, "SYST:ERR?")) == b""
    assert say(it, line(2, "SYST:LINK?"))[3:].startswith(b"4,1,1*")
