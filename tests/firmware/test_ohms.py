"""Ohms, volts and diodes by converter and taps: readings against the network's own, and every way to fail."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from loomproof.virtual.network import Diode, Network, Resistor, Source
from tests.firmware.building import needs_avr
from tests.firmware.circuit import bare, joined
from tests.firmware.converter import Errors
from tests.firmware.ohming import OhmBoard, between, calibrated, usual
from tests.firmware.tapped import POINTS, BoardOnTaps
from tests.firmware.terminal import Terminal

pytestmark = needs_avr
OFFSET_OHM, RATIO = 0.002, 0.005
"""The ACC that the board states."""
FAULT = 'ERR -310,"System error; converter or multiplexers do not answer"'


@pytest.fixture(scope="module")
def eeprom() -> bytes:
    return usual(1)


def board(eeprom: bytes, network: Network | None = None) -> OhmBoard:
    return OhmBoard(BoardOnTaps(1, network or bare(POINTS)), 1, eeprom=eeprom)


def joined_ohm(network: Network, a: list[int], b: list[int]) -> float:
    """What an ideal meter shows with all of A and all of B joined (nodal analysis), by points from 1."""
    g = np.zeros((POINTS, POINTS))
    for u, v, ohm in network.resistors:
        g[u, u] += 1.0 / ohm
        g[v, v] += 1.0 / ohm
        g[u, v] -= 1.0 / ohm
        g[v, u] -= 1.0 / ohm
    one, other = [p - 1 for p in a], [p - 1 for p in b]
    rest = [i for i in range(POINTS) if i not in one and i not in other]
    inner = g[np.ix_(rest, rest)] + 1e-12 * np.eye(len(rest))
    reduced = g - g[:, rest] @ np.linalg.inv(inner) @ g[rest, :]
    siemens = float(reduced[np.ix_(one, one)].sum())
    return 1.0 / siemens if siemens > 1e-9 else math.inf


def bits_of(points: list[int]) -> int:
    return sum(1 << (point - 1) for point in points)


@pytest.mark.parametrize("ohm", [0.001, 0.05, 2.0, 10.0, 330.0, 4700.0, 100e3])
def test_resistances_are_read_within_what_the_board_states(eeprom: bytes, ohm: float) -> None:
    here = board(eeprom, between({(3, 20): ohm, (41, 56): ohm}))
    for a, b in ((3, 20), (20, 3), (41, 56)):
        read = here.ohms(bits_of([a]), bits_of([b]))
        assert abs(read - ohm) <= OFFSET_OHM + RATIO * ohm
    assert here.pins() == (0, 0, 0)
    assert here.spi_misused == 0


def test_a_reading_repeats_to_a_third_of_a_milliohm(eeprom: bytes) -> None:
    here = board(eeprom, between({(1, 9): 0.01}))
    assert np.std([here.ohms(1, 1 << 8) for _ in range(12)], ddof=1) <= 0.3e-3


def test_over_range_and_open(eeprom: bytes) -> None:
    here = board(eeprom, between({(3, 20): 150e3}))
    assert here.ask("MEAS:RES? #H4,#H80000") == "9.9E37"
    assert here.on(bare(POINTS)).ask("MEAS:RES? #H4,#H80000") == "9.9E37"


NETWORKS = {
    "side by side": ({(1, 30): 4.0, (2, 31): 12.0}, [1, 2], [30, 31]),
    "one of many": ({(5, 50): 47e3}, list(range(1, 29)), list(range(29, 57))),
    "a net at both ends": ({(1, 3): 0.03, (2, 3): 0.05, (3, 40): 0.2, (3, 41): 0.02}, [1, 2], [40, 41]),
    "leaks side by side": ({(1, 30): 90e3, (7, 33): 60e3}, list(range(1, 20)), list(range(30, 50))),
    "two large nets": (
        {(1, 20): 5.0}
        | {(1, i): 0.02 * i for i in range(2, 9)}
        | {(20, i): 0.3 - 0.01 * i for i in range(21, 26)},
        list(range(1, 9)),
        list(range(20, 26)),
    ),
    "nothing": ({(1, 2): 1.0}, [1, 2, 3], [4, 5]),
}


@pytest.mark.parametrize("name", NETWORKS)
def test_groups_read_as_if_each_were_joined(eeprom: bytes, name: str) -> None:
    resistors, a, b = NETWORKS[name]
    network = between(resistors)
    true = joined_ohm(network, a, b)
    read = board(eeprom, network).ohms(bits_of(a), bits_of(b))
    if math.isinf(true):
        assert read == 9.9e37
    else:
        assert abs(read - true) <= OFFSET_OHM + RATIO * true


def test_more_than_a_reading_of_groups_takes_is_refused(eeprom: bytes) -> None:
    here = board(eeprom, joined([range(1, 25)], points=POINTS))
    assert here.ask("MEAS:RES? #HFFF,#HFFF000").startswith("ERR 4,")
    assert here.pins() == (0, 0, 0)


def test_groups_that_a_diode_couples_read_as_forwards(eeprom: bytes) -> None:
    """Two points before it and two behind: not a network of resistors, and not worked out as one."""
    wires = (Resistor(3, 4, 1e9), Resistor(0, 3, 0.05), Resistor(4, 5, 0.05))
    network = replace(one_diode(), resistors=wires)
    read = board(eeprom, network).ohms(bits_of([1, 4]), bits_of([5, 6]))
    assert read == pytest.approx(0.725 / 2.09e-3, rel=0.05)
    assert board(eeprom, network).ohms(bits_of([5, 6]), bits_of([1, 4])) == 9.9e37


def one_diode() -> Network:
    """Return a diode of 0.72 V at 2 mA from point 4 to 5."""
    leak = replace(bare(POINTS), resistors=(Resistor(3, 4, 1e9),))
    return replace(leak, diodes=(Diode(3, 4, 1e-9, 0.05),))


def test_a_diode_one_way_and_the_other(eeprom: bytes) -> None:
    here = board(eeprom, one_diode())
    amps = (5.0 - 0.725) / 2050.0
    expected_v = 0.05 * math.log(amps / 1e-9)
    assert float(here.ask("MEAS:DIOD? #H8,#H10")) == pytest.approx(expected_v, rel=0.005)
    assert here.ask("MEAS:DIOD? #H10,#H8") == "9.9E37"
    # As ohms it is what it lets through forwards; backwards it is open.
    assert here.ohms(8, 16) == pytest.approx(expected_v / amps, rel=0.05)
    assert here.ohms(16, 8) == 9.9e37
    for a, b in ((0x8, 0x70), (0xFF & ~0x10, 0xFF00 | 0x10)):
        began = here.seconds
        assert float(here.ask(f"MEAS:DIOD? #H{a:X},#H{b:X}")) == pytest.approx(expected_v, rel=0.005)
        assert here.seconds - began < 1.0
    assert here.ask("MEAS:DIOD? #HFFFF,#HFFFF0000") == "9.9E37"


@pytest.mark.parametrize(("volts", "shown"), [(0.2, 0.2), (1.5, 1.5), (4.2, 4.2), (12.6, 9.9e37)])
def test_a_voltage_on_the_loom_is_found_with_nothing_driven(
    eeprom: bytes, volts: float, shown: float
) -> None:
    here = board(eeprom, replace(bare(POINTS), sources=(Source(6, 7, volts, 0.1),)))
    assert float(here.ask("MEAS:VOLT? #H40,#H80")) == pytest.approx(shown, rel=0.01, abs=0.005)
    assert float(here.ask("MEAS:VOLT? #H80,#H41")) == pytest.approx(
        shown if shown > 1e30 else -shown, rel=0.01, abs=0.005
    )
    assert here.ever_high == 0
    assert abs(float(here.ask("MEAS:VOLT? #H1,#H2"))) < 0.05


def test_nothing_is_driven_into_a_voltage_over_the_supply(eeprom: bytes) -> None:
    here = board(eeprom, replace(bare(POINTS), sources=(Source(6, 7, 12.6, 0.1),)))
    for command in ("RES", "DIOD"):
        assert here.ask(f"MEAS:{command}? #H40,#H80").startswith("ERR 2,")
    assert here.ask("MEAS:RES? #H42,#H81").startswith("ERR 2,")
    assert here.ever_high == 0
    assert here.pins() == (0, 0, 0)


def test_a_charge_that_an_open_reading_left_is_no_source(eeprom: bytes) -> None:
    """A capacitor at the supply looks like a source a little over it, and falls while it is looked at."""
    here = board(eeprom, replace(bare(POINTS), sources=(Source(6, 7, 5.01, 0.1),)))
    here.feed(b"MEAS:RES? #H40,#H80\n")
    assert here.run(int(0.02 * 16e6)) == b""
    here.on(between({(7, 8): 10.0}))
    read = here.run_until(lambda out: out.endswith(b"\n"), 1.0)
    assert float(read) == pytest.approx(10.0, abs=OFFSET_OHM + RATIO * 10.0)


def test_current_that_does_not_come_back_is_told(eeprom: bytes) -> None:
    """A path from the loom to the board's 0 V, as a laptop's charger or a touching chassis makes."""
    to_earth = replace(between({(3, 20): 10.0}), sources=(Source(2, -1, 0.0, 1000.0),))
    here = board(eeprom, to_earth)
    assert here.ask("MEAS:RES? #H4,#H80000").startswith("ERR 3,")
    assert here.pins() == (0, 0, 0)


def test_without_converter_and_taps_it_only_senses(eeprom: bytes) -> None:
    here = OhmBoard(BoardOnTaps(1, between({(1, 2): 1.0})), 1, eeprom=eeprom, fitted=False)
    able = here.ask("SYST:CAP?")
    assert not {"OHMS", "ACC", "VOLT", "DIOD"} & {word.partition("=")[0] for word in able.split(",")}
    for command in ("RES", "VOLT", "DIOD", "FRES"):
        assert here.ask(f"MEAS:{command}? #H1,#H2").startswith("ERR -241,")
    assert here.ask("SENS:DRIV? #H1") == "#H3"
    assert here.ask("*TST?") == "202"


@pytest.mark.parametrize("what", ["dead", "never_ready", "broken"])
def test_a_part_that_fails_ends_in_an_error_with_nothing_driven(eeprom: bytes, what: str) -> None:
    here = board(eeprom, between({(1, 2): 1.0}))
    setattr(here.taps if what == "broken" else here.converter, what, True)
    for command in ("MEAS:RES? #H1,#H2", "MEAS:VOLT? #H1,#H2", "MEAS:DIOD? #H1,#H2", "MEAS:RES? #H5,#HA"):
        began = here.seconds
        assert here.ask(command, 2.0) == FAULT
        assert here.seconds - began < 0.5
        assert here.pins() == (0, 0, 0)
    assert here.ask("SYST:ERR?").startswith("-310,")


@pytest.mark.parametrize("at", [3, 5, 8, 11])
def test_a_converter_that_stops_while_current_flows(eeprom: bytes, at: int) -> None:
    here = board(eeprom, between({(1, 2): 1.0}))
    here.converter.read = 0
    here.converter.stops_at = at
    assert here.ask("MEAS:RES? #H1,#H2", 2.0) == FAULT
    assert here.ever_high != 0
    assert here.pins() == (0, 0, 0)


def test_a_program_that_hangs_while_current_flows_lets_go(eeprom: bytes) -> None:
    here = board(eeprom, between({(1, 2): 1.0}))
    here.feed(b"MEAS:RES? #H1,#H2\n")
    here.run_until(lambda out: here.pins()[1] != 0, 1.0)
    here.hang("converter_read")
    here.run(int(0.5 * 16e6))
    assert here.pins()[:2] == (2, 1)
    here.run(int(0.7 * 16e6))
    assert here.pins() == (0, 0, 0)


def test_the_self_test_knows_the_parts_and_the_points() -> None:
    """Nothing plugged in; all of a good board is looked through, which takes it three seconds."""

    def told(prepare: str) -> str:
        here = board(usual(1))
        if prepare == "crossed":
            here.taps.crossed = {11: 12, 12: 11}
        elif prepare:
            setattr(here.taps if prepare == "broken" else here.converter, prepare, True)
        return here.ask("*TST?", 60.0)

    assert [told(what) for what in ("broken", "dead", "crossed", "")] == ["399", "398", "412", "0"]


def test_calibration_survives_the_power_and_a_wrong_resistor_is_refused() -> None:
    here = OhmBoard(BoardOnTaps(2, between({(1, 2): 1000.0})), 2)
    assert here.ask("MEAS:RES? #H1,#H2") == 'ERR -221,"Settings conflict; not calibrated"'
    assert here.ask("CAL:RES:PLUG #H3").startswith("ERR -221,")
    assert here.ask("CAL:RES:REF #H1,#H2,2000").startswith("ERR 1,")
    assert here.ask("CAL:RES:REF #H1,#H2,10").startswith("ERR -222,")
    assert here.ask("CAL:RES:REF #H1,#H4,1000").startswith("ERR 1,")
    assert here.ask("CAL:RES:REF #H1,#H2,1000") == "OK"
    assert here.ask("CAL:RES:PLUG #H7").startswith("ERR 1,"), "point 3 is joined to nothing"
    assert "OHMS" not in here.ask("SYST:CAP?")
    kept = bytearray(usual(1))
    assert "OHMS=0:1E5" in OhmBoard(BoardOnTaps(1, bare(POINTS)), 1, eeprom=bytes(kept)).ask("SYST:CAP?")


def test_a_resistor_that_is_off_shows_in_every_reading() -> None:
    """One per cent in the known resistor is one per cent in every reading: the figure is not made up."""
    kept = calibrated(3, true_ohm=1010.0)
    here = OhmBoard(BoardOnTaps(3, between({(1, 2): 100.0})), 3, eeprom=kept)
    assert here.ohms(1, 2) == pytest.approx(100.0 / 1.01, rel=0.002)


def test_without_reversal_offsets_would_be_in_the_reading(eeprom: bytes) -> None:
    """The model's errors are large enough to matter: a converter with 1 mV of offset reads no differently."""
    for offset_v in (0.0, 1e-3):
        errors = replace(Errors.drawn(1), offset_v=offset_v)
        here = OhmBoard(BoardOnTaps(1, between({(1, 2): 0.5})), 1, eeprom=eeprom, errors=errors)
        assert here.ohms(1, 2) == pytest.approx(0.5, abs=0.002 + 0.0025)


def test_a_capacitor_in_the_loom_is_waited_for(eeprom: bytes) -> None:
    """A microfarad at one point charges through a kilohm; ten times that is what the notes ask for."""
    beside = np.zeros(POINTS)
    beside[19] = 1e-6
    circuit = BoardOnTaps(1, between({(3, 20): 10.0}))
    circuit.farad = circuit.farad + beside
    here = OhmBoard(circuit, 1, eeprom=eeprom)
    assert here.ask("SENS:SETT 20000") == "OK"
    assert abs(here.ohms(4, 1 << 19) - 10.0) <= OFFSET_OHM + RATIO * 10.0


def test_the_ordinary_link_measures_too(eeprom: bytes) -> None:
    here = board(eeprom, between({(1, 2): 1.0}))
    terminal = Terminal(here)
    terminal.open()
    assert float(terminal.ask("MEAS:RES? #H1,#H2")) == pytest.approx(1.0, abs=0.007)
    assert terminal.ask("WATC:STAR #H1") == "OK"
    here.run(800_000)
    assert terminal.ask("MEAS:RES? #H1,#H2").startswith("ERR -221,")
