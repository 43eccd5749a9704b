"""What a reading is worth on a bench: accuracy, leads, repeats and the temperature of the copper."""

from __future__ import annotations

import math

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.seam import Accuracy, Capabilities
from loomproof.loom.model import End
from loomproof.measuring.preparing import meter_of

ADAPTER = in_order((End("X", "1"), End("X", "2")))
EXACT = Capabilities(points=8, ohms=(0.0, 1e6), accuracy=Accuracy(0.0, 0.0))
"""A meter without an error of its own, so that what is left comes from elsewhere."""


@pytest.mark.parametrize(("measured", "kelvin"), [(True, 2.0), (False, 6.0)])
def test_the_temperature_of_the_copper_is_part_of_every_reading(measured: bool, kelvin: float) -> None:
    """U = 2 · 0.00393 /K (IEC publication 28) · u · R: a thermometer at the bench is good for 2 K, a room
    without one for 6 K (common practice)."""
    meter = meter_of(EXACT, ADAPTER, measured_temperature=measured, simulated=True)
    assert meter is not None
    for ohm in (0.1, 10.0):
        assert meter.uncertainty_ohm(ohm, 2) == pytest.approx(2 * 0.00393 * kelvin * ohm)


def test_leads_that_nobody_zeroed_are_charged_twice_and_not_to_four_wires() -> None:
    """Two leads of standard uncertainty 0.03 Ω: U = 2 · √2 · 0.03 Ω; four wires and a simulator have none."""
    able = Capabilities(
        points=8,
        ohms=(0.0, 1e6),
        accuracy=Accuracy(0.0, 0.0),
        four_wire=True,
        four_wire_accuracy=Accuracy(0.0, 0.0),
    )
    real = meter_of(able, ADAPTER, measured_temperature=True)
    assert real is not None
    assert real.uncertainty_ohm(0.0, 2) == pytest.approx(2 * math.sqrt(2) * 0.03)
    assert real.uncertainty_ohm(0.0, 4) == 0.0
    simulated = meter_of(able, ADAPTER, measured_temperature=True, simulated=True)
    assert simulated is not None
    assert simulated.uncertainty_ohm(0.0, 2) == 0.0


def test_a_bench_without_ohms_or_a_stated_error_has_no_meter() -> None:
    for able in (Capabilities(points=8), Capabilities(points=8, ohms=(0.0, 1e6))):
        assert meter_of(able, ADAPTER, measured_temperature=True) is None


def test_the_greater_of_two_scatters_counts_and_repeats_lessen_it() -> None:
    """The mean of n readings scatters by s/√n (GUM 4.2.3)."""
    for self_test, zeroing, greater in ((0.004, 0.001, 0.004), (0.001, 0.004, 0.004), (0.004, None, 0.004)):
        meter = meter_of(
            EXACT, ADAPTER, measured_temperature=True, simulated=True,
            repeatability_ohm=self_test, zero_spread_ohm=zeroing, repeats=4,
        )  # fmt: skip
        assert meter is not None
        assert meter.repeatability_ohm == greater
        assert meter.zeroed is (zeroing is not None)
        assert meter.uncertainty_ohm(0.0, 2) == pytest.approx(2 * greater / 2)
