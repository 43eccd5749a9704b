"""One comparison of the simulator with ngspice, used by the test (a sample) and by the figures (all)."""

from __future__ import annotations

import random
from dataclasses import dataclass, replace

from loomproof.loom.model import ComponentKind, Loom
from loomproof.virtual.scanner import Make, Scanner
from tests.virtual.looms import random_loom, some_faults, with_parts
from tests.virtual.spice import Meter, Sense, solve

RELATIVE = 1e-3
LEAST_OHM = 1e-4
LEAST_V = 1e-4
_METERS = 4
_SENSES = 2


@dataclass(frozen=True)
class Compared:
    """How far one loom's worst reading is from ngspice's, as a share of what is allowed (1 = the limit)."""

    cavities: int
    diodes: int
    readings: int
    worst_ohm: float
    worst_volt: float


def compare(seed: int, *, diodes: bool) -> Compared:
    """Compare resistances and sense voltages of one random faulty loom, with parts, with ngspice's."""
    rng = random.Random(f"spice/{seed}/{diodes}")
    loom = random_loom(rng, rng.randint(10, 120))
    loom = with_parts(rng, loom, 6)
    if not diodes:
        loom = _without_diodes(loom)
    scanner = Scanner(loom, Make(points=len(loom.cavities)), faults=some_faults(rng, loom), seed=seed)
    network, state, make = scanner.network, scanner.state(0.0), scanner.make
    source_ohm = make.test_voltage_v / make.test_current_a
    points = range(make.points)
    # Random pairs are mostly open: half of them are taken from the points of one island.
    meters = []
    islands = [island.mask for island in state.islands if island.mask.bit_count() > 1]
    for i in range(_METERS):
        island = rng.choice(islands) if islands and i % 2 else 0
        inside = [p for p in points if island >> p & 1]
        few = rng.sample(inside if len(inside) > 1 else list(points), 2)
        meters.append(Meter(frozenset(few[:1]), frozenset(few[1:]), make.test_voltage_v, source_ohm))
    some = rng.sample(list(points), min(10, make.points))
    meters.append(Meter(frozenset(some[::2]), frozenset(some[1::2]), make.test_voltage_v, source_ohm))
    senses = [Sense(frozenset(p for p in points if rng.random() < 0.15)) for _ in range(_SENSES)]
    answers = solve(network, [*meters, *senses])

    worst_ohm = worst_volt = 0.0
    for meter, answer in zip(meters, answers, strict=False):
        a, b = (sum(1 << p for p in group) for group in (meter.a, meter.b))
        volts = answer["port"]
        amps = (meter.source_v - volts) / meter.source_ohm
        ohm = scanner.true_resistance(a, b, 0.0)
        if amps < 1e-8:
            # Nothing but leakage: ngspice's gmin is in it, so only "as good as open" is compared.
            assert ohm > 1e7, f"seed {seed}: {ohm} ohm where ngspice finds it open"
            continue
        worst_ohm = max(worst_ohm, _share(ohm, volts / amps, LEAST_OHM))
    for sense, answer in zip(senses, answers[len(meters) :], strict=True):
        drive = sum(1 << p for p in sense.drive)
        for voltages in state.senses.all_voltages():
            found = voltages.point_volts(drive & voltages.mask)
            for i, volt in zip(voltages.island.points, found, strict=True):
                expected = answer[str(voltages.island.nodes[i])]
                worst_volt = max(worst_volt, _share(float(volt), expected, LEAST_V))
    return Compared(
        make.points, len(network.diodes), len(meters) + len(senses) * make.points, worst_ohm, worst_volt
    )


def _share(found: float, expected: float, least: float) -> float:
    return abs(found - expected) / max(RELATIVE * abs(expected), least)


def _without_diodes(loom: Loom) -> Loom:
    return replace(loom, components=tuple(c for c in loom.components if c.kind is not ComponentKind.DIODE))
