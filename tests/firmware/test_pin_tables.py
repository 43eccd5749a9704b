"""The tables from which a person solders: point for point the program's pins, as the board prints them."""

from __future__ import annotations

import re

import pytest

from tests.firmware.building import FIRMWARE

PORTS = {
    "A": "22 23 24 25 26 27 28 29",
    "B": "53 52 51 50 10 11 12 13",
    "C": "37 36 35 34 33 32 31 30",
    "D": "21 20 19 18 - - - 38",
    "E": "0 1 - 5 2 3",
    "F": "A0 A1 A2 A3 A4 A5 A6 A7",
    "G": "41 40 39 - - 4",
    "H": "17 16 - 6 7 8 9",
    "J": "15 14",
    "K": "A8 A9 A10 A11 A12 A13 A14 A15",
    "L": "49 48 47 46 45 44 43 42",
}
"""What the common board with an ATmega2560 prints at bits 0 to 7 of each port; from memory of its list."""
PRINTED = {
    f"P{port}{bit}": word
    for port, row in PORTS.items()
    for bit, word in enumerate(row.split())
    if word != "-"
}

PINS = r"P[A-L]\d(?: ?-? ?P[A-L]\d)*"
CHIP_LAST = re.compile(rf"^\| (\d+(?: - \d+)?) \| ([A\d ]+) \| ({PINS}) \|$", re.MULTILINE)
CHIP_FIRST = re.compile(rf"^ \* \| (\d+(?: - \d+)?) +\| ({PINS}) +\| ([A\d ]+?) +\|$", re.MULTILINE)


def spelled(words: str) -> list[str]:
    """``PH0 PH3-PH6`` or ``PH3 - PH6``, each pin by itself."""
    found: list[str] = []
    for word in re.sub(r" ?- ?", "-", words).split():
        first, _, last = word.partition("-")
        found += [f"{first[:2]}{bit}" for bit in range(int(first[2]), int((last or first)[2]) + 1)]
    return found


def table(text: str, *, chip_first: bool) -> list[tuple[str, str]]:
    """Return chip's pin and print for each point in turn; every point must be in it once."""
    rows: list[tuple[str, str]] = []
    for points, one, other in (CHIP_FIRST if chip_first else CHIP_LAST).findall(text):
        first, _, last = points.partition(" - ")
        chip, printed = (one, other) if chip_first else (other, one)
        pins = list(zip(spelled(chip), printed.split(), strict=True))
        assert len(pins) == int(last or first) - int(first) + 1, points
        assert int(first) == len(rows) + 1, points
        rows += pins
    return rows


@pytest.mark.parametrize(("kind", "page", "count"), [("pins", "README.md", 64), ("ohms", "ohms.md", 56)])
def test_each_point_is_the_programs_pin_in_page_and_comment(kind: str, page: str, count: int) -> None:
    source = (FIRMWARE / "board" / kind / "table.h").read_text(encoding="utf-8")
    program = [f"P{port}{bit}" for port, bit in re.findall(r"\bP\(([A-L]), (\d)\)", source)]
    assert len(program) == count
    wanted = [(pin, PRINTED[pin]) for pin in program]
    assert table((FIRMWARE / page).read_text(encoding="utf-8"), chip_first=False) == wanted
    assert table(source, chip_first=True) == wanted


@pytest.mark.parametrize(("kind", "page"), [("pins", "README.md"), ("ohms", "ohms.md")])
def test_the_pins_left_free_are_those_that_nothing_takes(kind: str, page: str) -> None:
    text = (FIRMWARE / page).read_text(encoding="utf-8")
    taken = {printed for _, printed in table(text, chip_first=False)}
    bus = re.findall(r"^\| (?:converter's|SCK|registers').*?\| ([\d, ]+) \|", text, re.MULTILINE)
    taken |= {each for group in bus for each in group.split(", ")}
    told = re.findall(r"Left free are (.*?)\.\n", text, re.DOTALL)[0]
    free = re.findall(r"\d+", told)
    assert sorted(free, key=int) == sorted(set(PRINTED.values()) - taken, key=int)
    assert bool(bus) == (kind == "ohms")


def test_what_the_spi_of_ohms_takes_is_as_the_program_has_it() -> None:
    """The comment of `board/ohms/table.h`, which `board/ohms/tapped.c` and the SPI's pins follow."""
    text = (FIRMWARE / "ohms.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (?:converter's|SCK|registers').*?\| ([\d, ]+) \| ([PB\d, ]+) \|$", text, re.M)
    pairs = [pair for a, b in rows for pair in zip(a.split(", "), b.split(", "), strict=True)]
    assert [printed for printed, _ in pairs] == [PRINTED[pin] for _, pin in pairs]
    driver = (FIRMWARE / "board" / "ohms" / "tapped.c").read_text(encoding="utf-8")
    bits = {f"PB{bit}" for bit in re.findall(r"#define (?:CONVERTER|LATCH|TAPS_OFF) _BV\((\d)\)", driver)}
    assert len(bits) == 3
    assert {pin for _, pin in pairs} == bits | {"PB1", "PB2", "PB3"}


def test_the_selects_of_the_expanders_are_named_as_the_board_prints_them() -> None:
    text = (FIRMWARE / "expanders.md").read_text(encoding="utf-8")
    assert [printed for _, printed in table(text, chip_first=False)] == [
        PRINTED[f"P{port}{bit}"] for port in "ACLK" for bit in range(8)
    ]
