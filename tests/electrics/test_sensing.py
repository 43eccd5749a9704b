"""Digital senses against a nodal solve with pull-ups, in ngspice and in a solver of this file's own."""

from __future__ import annotations

import random
from collections.abc import Sequence

import numpy as np
import pytest
from numpy.typing import NDArray

from loomproof.electrics.couplings import Coupling
from loomproof.electrics.expectation import expect
from loomproof.electrics.isolation import group_ohm, isolation_claim, neighbouring_nets
from loomproof.electrics.sensing import Level, Thresholds, coupled_levels, expected_levels
from loomproof.loom.model import ComponentKind, Loom, Wire, end_of

from .looms import loom_of, part


def chain(ohms: list[float], extra: str = "", tolerance_pct: float = 0.0) -> Loom:
    """Nets N0, N1, … of one cavity each, joined in a row by resistors."""
    parts = tuple(
        part(ComponentKind.RESISTOR, f"R{k}", f"N{k}:1", f"N{k + 1}:1", ohm, tolerance_pct=tolerance_pct)
        for k, ohm in enumerate(ohms)
    )
    return loom_of("", parts, extra=extra) if parts else loom_of("W1 A:1 B:1", extra=extra)


def test_thresholds_are_divided_by_the_points_that_share_a_path() -> None:
    """25 kΩ for one point; 12.5, 5, 2.5, 1.25 kΩ for 2, 5, 10, 20: by the divider of equal pull-ups."""
    rule = Thresholds(25_000, 250_000)
    for points, ohm in [(1, 25_000), (2, 12_500), (5, 5_000), (10, 2_500), (20, 1_250)]:
        assert rule.high_proves_none_below_ohm(points) == ohm
        # 100 kΩ pull-ups to 1 V, low below 0.2 V: exactly at the threshold the voltage is 0.2 V.
        assert ohm / (ohm + 100_000 / points) == pytest.approx(0.2)
        assert rule.low_proves_below_ohm(points) == 250_000 / points
    assert rule.isolation_ohm(10, 1) == 25_000
    assert rule.isolation_ohm(1, 10, both_ways=False) == 2_500
    with pytest.raises(ValueError, match="sense <= clear"):
        Thresholds(3.0, 2.0)
    with pytest.raises(ValueError, match="1 or more"):
        rule.low_proves_below_ohm(0)


def test_a_resistor_by_its_size() -> None:
    for ohm, level in [
        (1_000.0, Level.LOW),
        (24_000.0, Level.LOW),
        (26_000.0, Level.EITHER),
        (3e5, Level.HIGH),
    ]:
        expectation = expect(chain([ohm]))
        assert expected_levels(expectation, [0]) == (Level.LOW, level)
        assert coupled_levels(expectation.couplings[0], Thresholds()) == (level, level)
    # Twenty points behind 3 kΩ no longer surely read low: they share it.
    expectation = expect(chain([3_000.0]))
    assert expected_levels(expectation, [0], points=[1, 8])[1] is Level.LOW
    assert expected_levels(expectation, [0], points=[1, 20])[1] is Level.EITHER
    assert coupled_levels(expectation.couplings[0], Thresholds(), 1, 20) == (Level.EITHER, Level.LOW)


def test_tolerance_counts_both_ways() -> None:
    assert expected_levels(expect(chain([24_000.0], tolerance_pct=10.0)), [0])[1] is Level.EITHER
    assert expected_levels(expect(chain([260_000.0], tolerance_pct=10.0)), [0])[1] is Level.EITHER


def test_a_diode_is_one_way_and_has_no_margin() -> None:
    loom = loom_of("", (part(ComponentKind.DIODE, "D1", "A:1", "B:1"),))
    expectation = expect(loom)
    a, b = expectation.net_of[end_of("A:1")], expectation.net_of[end_of("B:1")]
    assert expected_levels(expectation, [b])[a] is Level.EITHER
    assert expected_levels(expectation, [a])[b] is Level.HIGH


def test_a_capacitor_and_a_part_of_unknown_value() -> None:
    loom = loom_of(
        "", (part(ComponentKind.CAPACITOR, "C1", "A:1", "B:1"), part(ComponentKind.COIL, "L1", "B:1", "C:1"))
    )
    expectation = expect(loom)
    a, b, c = (expectation.net_of[end_of(text)] for text in ("A:1", "B:1", "C:1"))
    assert expected_levels(expectation, [a])[b] is Level.HIGH
    assert expected_levels(expectation, [b])[c] is Level.EITHER


@pytest.mark.parametrize("seed", range(60))
def test_sure_levels_hold_in_a_nodal_solve(seed: int) -> None:
    """Random resistor and diode nets; pull-ups of 100 kΩ, and two input thresholds that give SENSE and CLEAR.

    An input below 0.2 of the supply is surely low, one above 0.714 surely high: by the divider these are
    25 kΩ and 250 kΩ. Diodes are solved as switches with a drop of 0 to 0.2 of the supply, all states tried.
    """
    rng = random.Random(seed)
    nets = rng.randrange(2, 6)
    parts = []
    for k in range(rng.randrange(1, 7)):
        a, b = rng.sample(range(nets), 2)
        kind = ComponentKind.RESISTOR if rng.random() < 0.75 else ComponentKind.DIODE
        ohm = round(10 ** rng.uniform(2.5, 6)) if kind is ComponentKind.RESISTOR else None
        parts.append(
            part(kind, f"P{k}", f"N{a}:1", f"N{b}:1", ohm, **({"tolerance_pct": 0.0} if ohm else {}))
        )
    loom = loom_of("", tuple(parts), extra=" ".join(f"N{k}:1" for k in range(nets)))
    expectation = expect(loom)
    count = [rng.choice([1, 1, 2, 5, 20]) for _ in expectation.nets]
    driven = rng.sample(range(nets), rng.randrange(1, nets))
    levels = expected_levels(expectation, driven, points=count)
    for drop in (0.0, 0.1, 0.2):
        volts = nodal(expectation.couplings, count, driven, drop)
        for net, level in enumerate(levels):
            if level is Level.LOW:
                assert volts[net] < 0.2 + 1e-9
            if level is Level.HIGH:
                assert volts[net] > 250 / 350 - 1e-9


def nodal(
    couplings: Sequence[Coupling], count: Sequence[int], driven: Sequence[int], drop: float
) -> NDArray[np.float64]:
    """Voltages with pull-ups of 100 kΩ to 1; diode states are tried until one is consistent."""
    diodes = [c for c in couplings if c.one_way]
    n = len(count)
    for states in range(2 ** len(diodes)):
        on = [d for k, d in enumerate(diodes) if states >> k & 1]
        matrix, right = np.zeros((n, n)), np.zeros(n)
        for net in range(n):
            matrix[net, net] += count[net] / 1e5
            right[net] += count[net] / 1e5
        for c in couplings:
            if not c.one_way:
                assert c.nominal_ohm is not None
                g = 1 / c.nominal_ohm
                matrix[[c.net_a, c.net_b], [c.net_a, c.net_b]] += g
                matrix[[c.net_a, c.net_b], [c.net_b, c.net_a]] -= g
        for d in on:
            g = 1e3
            matrix[[d.net_a, d.net_b], [d.net_a, d.net_b]] += g
            matrix[[d.net_a, d.net_b], [d.net_b, d.net_a]] -= g
            right[d.net_a] += g * drop
            right[d.net_b] -= g * drop
        for net in driven:
            matrix[net, :], right[net] = 0.0, 0.0
            matrix[net, net] = 1.0
        volts: NDArray[np.float64] = np.linalg.solve(matrix, right).astype(np.float64)
        ahead = {id(d): volts[d.net_a] - volts[d.net_b] - drop for d in diodes}
        if all((ahead[id(d)] >= -1e-9) if d in on else (ahead[id(d)] <= 1e-9) for d in diodes):
            return volts
    raise AssertionError("no consistent diode state")


def test_isolation_counts_pairs_and_neighbours() -> None:
    loom = loom_of("W1 A:1 B:1\nW2 A:2 B:2\nW3 A:3 B:3\nW4 A:4 B:4")
    expectation = expect(loom)
    # Cavities 1 to 4 lie in a row in both housings.
    assert neighbouring_nets(expectation) == {(0, 1), (1, 2), (2, 3)}
    claim = isolation_claim(expectation, [0, 2], [1, 3])
    assert (claim.pairs, claim.neighbours) == (4, 3)
    assert claim.limit_ohm == loom.settings.isolation_ohm
    assert claim.sound_pair_ohm == 3 * claim.limit_ohm
    assert claim.testable
    assert "4 pairs" in claim.statement
    with pytest.raises(ValueError, match="share none"):
        isolation_claim(expectation, [0], [0, 1])


def test_wires_of_one_bundle_are_neighbours() -> None:
    base = loom_of("W1 A:1 B:1\nW2 C:1 D:1")
    wires = tuple(Wire(w.name, w.a, w.b, bundle="rear") for w in base.wires)
    expectation = expect(Loom("b", connectors=base.connectors, wires=wires))
    assert neighbouring_nets(expectation) == {(0, 1)}


def test_many_sound_insulations_in_parallel_read_low_and_a_pass_proves_each() -> None:
    """By Ohm's law: q insulations of R read R/q, so a group that reads L has every one at L or above."""
    rng = random.Random(3)
    for _ in range(200):
        ohms = [10 ** rng.uniform(5, 9) for _ in range(rng.randrange(1, 50))]
        group = 1 / sum(1 / ohm for ohm in ohms)
        assert group <= min(ohms) * (1 + 1e-12)
        assert group >= min(ohms) / len(ohms) * (1 - 1e-12)


def test_components_across_groups() -> None:
    parts = (
        part(ComponentKind.RESISTOR, "R1", "A:1", "B:1", 100.0, tolerance_pct=0.0),
        part(ComponentKind.RESISTOR, "R2", "A:1", "C:1", 100.0, tolerance_pct=0.0),
        part(ComponentKind.RESISTOR, "R3", "C:1", "B:1", 100.0, tolerance_pct=0.0),
        part(ComponentKind.DIODE, "D1", "D:1", "E:1"),
    )
    expectation = expect(loom_of("", parts, extra="F:1"))
    a, b, c, d, e, f = (expectation.net_of[end_of(f"{x}:1")] for x in "ABCDEF")
    assert group_ohm(expectation, [a], [b]) == pytest.approx(200 / 3)
    assert group_ohm(expectation, [a], [b, c]) == pytest.approx(50.0)
    assert group_ohm(expectation, [d], [e]) == 0.0
    assert group_ohm(expectation, [a, d], [f]) == float("inf")
    assert not isolation_claim(expectation, [a], [b]).testable
