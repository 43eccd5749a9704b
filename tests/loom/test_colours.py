"""Colour codes against their published letters.

Sources: IEC 60757:1983 through the identical GOST 28763-90 table; the German letters of DIN 47002 and
DIN 72551 usage as quoted in a hardware documentation repository; BS AU 7 letters as quoted on marque-club
pages (B G N P R S U W). K, LG, O and Y of BS AU 7 are from memory, so no test fails on them alone.
"""

from __future__ import annotations

import itertools

import pytest

from loomproof.loom import colours
from loomproof.loom.colours import BS_AU_7, CODES, GERMAN, IEC_60757

IEC_TABLE = {
    "BK": "black", "BN": "brown", "RD": "red", "OG": "orange", "YE": "yellow", "GN": "green", "BU": "blue",
    "VT": "violet", "GY": "grey", "WH": "white", "PK": "pink", "GD": "gold", "TQ": "turquoise",
    "SR": "silver",
    "GNYE": "green-and-yellow",
}  # fmt: skip
GERMAN_TABLE = {
    "sw": "black", "br": "brown", "rt": "red", "or": "orange", "ge": "yellow", "gn": "green", "bl": "blue",
    "vi": "violet", "gr": "grey", "ws": "white", "rs": "pink", "tk": "turquoise", "gnge": "green-and-yellow",
}  # fmt: skip
BRITISH_TABLE = {
    "B": "black", "G": "green", "N": "brown", "P": "violet", "R": "red", "S": "grey", "U": "blue",
    "W": "white",
}  # fmt: skip


@pytest.mark.parametrize(
    ("code", "letters", "name"),
    [
        *((IEC_60757, letters, name) for letters, name in IEC_TABLE.items()),
        *((GERMAN, letters, name) for letters, name in GERMAN_TABLE.items()),
        *((BS_AU_7, letters, name) for letters, name in BRITISH_TABLE.items()),
    ],
)
def test_letters_mean_what_the_published_table_says(code: str, letters: str, name: str) -> None:
    assert colours.name_of(colours.read(letters, code)) == name
    assert colours.write(colours.read(letters, code), code) == letters


@pytest.mark.parametrize(
    ("code", "text", "held"),
    [
        (IEC_60757, "RDBU", "RD/BU"),  # the combination of the 2021 edition
        (IEC_60757, "rd", "RD"),  # lower case means the same (note of the 1983 edition)
        (IEC_60757, "RD-WH", "RD/WH"),
        (IEC_60757, "GNYE", "GNYE"),
        (IEC_60757, "GN/YE", "GN/YE"),
        (BS_AU_7, "WG", "WH/GN"),  # white with green trace, the club page's own example
        (BS_AU_7, "NU", "BN/BU"),  # control box to ignition and lighting switch feed
        (BS_AU_7, "U/W", "BU/WH"),
        (GERMAN, "sw/rt", "BK/RD"),
        (GERMAN, "swrt", "BK/RD"),
        (GERMAN, "br-ge", "BN/YE"),
        (GERMAN, "hlgn", "light GN"),
        (GERMAN, "dkbl/ws", "dark BU/WH"),
        (GERMAN, "blk", "bare"),
    ],
)
def test_main_colour_and_tracer(code: str, text: str, held: str) -> None:
    assert colours.read(text, code) == held


@pytest.mark.parametrize(
    ("text", "code", "says"),
    [
        ("G", IEC_60757, "In BS AU 7 it is green"),
        ("gr", IEC_60757, "In German it is grey"),
        ("NU", IEC_60757, "In BS AU 7 it is brown/blue"),
        ("BK", GERMAN, "In IEC 60757 it is black"),
        ("pinkish", IEC_60757, "is no colour of IEC 60757"),
    ],
)
def test_a_letter_of_another_code_is_refused_and_never_guessed(text: str, code: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        colours.read(text, code)


def test_the_same_letters_mean_different_colours_in_different_codes() -> None:
    assert colours.read("GN", IEC_60757) == "GN"
    assert colours.read("GN", BS_AU_7) == "GN/BN"
    assert colours.read("BR", GERMAN) == "BN"
    assert colours.read("BR", BS_AU_7) == "BK/RD"


def test_every_pair_that_a_code_can_write_it_reads_back() -> None:
    parts = [*colours.NAMES, "light GN", "dark BU", "bare", "clear"]
    written = 0
    for code, pair in itertools.product(CODES, itertools.product(parts, parts)):
        held = "/".join(pair)
        try:
            text = colours.write(held, code)
        except ValueError:
            continue
        assert colours.read(text, code) == held
        written += 1
    assert written > 500


def test_a_colour_without_letters_is_said() -> None:
    with pytest.raises(ValueError, match="no letters for turquoise"):
        colours.write("TQ", BS_AU_7)
