"""A reading too early reads wrong: charge against closed forms and against ngspice's transient analysis."""

from __future__ import annotations

import math
import random
import shutil

import pytest

from loomproof.loom.model import Component, ComponentKind, End
from loomproof.virtual import constants as c
from loomproof.virtual.scanner import Scanner
from loomproof.virtual.sensing import Voltages
from loomproof.virtual.transient import Charge, coupled
from tests.virtual.looms import random_loom, small_loom, some_faults, with_parts
from tests.virtual.spice import released

FARAD = 10e-9
SLOW_P1_3 = "capacitance 10n P1:3"
POINT_P1_3 = 1 << 2
TAU_S = c.PULL_UP_OHM * (FARAD + c.POINT_F)
# v = 3.3 V (1 - exp(-t / tau)): the times at which it passes the lowest and the highest threshold.
SURELY_LOW_S = -TAU_S * math.log(1.0 - 1.0 / 3.3)
SURELY_HIGH_S = -TAU_S * math.log(1.0 - 2.0 / 3.3)


def test_a_fragment_that_has_not_risen_still_reads_low() -> None:
    scanner = Scanner(small_loom(), faults=[SLOW_P1_3])
    for settle_s, low in ((0.98 * SURELY_LOW_S, True), (1.02 * SURELY_HIGH_S, False)):
        start_s = 10.0 * settle_s + 1.0
        assert scanner.sense(POINT_P1_3, start_s, settle_s) & POINT_P1_3
        follows = scanner.sense(0, start_s + settle_s, settle_s)
        assert bool(follows & POINT_P1_3) is low


def test_a_pause_lets_it_rise() -> None:
    scanner = Scanner(small_loom(), faults=[SLOW_P1_3])
    settle_s = 0.5 * SURELY_LOW_S
    assert scanner.sense(POINT_P1_3, 0.0, settle_s) & POINT_P1_3
    assert not scanner.sense(0, 1.0, settle_s) & POINT_P1_3


def test_a_capacitor_between_nets_pulls_the_other_one_along_for_a_while() -> None:
    part = Component("CX", ComponentKind.CAPACITOR, (("1", End("P1", "3")), ("2", End("P1", "4"))))
    loom = small_loom()
    loom = type(loom)(loom.name, connectors=loom.connectors, wires=loom.wires, components=(part,))
    scanner = Scanner(loom)
    tau_s = c.PULL_UP_OHM * c.CAPACITOR_F
    early = scanner.sense(POINT_P1_3, 0.0, 0.1 * tau_s)
    assert early == 0b1100
    assert scanner.sense(POINT_P1_3, 100.0, 5.0 * tau_s) == 0b100


def test_an_ordinary_loom_has_settled_by_the_default_wait() -> None:
    rng = random.Random(5)
    loom = random_loom(rng, 120)
    scanner = Scanner(loom)
    for i in range(20):
        drive = rng.getrandbits(120)
        assert scanner.sense(drive, i * 520e-6, 500e-6) == scanner.sense(drive, 0.0)


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")
@pytest.mark.parametrize("seed", range(10))
def test_recovery_agrees_with_ngspice(seed: int) -> None:
    rng = random.Random(f"charge/{seed}")
    loom = with_parts(rng, random_loom(rng, 14), 4)
    a, b = rng.sample(loom.cavities, 2)
    part = Component("CX", ComponentKind.CAPACITOR, (("1", a), ("2", b)), capacitance_f=22e-9)
    loom = type(loom)(
        loom.name, connectors=loom.connectors, wires=loom.wires, components=(*loom.components, part)
    )
    slow = [f"capacitance {rng.choice((1, 4.7, 10))}n {end}" for end in rng.sample(loom.cavities, 5)]
    scanner = Scanner(loom, faults=[*some_faults(rng, loom), *slow], seed=seed)
    drive = rng.getrandbits(14) | 1 << scanner.loom.cavities.index(a)
    after_s = rng.choice((200e-6, 1e-3, 3e-3))

    network, islands = scanner.network, scanner.state(0.0).islands
    found: dict[str, float] = {}
    for members, capacitors in coupled(network, islands):
        charge = Charge(members, capacitors)
        charge.read(drive & charge.mask, 0.0, 10.0)
        off = charge.read(0, 10.0, after_s)
        for island in members:
            if island.points:
                settled = Voltages(island, seed).point_volts(0)
                for i, volt in zip(island.points, settled, strict=True):
                    found[str(island.nodes[i])] = float(volt) + off.get(island.nodes[i], 0.0)
    expected = released(network, frozenset(p for p in range(14) if drive >> p & 1), after_s)
    assert len(expected) == 14
    # Clusters move as one: what is left out takes microseconds, hence some millivolts of 3.3 V.
    assert {node: found[node] - volt for node, volt in expected.items()} == {
        node: pytest.approx(0.0, abs=0.02) for node in expected
    }
