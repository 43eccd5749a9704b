"""Newton's method on networks that are nastier than any loom: it settles, and the currents balance."""

from __future__ import annotations

import math
import random

import pytest

from loomproof.virtual import constants as c
from loomproof.virtual.network import GROUND
from loomproof.virtual.scanner import Scanner
from loomproof.virtual.sensing import Voltages
from tests.virtual.looms import random_loom, some_faults


def nasty(seed: int) -> Scanner:
    """Diodes in every direction between ohms and megohms, some with a battery on the loom."""
    rng = random.Random(f"nasty/{seed}")
    loom = random_loom(rng, rng.randint(10, 60))
    faults = some_faults(rng, loom)
    for _ in range(rng.randint(5, 40)):
        a, b = rng.sample(loom.cavities, 2)
        faults.append(
            f"part diode {a} {b}" if rng.random() < 0.8 else f"part {10 ** rng.uniform(0, 6):.2f} {a} {b}"
        )
    if rng.random() < 0.3:
        a, b = rng.sample(loom.cavities, 2)
        faults.append(f"voltage {rng.uniform(0.5, 30.0):.1f} {a} {b}")
    if rng.random() < 0.3:
        faults.append(f"voltage {rng.uniform(0.5, 30.0):.1f} {rng.choice(loom.cavities)}")
    return Scanner(loom, faults=faults, seed=seed)


@pytest.mark.parametrize("seed", range(8))
def test_currents_balance_at_every_node(seed: int) -> None:
    # Kirchhoff's current law, summed up here element by element.
    scanner = nasty(seed)
    rng = random.Random(seed)
    drive = rng.getrandbits(scanner.make.points)
    for island in scanner.state(0.0).islands:
        if not island.points:
            continue
        volts = Voltages(island, seed).volts(drive & island.mask)
        out = [0.0] * len(island.nodes)
        scale = 1e-9
        for u, v, ohm in island.resistors:
            amps = float(volts[u] - volts[v]) / ohm
            out[u] += amps
            out[v] -= amps
            scale = max(scale, abs(amps), 1e-13 / ohm * max(1.0, float(abs(volts).max())))
        for a, k, saturation, slope in island.diodes:
            amps = saturation * math.expm1(float(volts[a] - volts[k]) / slope)
            out[a] += amps
            out[k] -= amps
            scale = max(scale, abs(amps))
        for plus, minus, emf, ohm in island.sources:
            amps = (emf - float(volts[plus]) + (0.0 if minus == GROUND else float(volts[minus]))) / ohm
            out[plus] -= amps
            if minus != GROUND:
                out[minus] += amps
            scale = max(scale, abs(amps))
        for i in island.points:
            out[i] -= (c.SUPPLY_V - float(volts[i])) / c.PULL_UP_OHM
            if drive >> island.nodes[i] & 1:
                out[i] += float(volts[i]) / c.DRIVER_OHM
                scale = max(scale, abs(float(volts[i]) / c.DRIVER_OHM))
        assert max(map(abs, out)) <= 1e-4 * scale + 1e-8


@pytest.mark.parametrize("seed", range(8))
def test_every_measurement_finds_an_answer(seed: int) -> None:
    scanner = nasty(100 + seed)
    rng = random.Random(seed)
    for _ in range(4):
        a, b = (1 << point for point in rng.sample(range(scanner.make.points), 2))
        assert not math.isnan(scanner.true_resistance(a, b, 0.0))
        assert -scanner.make.test_voltage_v * 30 < scanner.voltage(a, b, 0.0) < 65.0
        diode = scanner.diode(a, b, 0.0)
        assert math.isinf(diode) or diode <= scanner.make.test_voltage_v * 1.01
        assert scanner.insulation(a, b, 500.0, 1.0, 0.0)
