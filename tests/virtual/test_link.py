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


# Sequence and storage


def test_lines_out_of_sequence_damaged_or_of_another_connection_have_no_effect() -> None:
    it = opened()
    say(it, line(1, "SENS:SETT 700"))
    bad = bytearray(line(2, "SENS:SETT 900"))
    bad[6] ^= 1
    for wrong in (
        line(5, "SENS:SETT 900"),
        line(2, "SENS:SETT 900", b"00000000"),
        line(2, "SENS:SETT 900").lower(),
        bytes(bad),
        b":\n",
        b":02*\n",
        b"\xff\x00garbage\n",
        b"*RST\n",
    ):
        assert say(it, wrong) == b""
    assert say(it, line(2, "SENS:SETT?")) == line(2, "700")


def test_the_sequence_wraps_at_256() -> None:
    it = opened()
    for i in range(1, 600):
        assert say(it, line(i % 256, "SENS:SETT?")) == line(i % 256, "500")


def test_a_repeat_while_executing_is_answered_once_when_done() -> None:
    it = opened()
    ask = line(1, "MEAS:RES? #H1,#H10")
    it.feed(ask, 0.0)
    (first,) = it.step(0.0)
    assert first.ready_s > 0.0
    for at_s in (0.001, 0.002, 0.003):
        it.feed(ask, at_s)
        assert it.step(at_s) == []
    again = it.step(first.ready_s)
    assert [sent.data for sent in again] == [first.data]
    assert say(it, ask, 1.0) == first.data


def test_a_resistance_is_not_measured_again_for_a_repeated_line() -> None:
    # The meter is noisy, so a second measurement would read differently.
    it = opened()
    first = say(it, line(1, "MEAS:RES? #H1,#H10"), 0.0)
    assert {say(it, line(1, "MEAS:RES? #H1,#H10"), 1.0 + i) for i in range(5)} == {first}
    assert say(it, line(2, "MEAS:RES? #H1,#H10"), 7.0)[3:-10] != first[3:-10]


# Opening and closing


def test_opening_again_is_executed_whatever_its_number_and_the_stored_line_is_not() -> None:
    it = opened()
    open_0 = b":00SYST:LINK:OPEN 1234ABCD*88D5C6D6\n"
    assert say(it, open_0) == b":001234ABCD*FFCF59F8\n"
    assert say(it, line(1, "SENS:SETT 800")) == line(1, "OK")
    other = line(0x77, "SYST:LINK:OPEN FFFF0000", b"")
    assert say(it, other) == line(0x77, "FFFF0000", b"")
    assert say(it, line(2, "SENS:SETT?")) == b""
    assert say(it, line(0x78, "SENS:SETT?", b"FFFF0000")) == line(0x78, "800", b"FFFF0000")


def test_a_bad_nonce_is_refused_and_changes_nothing() -> None:
    it = opened()
    for nonce in ("1234abcd", "1234", "", "1234ABCDE", "1234ABCG"):
        reply = say(it, line(9, f"SYST:LINK:OPEN {nonce}".strip(), b""))
        assert reply.startswith(b":09ERR -102,")
    assert say(it, line(1, "SENS:SETT?")) == line(1, "500")


def test_the_link_closes_ten_seconds_after_the_end_of_the_last_good_command() -> None:
    it = opened()
    assert say(it, line(1, "SENS:SETT?"), 9.9)
    assert say(it, line(2, "SENS:SETT?"), 19.8)
    assert say(it, line(3, "SENS:SETT?"), 29.9) == b""
    assert say(it, b"SENS:SETT?\n", 29.9) == b"500\n"
    # The same opening line is not taken for the stored one: the link had closed.
    assert say(it, b":00SYST:LINK:OPEN 1234ABCD*88D5C6D6\n", 30.0) == b":001234ABCD*FFCF59F8\n"
    assert say(it, line(1, "SENS:SETT?"), 30.1) == line(1, "500")


def test_a_closed_device_answers_no_checked_line_but_the_opening_one() -> None:
    it = opened()
    assert say(it, line(1, "SYST:LINK:CLOS")) == line(1, "OK")
    assert say(it, line(1, "SYST:LINK:CLOS")) == b""
    assert say(it, line(2, "*IDN?")) == b""
    assert say(it, line(0, "*IDN?", b"")) == b""


# Lines


def test_case_long_forms_carriage_returns_and_empty_lines() -> None:
    it = device()
    assert say(it, b"\n\r\nsystem:error?\r\nSENSe:DRIVe? #h0001\n") == b'0,"No error"\n#H11\n'


def test_a_line_may_come_in_pieces_and_two_at_once() -> None:
    it = device()
    assert say(it, b"SENS:") == b""
    assert say(it, b"SETT?\nSENS:SETT?") == b"500\n"
    assert say(it, b"\n") == b"500\n"


def test_a_line_longer_than_stated_is_dropped_to_its_end() -> None:
    it = device()
    limit = it.scanner.make.line_bytes
    longest = b"*IDN?".ljust(limit - 1)
    assert say(it, longest + b"\n").startswith(b"ERR -102")
    assert say(it, longest + b" \nSENS:SETT?\n") == b"500\n"
    assert say(it, b"x" * (3 * limit)) == b""
    assert say(it, b"SENS:DRIV? #H1\nSENS:SETT?\n") == b"500\n"


def test_a_batch_whose_reply_could_outgrow_a_line_is_refused() -> None:
    it = opened()
    limit, answer = it.scanner.make.line_bytes, -(-it.scanner.make.points // 4) + 2
    most = (limit - 13 + 1) // (answer + 1)
    reply = say(it, line(1, "SENS:DRIV? " + ",".join(["#H0"] * most)))
    assert reply == line(1, ",".join(["#H0"] * most))
    refused = say(it, line(2, "SENS:DRIV? " + ",".join(["#H0"] * (most + 1))), 1.0)
    assert refused.startswith(b":02ERR -223,")


# Rate


def test_a_new_rate_stays_from_the_first_good_line_until_the_link_closes() -> None:
    it = opened()
    it.feed(line(1, "SYST:BAUD 230400"), 0.0)
    (reply,) = it.step(0.0)
    assert (reply.data, reply.baud, it.baud) == (line(1, "OK"), 115_200, 230_400)
    assert say(it, line(2, "SENS:SETT?"), 1.9)
    assert say(it, line(3, "SENS:SETT?"), 9.0)
    assert it.baud == 230_400
    it.step(19.1)
    assert it.baud == 115_200


def test_without_a_good_line_the_old_rate_comes_back_and_the_link_closes() -> None:
    it = opened()
    say(it, line(1, "SYST:BAUD 1000000"))
    say(it, b"\x80\xff\n", 1.0)
    it.step(2.1)
    assert it.baud == 115_200
    assert say(it, line(2, "SENS:SETT?"), 2.2) == b""


def test_rates_that_cannot_be_are_refused() -> None:
    it = opened()
    assert say(it, line(1, "SYST:BAUD 9999999")).startswith(b":01ERR -222")
    assert say(it, line(2, "SYST:BAUD fast")).startswith(b":02ERR -104")
    assert it.baud == 115_200
    assert say(device(), b"SYST:BAUD 230400\n").startswith(b"ERR -221")


def test_a_reset_device_forgets_the_link_and_its_settings() -> None:
    it = opened()
    say(it, line(1, "SENS:SETT 700"))
    it.power_on(1.0)
    assert say(it, line(2, "SENS:SETT?"), 1.0) == b""
    assert say(it, b"SENS:SETT?\n", 1.0) == b"500\n"
    assert say(it, b"SYST:LINK?\n", 1.0) == b"2,1,0\n"
