"""What the board keeps without power, and what the watchdog does to a program that hangs."""

from __future__ import annotations

import pytest

from tests.firmware.building import needs_avr
from tests.firmware.circuit import Circuit, Pins, bare
from tests.firmware.emulated import Board
from tests.firmware.terminal import Terminal

pytestmark = needs_avr


def board(eeprom: bytes = b"") -> Board:
    return Board(Circuit(Pins.drawn(1), bare()), eeprom=eeprom)


def serial(of: Board) -> str:
    return of.ask("*IDN?").split(",")[2]


def test_a_serial_number_outlives_the_power() -> None:
    one = board()
    assert serial(one) == "UNSET"
    assert one.ask('CAL:SER "SN-0042.b"') == "OK"
    assert one.ask('CAL:DATE "2031-05-04"') == "OK"
    assert serial(board(one.eeprom())) == "SN-0042.b"


@pytest.mark.parametrize(
    "text", ["SN1", '""', '"a b"', '"0123456789abcdef"', '"a,b"', '"a""b"', '"ä"', '"unended']
)
def test_what_is_no_serial_number(text: str) -> None:
    one = board()
    assert one.ask(f"CAL:SER {text}").startswith("ERR -10")
    assert serial(one) == "UNSET"


def test_a_copy_that_is_damaged_gives_way_to_the_other() -> None:
    one = board()
    one.ask('CAL:SER "FIRST"')
    one.ask('CAL:SER "SECOND"')
    whole = bytearray(one.eeprom())
    for byte in range(0, 300, 7):
        for at in (whole.index(b"FIRST") - 4, whole.index(b"SECOND") - 4):
            damaged = bytearray(whole)
            damaged[at + byte] ^= 0x10
            kept = serial(board(bytes(damaged)))
            assert kept == ("SECOND" if at == whole.index(b"FIRST") - 4 or byte >= 292 else "FIRST")
        if byte > 50:
            break


def test_power_cut_at_any_byte_of_a_store_leaves_the_old_or_the_new() -> None:
    one = board()
    one.ask('CAL:SER "OLD"')
    one.feed(b'CAL:SER "NEW"\n')
    seen = set()
    for _ in range(40):
        one.run(2_000)
        seen.add(serial(board(one.eeprom())))
    one.run(20_000_000)
    seen.add(serial(board(one.eeprom())))
    assert seen == {"OLD", "NEW"}


def test_the_watchdog_leaves_every_pin_an_input() -> None:
    one = board()
    terminal = Terminal(one)
    terminal.open()
    assert terminal.ask("WATC:STAR #HFF") == "OK"
    one.run(160_000)
    assert one.pins()[0] == 0xFF
    one.hang("link_run")
    one.run(int(0.5 * 16e6))
    assert one.pins()[0] == 0xFF
    one.run(int(0.7 * 16e6))
    assert one.pins() == (0, 0, 0)
    assert one.ever_high == 0


def test_work_that_takes_long_does_not_wake_the_watchdog() -> None:
    one = board()
    terminal = Terminal(one)
    terminal.open()
    assert terminal.ask("SENS:SETT 200000") == "OK"
    assert terminal.ask("SENS:DRIV? #H1") == "#H1"
    assert terminal.ask("SYST:LINK?") == "4,0,0"
