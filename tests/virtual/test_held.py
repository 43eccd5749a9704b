"""A capacitor that was left charged, against V·exp(-t/RC) with resistances counted by hand."""

from __future__ import annotations

import math

import pytest

from loomproof.bench.adapter import in_order
from loomproof.loom.model import End
from loomproof.virtual import constants as c
from loomproof.virtual.scanner import Scanner
from tests.bench.torture import loom_of

LOOM = loom_of("hillclimb_engine")
POINT_OF = in_order(LOOM.cavities).point_of
PLUS, MINUS = (1 << (POINT_OF[End(name, "1")] - 1) for name in ("BULK", "E-ENG"))


def held(scanner: Scanner, time_s: float) -> float:
    """What a meter finds across it."""
    return scanner.voltage(PLUS, MINUS, time_s)


def charged() -> Scanner:
    scanner = Scanner(LOOM, faults=["charged 1000u 12 BULK:1 E-ENG:1"])
    scanner.sense(0, 0.0, 1e-3)
    return scanner


def test_at_rest_it_empties_through_the_pull_ups() -> None:
    scanner = charged()
    assert held(scanner, 0.0) == pytest.approx(12.0, rel=0.01)
    scanner.sense(0, 20.0, 1e-3)
    # The plus hangs on three points, the minus on four: each side's pull-ups lie side by side.
    ohm = c.PULL_UP_OHM / 3 + c.PULL_UP_OHM / 4
    assert held(scanner, 20.0) == pytest.approx(12.0 * math.exp(-20.0 / (ohm * 1e-3)), rel=0.02)


def test_two_drivers_short_it() -> None:
    scanner = charged()
    scanner.sense(PLUS | MINUS, 0.01, 5e-3)
    ohm = 2 * c.DRIVER_OHM + c.CHARGED_OHM
    assert held(scanner, 0.02) == pytest.approx(12.0 * math.exp(-5e-3 / (ohm * 1e-3)), rel=0.05)


def test_one_driver_does_not() -> None:
    scanner = charged()
    scanner.sense(PLUS, 0.01, 5e-3)
    assert held(scanner, 0.02) == pytest.approx(12.0, rel=0.01)
    scanner.sense(0, 1e4, 1e-3)
    assert held(scanner, 1e4) == pytest.approx(0.0, abs=0.01)
