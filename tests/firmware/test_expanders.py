"""Points on SPI expanders: sensed, watched, and what happens when a chip is missing or leaves in mid-run."""

from __future__ import annotations

import numpy as np
import pytest

from loomproof.virtual.network import Resistor
from tests.figures.expanders import expander_vector
from tests.firmware.building import needs_avr
from tests.firmware.circuit import Circuit, Pins, bare, joined, on_expanders
from tests.firmware.expanded import SELECTS, Expanded, Fault
from tests.firmware.terminal import Terminal
from tests.firmware.test_sensing import events

pytestmark = needs_avr
POINTS = 128


def worst(ohm: float, driver_ohm: float, series_ohm: float, share: float) -> Pins:
    """All points at one corner of the data sheet's limits."""
    full = np.full(POINTS, 1.0)
    return Pins(
        full * ohm, full * series_ohm, full * driver_ohm, full * share * 5.0, full * 15e-12, full * 0.0
    )


WORST_LOW = worst(5.0 / 115e-6, 75.0, 474.7, 0.2)
WORST_HIGH = worst(5.0 / 40e-6, 10.0, 465.3, 0.8)


def board(*groups: tuple[int, ...], points: int = POINTS, seed: int = 1) -> Expanded:
    return Expanded(Circuit(on_expanders(seed, points), joined(groups, points=points)))


def read(of: Expanded, *drives: int) -> list[int]:
    answer = of.ask("SENS:DRIV? " + ",".join(f"#H{d:X}" for d in drives))
    return [int(word[2:], 16) for word in answer.split(",")]


@pytest.mark.parametrize("chips", [1, 8, 32])
def test_the_chips_that_are_there_are_found(chips: int) -> None:
    points = 16 * chips
    one = board((1, points), points=points)
    able = one.ask("SYST:CAP?").split(",")
    assert f"POINTS={points}" in able
    assert {"SENSE=8100", "CLEAR=590000", "DRIVR=550"} <= set(able)
    assert not [key for key in able if key.startswith(("PULLS", "OHMS", "VOLT", "CAPF"))]
    assert read(one, 1, 0, 1 << (points - 1)) == [1 | 1 << (points - 1), 0, 1 | 1 << (points - 1)]
    assert one.ask(f"SENS:DRIV? #H{1 << points:X}").startswith("ERR -222,")
    assert one.ask("MEAS:CAP? #H1,#H2").startswith("ERR -241,")
    assert (one.spi_misused, one.ever_high) == (0, 0)


def test_every_point_is_the_pin_that_the_notes_name() -> None:
    """Point 16 n + 1 is GPA0 of chip n + 1. The emulator has an order of its own."""
    one = board()
    for start in range(0, POINTS, 32):
        drives = [1 << i for i in range(start, start + 32, 3)]
        assert read(one, *drives) == drives


@pytest.mark.parametrize("size", [2, 7, 14])
def test_a_net_reads_low_with_the_worst_chips(size: int) -> None:
    net = tuple(range(1, 9 * size, 9))
    one = Expanded(Circuit(WORST_LOW, joined([net], points=POINTS)))
    low = sum(1 << (p - 1) for p in net)
    assert read(one, 1, 1 << (net[-1] - 1)) == [low, low]


@pytest.mark.parametrize(("ohm", "shown"), [(7_400.0, True), (600e3, False)])
def test_one_point_behind_a_path(ohm: float, shown: bool) -> None:
    for pins in (WORST_LOW, WORST_HIGH):
        one = Expanded(Circuit(pins, joined([], [Resistor(0, 70, ohm)], points=POINTS)))
        assert read(one, 1) == [1 | shown << 70]


@pytest.mark.parametrize("fault", [Fault.GONE, Fault.DEAF])
@pytest.mark.parametrize("chip", [1, 5, 8])
def test_a_chip_that_leaves_in_mid_run_is_an_error_and_nothing_stays_driven(chip: int, fault: Fault) -> None:
    one = board((1, 70))
    terminal = Terminal(one)
    terminal.open()
    assert terminal.ask("SENS:DRIV? #H1") == f"#H{1 | 1 << 69:X}"
    one.feed(terminal.line("SENS:DRIV? #HFFFF00000000FFFF,#H1"))
    while not one.pins()[0]:
        one.run(100)
    one.fault(chip, fault)
    raw = one.run(3_200_000)
    assert raw[3:].startswith(f"ERR {3000 + chip},".encode())
    assert one.pins() == (0, 0, 0), "the reset line is down"
    assert terminal.ask("SENS:DRIV? #H1").startswith(f"ERR {3000 + chip},")
    assert terminal.ask("*TST?") == str(3000 + chip)
    assert one.pins() == (0, 0, 0)
    one.fault(chip, Fault.GOOD)
    assert terminal.ask("SENS:DRIV? #H1") == f"#H{1 | 1 << 69:X}"
    assert terminal.ask("SYST:ERR?").startswith(f"{3000 + chip},")


@pytest.mark.parametrize("chip", range(1, 9))
def test_a_moment_without_supply_is_an_error(chip: int) -> None:
    """Its pull-ups are off after it: what it reads would look like isolation, or like a short."""
    one = board()
    assert read(one, 1) == [1]
    one.fault(chip, Fault.GOOD)
    assert one.ask("SENS:DRIV? #H1").startswith(f"ERR {3000 + chip},")
    assert read(one, 1) == [1]


@pytest.mark.parametrize("level", [0x00, 0xFF])
def test_a_data_line_that_nobody_drives_is_no_reading(level: int) -> None:
    one = board()
    for chip in range(1, 9):
        one.fault(chip, Fault.DEAF)
    one.rest(level)
    assert one.ask("SENS:DRIV? #H0").startswith("ERR 3001,")


def test_selects_that_touch_and_chips_left_out_are_found_at_power_on() -> None:
    circuit = Circuit(on_expanders(1, POINTS), bare(POINTS))
    bridged = Expanded(circuit, selects=[*SELECTS[:3], SELECTS[2], *SELECTS[4:8]])
    assert bridged.ask("SENS:DRIV? #H1").startswith("ERR 300")
    gap = Expanded(circuit, selects=[*SELECTS[:2], *SELECTS[3:9]])
    assert "POINTS=32," in gap.ask("SYST:CAP?")
    assert gap.ask("SENS:DRIV? #H1").startswith("ERR 3003,")
    assert gap.pins() == (0, 0, 0)


def watching(one: Expanded, sets: str) -> Terminal:
    terminal = Terminal(one)
    terminal.open()
    assert terminal.ask(f"WATC:STAR {sets}") == "OK"
    return terminal


def test_a_watch_tells_what_changes() -> None:
    one = board((1, 2, 100), (50, 51))
    terminal = watching(one, "#H1,#H0,#H2000000000000")
    whole = 3 | 1 << 99
    assert [(i, low) for _, _, i, low in events(one.run(1_600_000))] == [(0, whole), (1, 0), (2, 3 << 49)]
    one.circuit.load(joined([(1, 2), (50, 51)], points=POINTS))
    one.touch()
    assert [(n, i, low) for n, _, i, low in events(one.run(1_600_000))] == [(3, 0, 3)]
    assert terminal.ask("WATC:STOP").split(",")[1:] == ["4", "0"]
    assert one.pins()[:2] == (0, 0)


@pytest.mark.parametrize("chips", [8, 32])
def test_an_interruption_of_two_cycles_is_seen_and_the_line_has_its_time(chips: int) -> None:
    points = 16 * chips
    one = board((1, 2, 100), points=points)
    cycle_us = int(one.ask("SYST:CAP?").split("WATCH=")[1].split(",")[0])
    terminal = watching(one, "#H1")
    one.run(800_000)
    pins = one.circuit.pins
    rise_us = float(np.max(pins.pull_ohm * pins.farad)) * 1.7e6
    for step in range(8):
        one.run(37 * step * cycle_us // 60)
        one.circuit.load(joined([(1, 2)], points=points))
        one.touch()
        one.run(int((2 * cycle_us + rise_us) * 16))
        one.circuit.load(joined([(1, 2, 100)], points=points))
        one.touch()
        assert len(events(one.run(900_000))) == 2
        assert terminal.ask("SYST:LINK?") == f"{4 + step},0,0"
    assert terminal.ask("WATC:STOP").split(",")[1:] == ["17", "0"]


def test_a_watch_whose_chip_leaves_ends_and_nothing_stays_driven() -> None:
    one = board((1, 2, 100))
    terminal = watching(one, "#H1")
    one.run(800_000)
    one.fault(7, Fault.GONE)
    ((_, _, index, low),) = events(one.run(160_000))
    assert (index, low) == (-1, 0)
    assert one.pins() == (0, 0, 0)
    assert terminal.ask("SYST:ERR?").startswith("3007,")
    assert terminal.ask("WATC:STOP").startswith("ERR -221,")


def test_a_watch_that_nobody_listens_to_ends_after_five_seconds() -> None:
    one = board()
    watching(one, "#H1")
    one.run(int(4.9 * 16e6))
    assert one.pins()[0] == 1
    assert [(i, low) for _, _, i, low in events(one.run(int(0.3 * 16e6)))] == [(-1, 0)]
    assert one.pins()[:2] == (0, 0)


def test_a_chip_that_hangs_or_is_reset_lets_go_of_everything() -> None:
    one = board()
    watching(one, "#HFF00000000000000FF")
    assert one.pins()[0] == 0xFF00000000000000FF
    one.hang("link_run")
    one.run(int(1.3 * 16e6))
    assert one.pins()[:2] == (0, 0)
    again = board()
    watching(again, "#HFF")
    again.reset()
    assert again.pins() == (0, 0, 0)
    assert again.ever_high == 0


def test_the_self_test_finds_points_that_touch() -> None:
    assert board().ask("*TST?", 60.0) == "0"
    assert board((5, 100)).ask("*TST?", 60.0) == "2100"


def test_bytes_and_cycles_of_a_vector() -> None:
    """`make figures` has the table."""
    for chips in (8, 32):
        for drive in ("one", "all"):
            found = expander_vector(chips, drive)
            assert found.bytes_a_chip <= 12.0
            assert found.cycles_a_chip < 200.0
