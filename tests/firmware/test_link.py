"""The compiled firmware held to the rules of the scanner link, on an emulated chip and its own clock."""

from __future__ import annotations

import pytest

from tests.firmware.building import needs_avr
from tests.firmware.circuit import Circuit, Pins, joined
from tests.firmware.emulated import Board
from tests.firmware.terminal import Terminal, sealed

pytestmark = needs_avr


@pytest.fixture
def terminal() -> Terminal:
    return Terminal(Board(Circuit(Pins.drawn(1), joined([(1, 9, 17), (2, 60)]))))


def test_the_exchange_on_the_page(terminal: Terminal) -> None:
    assert terminal.send(b":00SYST:LINK:OPEN 1234ABCD*88D5C6D6\n") == b":001234ABCD*FFCF59F8\n"
    assert terminal.send(b":01*IDN?*27CDACD8\n").startswith(b":01loomproof,reference scanner,UNSET,1.0*")


def test_plain_lines_until_a_link_is_open(terminal: Terminal) -> None:
    assert terminal.send(b"*idn?\r\n") == b"loomproof,reference scanner,UNSET,1.0\n"
    assert terminal.send(b"\n\r\n\n") == b""
    terminal.open()
    terminal.silent(b"*IDN?\n")
    assert terminal.ask("SYST:LINK?") == "3,1,0"


def test_what_is_not_next_is_dropped(terminal: Terminal) -> None:
    terminal.silent(sealed(1, "*IDN?"))  # no link
    terminal.open()
    terminal.silent(sealed(2, "*IDN?"))
    terminal.silent(sealed(1, "*IDN?", b"00000000"))
    terminal.silent(sealed(1, "*IDN?")[:-3] + b"0\n")
    terminal.silent(sealed(1, "*IDN?").replace(b"*", b"", 1))
    terminal.silent(sealed(1, "*IDN?").lower())
    terminal.silent(b":\n:01*\n:01\n")
    assert terminal.ask("SYST:LINK?") == "2,9,0"


def test_a_repeat_is_answered_and_not_executed(terminal: Terminal) -> None:
    terminal.open()
    assert terminal.ask("MEAS:TEMP?") == 'ERR -241,"Hardware missing"'
    again = terminal.send(sealed(1, "MEAS:TEMP?"))
    assert again == sealed(1, 'ERR -241,"Hardware missing"')
    assert terminal.ask("SYST:ERR?").startswith("-241")
    assert terminal.ask("SYST:ERR?") == '0,"No error"'
    assert terminal.ask("SYST:LINK?") == "6,0,1"


def test_repeats_while_it_works_are_answered_once(terminal: Terminal) -> None:
    terminal.open()
    assert terminal.ask("SENS:SETT 20000") == "OK"
    line = terminal.line("SENS:DRIV? #H1")
    terminal.board.feed(line * 4)
    got = terminal.board.run_until(lambda out: out.count(b"\n") == 2, 3.0) + terminal.board.run(8_000_000)
    assert got == sealed(terminal.number, "#H10101") * 2
    assert terminal.ask("SYST:LINK?") == "7,0,3"


def test_the_number_goes_round(terminal: Terminal) -> None:
    terminal.number = 0xFE
    terminal.open()
    for number in (0xFF, 0x00, 0x01):
        assert terminal.ask("SENS:SETT?") == "500"
        assert terminal.number == number


def test_a_line_over_line_is_dropped_to_its_end(terminal: Terminal) -> None:
    assert "LINE=352" in terminal.board.ask("SYST:CAP?")
    terminal.open()
    longest = terminal.line("X" * (352 - 13))
    assert terminal.send(longest).startswith(b":01ERR -113,")
    terminal.silent(sealed(2, "X" * (352 - 12)), 0.5)
    assert terminal.ask("*CLS") == "OK"


def test_ten_seconds_of_silence_close_it(terminal: Terminal) -> None:
    terminal.open()
    terminal.board.run(int(9.5 * 16e6))
    assert terminal.ask("*CLS") == "OK"
    terminal.board.run(int(10.5 * 16e6))
    terminal.silent(terminal.line("*CLS"))
    terminal.number = 7
    terminal.open()


def test_a_rate_that_nobody_follows_falls_back_and_closes(terminal: Terminal) -> None:
    assert terminal.board.ask("SYST:BAUD 250000").startswith("ERR -221")
    terminal.open()
    assert terminal.ask("SYST:BAUD 700000").startswith("ERR -222")
    assert terminal.ask("SYST:BAUD 250000") == "OK"
    terminal.board.run(16_000)  # simavr gives a byte out when it begins; the chip switches when it has ended
    begun = terminal.board.cycle
    assert terminal.ask("*CLS") == "OK"  # the emulated UART takes bytes at the rate that the chip has
    assert terminal.board.cycle - begun < 16e6 * (2 * 20 * 10 / 115200)
    terminal.board.run(int(3 * 16e6))
    assert terminal.ask("SYST:BAUD 200000") == "OK"
    terminal.board.run(int(2.2 * 16e6))
    terminal.silent(terminal.line("*CLS"))
    terminal.open()
    begun = terminal.board.cycle
    assert terminal.ask("*CLS") == "OK"
    assert terminal.board.cycle - begun > 16e6 * (30 * 10 / 115200)


@pytest.mark.parametrize(
    ("body", "code"),
    [
        ("FOO", -113), ("*IDN? ", -102), ("*IDN? 1", -108), ("SENS:DRIV?", -109), ("SENS:DRIV? ", -102),
        ("SENS:DRIV? #H1, #H2", -102), ("SENS:DRIV? #H1,", -104), ("SENS:DRIV? 5", -104),
        ("SENS:DRIV? #H10000000000000000", -222), ("SENS:DRIV? #HG", -104), ("SENS:SETT 99", -222),
        ("SENS:SETT 10000001", -222), ("SENS:SETT x", -104), ("MEAS:CAP? #H1,#H1", -221),
        ("MEAS:CAP? #H0,#H1", -222), ("MEAS:CAP? #H1", -109), ("MEAS:CAP? #H1,#H2", -221),
        ("WATC:STOP", -221), ("MEAS:RES? #H1,#H2", -241), ("SYST:ARM 50", -241), ("SYST:LINK:OPEN X", -102),
        ("SENS:DRIV? " + ",".join(["#H1"] * 18), -223), ("WATC:STAR " + ",".join(["#H1"] * 17), -223),
    ],
)  # fmt: skip
def test_what_it_refuses(terminal: Terminal, body: str, code: int) -> None:
    terminal.open()
    if "LINK:OPEN" in body:
        answer = terminal.send(sealed(1, body, b"")).decode()
        assert answer[3:].startswith(f"ERR {code},")
    else:
        assert terminal.ask(body).startswith(f'ERR {code},"'), body
    assert terminal.ask("SYST:ERR?").startswith(f"{code},")
    assert terminal.ask("SENS:SETT?") == "500"


def test_the_queue_s_last_place_tells_of_overflow(terminal: Terminal) -> None:
    terminal.open()
    for _ in range(9):
        terminal.ask("FOO")
    told = [terminal.ask("SYST:ERR?") for _ in range(9)]
    assert [text.split(",")[0] for text in told] == ["-113"] * 7 + ["-350", "0"]


def test_leading_zeros_and_either_case(terminal: Terminal) -> None:
    assert terminal.board.ask("sens:driv? #h" + "0" * 40 + "1,#H0aB") == f"#H10101,#H{1 << 59 | 0x101AB:X}"


def test_nothing_is_driven_between_commands(terminal: Terminal) -> None:
    terminal.open()
    assert terminal.ask("SENS:DRIV? #H1,#HFFFFFFFFFFFFFFFF") == "#H10101,#HFFFFFFFFFFFFFFFF"
    assert terminal.board.pins() == (0, 0, 0)
    assert terminal.board.ever_high == 0


def test_a_reset_forgets_the_link_and_releases(terminal: Terminal) -> None:
    terminal.open()
    assert terminal.ask("WATC:STAR #H1") == "OK"
    assert terminal.board.pins()[0] == 1
    terminal.board.reset()
    terminal.board.run(160_000)
    assert terminal.board.pins() == (0, 0, 0)
    terminal.silent(terminal.line("*CLS"))
    terminal.open()
    assert terminal.ask("SYST:LINK?") == "2,1,0"
