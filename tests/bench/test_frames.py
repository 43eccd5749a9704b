"""Frames against the worked examples of the scanner link page, and against binascii and ITU-T V.42."""

import binascii
import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomproof.bench.frames import (
    EVENT,
    Frame,
    Splitter,
    check_of,
    read_amount,
    read_number,
    read_refusal,
    read_set,
    seal,
    unseal,
    write_number,
    write_set,
)
from loomproof.bench.questions import Voltage, plain_answer, read_answer
from loomproof.bench.seam import point_set, points_of

NONCE = b"1234ABCD"


def test_check_is_crc_32_of_v42() -> None:
    # The check value that catalogues of CRCs give for this polynomial, and the scanner link page.
    assert check_of(b"", b"123456789") == b"CBF43926"


def test_lines_of_the_link_page() -> None:
    assert seal(0, "SYST:LINK:OPEN 1234ABCD", b"") == b":00SYST:LINK:OPEN 1234ABCD*88D5C6D6\n"
    assert unseal(b":001234ABCD*FFCF59F8", b"") == Frame(0, "1234ABCD")
    assert seal(1, "*IDN?", NONCE) == b":01*IDN?*27CDACD8\n"
    assert unseal(b":!!0,1250,0,#H105*DBA858CF", NONCE) == Frame(EVENT, "0,1250,0,#H105")


def test_point_set_of_the_link_page() -> None:
    assert write_set(point_set([1, 3, 9])) == "#H105"
    assert points_of(read_set("#H105", 9)) == (1, 3, 9)
    assert write_set(0) == "#H0"
    assert read_set("#H0", 9) == 0


@pytest.mark.parametrize("text", ["", "#H", "105", "#H0105", "#H10G", "#H105 ", " #H105", "#H-1", "#H1_0"])
def test_what_is_no_point_set(text: str) -> None:
    with pytest.raises(ValueError, match="no point set"):
        read_set(text, 64)


def test_point_beyond_the_bench() -> None:
    with pytest.raises(ValueError, match="point 9"):
        read_set("#H105", 8)


@given(
    st.integers(0, 255),
    st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=60),
    st.binary(max_size=8),
)
def test_a_frame_comes_back(sequence: int, body: str, nonce: bytes) -> None:
    line = seal(sequence, body, nonce)
    assert unseal(line[:-1], nonce) == Frame(sequence, body)
    assert int(line[-9:-1], 16) == binascii.crc32(nonce + line[1:-10])


@given(st.integers(0, 400), st.integers(1, 255))
def test_a_changed_byte_fails(place: int, change: int) -> None:
    line = bytearray(seal(7, "SENS:DRIV? #H105,#H7", NONCE)[:-1])
    line[place % len(line)] ^= change
    assert unseal(bytes(line), NONCE) is None


def test_another_connection_fails() -> None:
    assert unseal(seal(1, "OK", NONCE)[:-1], b"00000000") is None


@pytest.mark.parametrize("line", [b"", b":", b"OK", b":01OK", b":01OK*", b":1OK*00000000", b"01OK*00000000"])
def test_what_is_no_frame(line: bytes) -> None:
    assert unseal(line, b"") is None


def test_lines_are_cut_at_lf() -> None:
    splitter = Splitter(10)
    assert splitter.feed(b"ab") == []
    assert splitter.feed(b"c\r\n\n\r\nde\nf") == [b"abc", b"de"]
    assert splitter.feed(b"0123456789abc") == []
    assert splitter.feed(b"tail\nnext\n") == [b"next"]
    splitter.feed(b"half")
    splitter.forget()
    assert splitter.feed(b"whole\n") == [b"whole"]


@pytest.mark.parametrize(
    ("text", "value"),
    [("47", 47.0), ("1.25000E-1", 0.125), ("-.5", -0.5), ("9.9E37", math.inf), ("9.90000E+37", math.inf)],
)
def test_numbers(text: str, value: float) -> None:
    assert read_number(text) == value


@pytest.mark.parametrize(
    "text", ["", "1,5", "nan", "inf", "1e", "0x10", "9.91E37", "1 ", "1_0", "١", "-9.91E37"]
)
def test_what_is_no_number(text: str) -> None:
    with pytest.raises(ValueError, match="no number"):
        read_number(text)


@pytest.mark.parametrize("text", ["9.90001E37", "1E38", "-1E38", "1E999", "-1E999", "9.9E307"])
def test_a_number_over_that_of_over_range_stands_for_nothing(text: str) -> None:
    with pytest.raises(ValueError, match="stands for over range"):
        read_number(text)


def test_only_an_amount_cannot_be_over_range_below_zero() -> None:
    assert read_number("-9.9E37") == -math.inf  # SCPI-99, volume 1, 7.2.1.4: negative infinity
    assert read_amount("9.9E37") == math.inf
    with pytest.raises(ValueError, match="below zero"):
        read_amount("-9.9E37")


@given(st.floats(allow_nan=False, allow_infinity=False, max_value=1e30, min_value=-1e30))
def test_a_number_comes_back(value: float) -> None:
    assert read_number(write_number(value)) == value


def test_refusals() -> None:
    assert read_refusal('ERR -222,"data ""out"" of range"') == (-222, 'data "out" of range')
    assert read_refusal("ERROR") is None
    assert read_refusal("OK") is None


def test_half_a_reply_is_forgotten_and_half_a_watch_event_is_not() -> None:
    splitter = Splitter(100)
    assert splitter.feed(b":05O") == []
    splitter.forget()
    assert splitter.feed(b"K*00000000\n") == [b"K*00000000"]
    assert splitter.feed(b":!!0,12") == []
    splitter.forget()
    assert splitter.feed(b"50,0,#H105*DBA858CF\n") == [b":!!0,1250,0,#H105*DBA858CF"]


@pytest.mark.parametrize("text", ["9.9E37", "9.89999E37", "-9.89999E37", "0", "-0.002"])
def test_what_is_taken_for_a_reading_comes_back_from_a_journal(text: str) -> None:
    said = json.loads(json.dumps(plain_answer(read_number(text))))
    assert read_answer(Voltage(1, 2), said, 2) == read_number(text)
