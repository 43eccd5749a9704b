"""SENSE, CLEAR, DRIVR and PULLS against the data sheet's limits, worked out here and not as the notes do.

Limits: data sheet of the ATmega640/1280/1281/2560/2561, DC characteristics (V_IL 0.3 V_CC, V_IH 0.6 V_CC,
R_PU 20 to 50 kΩ, V_OL 0.9 V at 20 mA, I_IL and I_IH 1 µA); supply: USB 2.0, section 7.3.2. The circuit at its
corners is solved by nodal equations.
"""

from __future__ import annotations

import re
from itertools import product

import numpy as np
import pytest

from tests.firmware.building import FIRMWARE

KIND = (FIRMWARE / "core" / "limits.h", FIRMWARE / "board" / "pins" / "kind.h")
SUPPLY_V = (4.4, 5.25)
PULL_OHM = (20e3, 50e3)
SERIES_OHM = (950.0, 1050.0)
DRIVER_OHM = (0.0, 45.0)
LOW, HIGH = 0.3, 0.6
LEAK_A = 1e-6
TESTED_LEAK_A = 0.24e-6


def constant(name: str) -> float:
    text = "".join(path.read_text() for path in KIND)
    match = re.search(rf"#define {name} (\d+)", text)
    assert match
    return float(match[1])


SENSE, CLEAR = constant("SENSE_OHM"), constant("CLEAR_OHM")
DRIVR, PULLS, POINTS = constant("DRIVER_OHM"), int(constant("PULLS")), int(constant("POINTS"))


def pin_share(
    supply_v: float,
    pull_ohm: float,
    series_ohm: float,
    driver_ohm: float,
    leak_a: float,
    near: tuple[int, int],
    far: tuple[int, int],
    path_ohm: float,
) -> float:
    """Return the far side's pulled pins' voltage as a share of the supply.

    Nodes: the driven net, the far net, one pin of each kind; ``near`` and ``far`` are (pulled, all) points; a
    positive leak feeds current in. Every pull-up has its series resistor between it and the net.
    """  # fmt: skip
    pulled_near, all_near = near
    pulled_far, all_far = far
    g = np.zeros((4, 4))
    feed = np.zeros(4)

    def join(a: int, b: int, siemens: float) -> None:
        g[a, a] += siemens
        g[b, b] += siemens
        g[a, b] -= siemens
        g[b, a] -= siemens

    g[0, 0] += 1.0 / (series_ohm + driver_ohm)
    join(0, 1, 1.0 / path_ohm)
    for net, pin, pulled, count in ((0, 2, pulled_near, all_near), (1, 3, pulled_far, all_far)):
        # Like pins are one node: so many pull-ups and series resistors in parallel.
        join(net, pin, max(pulled, 1e-9) / series_ohm)
        g[pin, pin] += pulled / pull_ohm + 1e-15
        feed[pin] += pulled * (supply_v / pull_ohm + leak_a)
        feed[net] += (count - pulled) * leak_a
    return float(np.linalg.solve(g, feed)[3] / supply_v)


CORNERS = list(product(SUPPLY_V, PULL_OHM, SERIES_OHM, DRIVER_OHM, (-LEAK_A, LEAK_A)))


@pytest.mark.parametrize("size", [1, 2, 3, 4, 5, 8, 16, 32, 63])
def test_less_than_sense_surely_reads_low(size: int) -> None:
    """The driven point is alone on its side, and needs no pull-up; the others are behind the path."""
    for pulled in range(1, min(size, PULLS) + 1):
        least = SENSE / min(size, PULLS) - DRIVR
        for corner in CORNERS:
            assert pin_share(*corner, (0, 1), (pulled, size), least) < LOW, corner


@pytest.mark.parametrize("near", [1, 2, 4, 12])
@pytest.mark.parametrize("far", [1, 2, 3, 4, 12, 40])
def test_a_path_between_two_nets_surely_shows(near: int, far: int) -> None:
    """The formula of the scanner link for two nets, at the worst four points of them to pull up."""
    mixtures = [(n, m) for m in range(1, min(far, PULLS) + 1) for n in range(min(near, PULLS - m) + 1)]
    least = min((SENSE - DRIVR * (n + m)) / (m * (1.0 + DRIVR * n / SENSE)) for n, m in mixtures)
    assert least > 100.0
    for (n, m), corner in product(mixtures, CORNERS):
        assert pin_share(*corner, (n, near), (m, far), least) < LOW, (n, m, corner)


@pytest.mark.parametrize("size", [1, 2, 8, 24])
def test_more_than_clear_surely_reads_high(size: int) -> None:
    for corner in CORNERS:
        assert pin_share(*corner, (0, 1), (1, size), CLEAR) > HIGH, corner


def test_clear_holds_for_any_net_of_a_board_that_has_passed_its_self_test() -> None:
    for supply, pull, series, driver, _ in CORNERS:
        assert pin_share(supply, pull, series, driver, -TESTED_LEAK_A, (0, 1), (1, 63), CLEAR) > HIGH


def test_the_promises_are_no_smaller_than_they_have_to_be() -> None:
    """They would fail a little beyond: what is stated is the limit, not a guess far inside it."""
    assert any(pin_share(*c, (0, 1), (4, 63), 1.15 * (SENSE / 4 - DRIVR)) > LOW for c in CORNERS)
    assert any(pin_share(*c, (0, 1), (1, 24), 0.95 * CLEAR) < HIGH for c in CORNERS)


def test_pulling_up_everything_or_a_port_would_not_do() -> None:
    for many in (7, 8, 64):
        assert any(pin_share(*c, (0, 1), (many, many), 1.0) > LOW for c in CORNERS)


def test_what_the_self_test_lets_pass_is_what_the_notes_say() -> None:
    """Charge that flows off 130 pF within the float test, down to where an input surely reads low."""
    leak = 130e-12 * (1.0 - LOW) * SUPPLY_V[1] / (constant("FLOAT_TEST_US") * 1e-6)
    assert leak == pytest.approx(TESTED_LEAK_A, rel=0.02)
