"""The command set: answers, refusals with their codes, the error queue, arming."""

from __future__ import annotations

import re

import pytest

from loomproof.virtual.commands import number
from loomproof.virtual.link import Device
from loomproof.virtual.meter import Limits
from loomproof.virtual.scanner import Make, Scanner
from tests.virtual.looms import small_loom
from tests.virtual.test_link import device, say

FULL = Make(points=7, four_wire=Limits(0.001, 0.001), insulation_v=500.0)
PLAIN = Make(points=7, accuracy=None, diode=False, volt_max=None, watch_us=None)


def of(make: Make, *faults: str) -> Device:
    return Device(Scanner(small_loom(), make, faults=faults))


def ask(it: Device, body: str, now_s: float = 0.0) -> str:
    return say(it, body.encode() + b"\n", max(now_s, it.busy_s)).decode().removesuffix("\n")


def test_numbers_are_ieee_488_2_decimals_with_five_digits_or_more() -> None:
    for value in (0.0, 1e-3, 0.125, 47.0, 1.99e6, -0.0123456):
        text = number(value)
        assert re.fullmatch(r"-?\d\.\d{4,}E-?\d+", text)
        assert float(text) == pytest.approx(value, rel=1e-6)
    assert number(float("inf")) == "9.9E37"
    assert number(float("nan")) == "9.91E37"


def test_capabilities_name_only_what_the_scanner_has() -> None:
    keys = dict(word.split("=") for word in ask(of(FULL), "SYST:CAP?").split(","))
    assert keys["POINTS"] == "7"
    assert (keys["ACC"], keys["FACC"], keys["FOUR"]) == ("0.1:0.01", "0.001:0.001", "1")
    assert (keys["INS"], keys["DIOD"], keys["VOLT"]) == ("500", "1", "30")
    assert int(keys["LINE"]) >= 2 * 2 + 48
    plain = dict(word.split("=") for word in ask(of(PLAIN), "SYST:CAP?").split(","))
    assert not {"OHMS", "ACC", "FOUR", "FACC", "DIOD", "INS", "VOLT", "WATCH"} & set(plain)


@pytest.mark.parametrize(
    ("body", "code"),
    [
        ("SENS:FOO?", -113),
        ("*IDN? 3", -108),
        ("SENS:DRIV?", -109),
        ("SENS:DRIV? ", -102),
        ("SENS:DRIV? #H1, #H2", -102),
        ("SENS:DRIV? 5", -104),
        ("SENS:DRIV? #H1,", -104),
        ("SENS:DRIV? #HG", -104),
        ("SENS:DRIV? #H80", -222),
        ("SENS:SETT 99", -222),
        ("SENS:SETT soon", -104),
        ("SENS:SETT nan", -104),
        ("MEAS:RES? #H1", -109),
        ("MEAS:RES? #H1,#H0", -222),
        ("MEAS:RES? #H3,#H1", -221),
        ("MEAS:RES? #H1,#H100", -222),
        ("SYST:ARM 501", -222),
        ("SYST:ARM 0", -222),
        ("MEAS:INS? #H1,#H4,500,10", -203),
        ("MEAS:INS? #H1,#H4,500,60001", -222),
        ("SYST:LINK:OPEN 1234ABCD", -221),
        ("WATC:STOP", -221),
    ],
)
def test_what_cannot_be_is_refused_with_its_code_and_queued(body: str, code: int) -> None:
    it = of(FULL)
    answer = ask(it, body)
    assert answer.startswith(f'ERR {code},"')
    assert ask(it, "SYST:ERR?") == answer.removeprefix("ERR ")
    assert ask(it, "SYST:ERR?") == '0,"No error"'
    assert ask(it, "SENS:SETT?") == "500"


@pytest.mark.parametrize(
    "body",
    [
        "MEAS:RES? #H1,#H2",
        "MEAS:FRES? #H1,#H2",
        "MEAS:DIOD? #H1,#H2",
        "MEAS:VOLT? #H1,#H2",
        "MEAS:INS? #H1,#H2,100,1",
        "SYST:ARM 100",
        "WATC:STAR #H1",
    ],
)
def test_a_scanner_without_the_hardware_says_so(body: str) -> None:
    assert ask(of(PLAIN), body).startswith("ERR -241,")


def test_the_error_queue_overflows_at_its_end() -> None:
    it = device()
    for _ in range(20):
        ask(it, "NO:SUCH")
    answers = [ask(it, "SYST:ERR?") for _ in range(9)]
    assert answers[:7] == ['-113,"Undefined header"'] * 7
    assert answers[7:] == ['-350,"Queue overflow"', '0,"No error"']
    ask(it, "NO:SUCH")
    assert ask(it, "*CLS") == "OK"
    assert ask(it, "SYST:ERR?") == '0,"No error"'


def test_arming_allows_one_test_up_to_its_voltage_within_ten_seconds() -> None:
    it = of(FULL, "leak 4.7M P1:1 P1:3")
    test = "MEAS:INS? #H1,#H4,250,1000"
    assert ask(it, "SYST:ARM 250") == "OK"
    assert ask(it, "MEAS:INS? #H1,#H4,500,1000").startswith("ERR -203")
    assert float(ask(it, test)) == pytest.approx(4.7e6, rel=0.06)
    assert ask(it, test, 2.0).startswith("ERR -203")
    ask(it, "SYST:ARM 250", 3.0)
    assert ask(it, test, 13.5).startswith("ERR -203")
    ask(it, "SYST:ARM 250", 14.0)
    ask(it, "*RST", 14.0)
    assert ask(it, test, 14.0).startswith("ERR -203")


def test_the_device_is_busy_for_settling_measuring_and_dwell() -> None:
    it = of(FULL)
    for body, least_s in (
        ("SENS:DRIV? #H1,#H2,#H4", 3 * 500e-6),
        ("MEAS:RES? #H1,#H2", 0.02),
        ("SYST:ARM 500", 0.0),
        ("MEAS:INS? #H1,#H4,500,3000", 3.0),
    ):
        began_s = it.busy_s
        ask(it, body)
        assert least_s <= it.busy_s - began_s <= least_s + 0.1


def test_self_test_finds_dead_drivers_and_stuck_inputs() -> None:
    assert ask(device(), "*TST?") == "0"
    for fault in ("bench stuck-low 3", "bench stuck-high 3", "bench dead-driver 3"):
        it = device(fault)
        assert ask(it, "*TST?") == "3"
        assert ask(it, "SYST:ERR?").startswith("-330,")
