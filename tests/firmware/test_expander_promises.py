"""SENSE, CLEAR and DRIVR of points on expanders against the data sheet's limits, worked out here.

Limits: data sheet of the MCP23S17, DS20001952, table 1-1 (D031 V_IL 0.2 V_DD, D041 V_IH 0.8 V_DD, D060 1 µA,
D070 40 to 115 µA at 5 V, D080 0.6 V at 8 mA); supply: USB 2.0, section 7.3.2. All points are always pulled
up. A pull-up near 0 V is a source of its whole current, near the supply a resistor: a transistor gives less
than the first and more than the second.
"""

from __future__ import annotations

import math
import re
from itertools import product

import pytest

from loomproof.bench.seam import Capabilities
from tests.figures.expanders import expander_vector
from tests.firmware.building import FIRMWARE, needs_avr
from tests.firmware.expanded import SELECTS

SUPPLY_V = (4.4, 5.25)
MOST_PULL_S, LEAST_PULL_S = 115e-6 / 5.0, 40e-6 / 5.0
LOW, HIGH, LEAK_A = 0.2, 0.8, 1e-6
DRIVER_OHM = 0.6 / 8e-3
NOTES = (FIRMWARE / "expanders.md").read_text(encoding="utf-8")
CELLS = [[cell.strip() for cell in line.split("|")[1:-1]] for line in NOTES.splitlines() if line[:1] == "|"]


def constant(name: str) -> float:
    match = re.search(rf"#define {name} (\d+)", (FIRMWARE / "board" / "expanders" / "kind.h").read_text())
    assert match
    return float(match[1])


SENSE, CLEAR, DRIVR = constant("SENSE_OHM"), constant("CLEAR_OHM"), constant("DRIVER_OHM")
ABLE = Capabilities(512, sense_ohm=SENSE, clear_ohm=CLEAR, driver_ohm=DRIVR)


def low_share(supply_v: float, series_ohm: float, near: int, far: int, path_ohm: float) -> float:
    """Return the far pins' voltage over the supply: each pull-up a source, through pin, path and driver."""
    each = MOST_PULL_S * supply_v + LEAK_A
    net_v = (near + far) * each * (series_ohm + DRIVER_OHM)
    return (net_v + far * each * path_ohm + each * series_ohm) / supply_v


def high_share(supply_v: float, far: int, path_ohm: float) -> float:
    """Return the same at the least: each pull-up a resistor, each pin leaking to 0 V, driver and pin none."""
    pull_ohm = 1.0 / LEAST_PULL_S
    # far (V - v) / P - far leak = v / R
    return (supply_v / pull_ohm - LEAK_A) * far / (1.0 / path_ohm + far / pull_ohm) / supply_v


@pytest.mark.parametrize("size", range(2, 15))
def test_less_than_sense_surely_reads_low(size: int) -> None:
    """The driven point has no pull-up of its own; taken are as many others as the net has points."""
    for supply, series in product(SUPPLY_V, (465.3, 474.7)):
        assert low_share(supply, series, 0, size, ABLE.surely_low_ohm(size)) < LOW


@pytest.mark.parametrize(("one", "other"), [(1, 1), (1, 13), (7, 7), (4, 9), (2, 3)])
def test_a_path_between_two_nets_surely_shows(one: int, other: int) -> None:
    ohm = ABLE.surely_apart_ohm(one, other)
    assert ohm > 0.0
    ways = [
        max(low_share(supply, series, near, far, ohm) for supply, series in product(SUPPLY_V, (465.3, 474.7)))
        for near, far in ((one, other), (other, one))
    ]
    assert min(ways) < LOW, "the better of the two ways shows it"


@pytest.mark.parametrize("size", [1, 2, 8, 14])
def test_more_than_clear_surely_reads_high(size: int) -> None:
    for supply in SUPPLY_V:
        assert high_share(supply, size, CLEAR / size) > HIGH


def test_the_promises_are_no_smaller_than_they_have_to_be() -> None:
    assert any(low_share(v, 474.7, 0, 1, 1.02 * (SENSE - DRIVR)) > LOW for v in SUPPLY_V)
    assert high_share(SUPPLY_V[0], 1, 0.95 * CLEAR) < HIGH
    assert math.ceil(474.7 + DRIVER_OHM) == DRIVR


def test_fourteen_points_are_the_most_and_the_table_of_resistors_says_so() -> None:
    assert ABLE.surely_low_ohm(14) > 0.0
    assert ABLE.surely_low_ohm(15) == 0.0
    rows = [row for row in CELLS if len(row) == 4 and row[0].endswith("Ω")]
    assert len(rows) == 5
    for resistor, clamp, driven, most in rows:
        ohm = float(resistor.split()[0]) * (1000.0 if "kΩ" in resistor else 1.0)
        assert float(clamp.split()[0]) == pytest.approx(1e3 * (14.4 - 5.5) / (0.99 * ohm), abs=0.6)
        assert float(driven.split()[0]) == pytest.approx(1e3 * 14.4 / (0.99 * ohm), abs=0.6)
        each = MOST_PULL_S * SUPPLY_V[0] + LEAK_A
        count = (LOW * SUPPLY_V[0] / each - 1.01 * ohm) / (1.01 * ohm + DRIVER_OHM)
        assert int(most) == int(count)


def test_the_notes_name_the_pins_of_the_selects() -> None:
    """Of the common board's published pin map: PA0-7 are 22-29, PC0-7 37-30, PL0-7 49-42, PK0-7 A8-A15."""
    ports = {"A": range(22, 30), "C": range(37, 29, -1), "L": range(49, 41, -1)}
    expected = [" ".join(map(str, pins)) for pins in ports.values()] + [
        " ".join(f"A{i}" for i in range(8, 16))
    ]
    rows = [row for row in CELLS if len(row) == 3 and re.match(r"\d+ - \d+$", row[0])]
    assert [row[1] for row in rows] == expected
    assert [row[2] for row in rows] == [f"P{port}0 - P{port}7" for port in "ACLK"]
    assert len(SELECTS) == 32


@needs_avr
def test_what_the_notes_say_of_a_vectors_cost() -> None:
    for words, drive in (("128, one point driven", "one"), ("128, all driven", "all")):
        (row,) = [row for row in CELLS if row[0] == words]
        found = expander_vector(8, drive)
        assert float(row[1]) == found.bytes_a_chip
        assert float(row[2]) == pytest.approx(found.cycles_a_chip, abs=5.0)
        assert float(row[3].split()[0]) == pytest.approx(found.time_us, abs=3.0)
