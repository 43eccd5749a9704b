"""Resistances and thresholds by closed forms, and the limits that the scanner states about itself."""

from __future__ import annotations

import math
import random

import pytest

from loomproof.errors import AdapterError
from loomproof.loom.model import Component, ComponentKind, Connector, ConnectorKind, End, Loom, Settings, Wire
from loomproof.virtual.build import Hookup
from loomproof.virtual.meter import Limits, MeterError
from loomproof.virtual.scanner import Make, Scanner

SENSE_OHM, CLEAR_OHM = 25_000.0, 250_000.0


def star(cavities: int, parts: list[tuple[int, int, float]], settings: Settings | None = None) -> Loom:
    """Cavities A:1 … joined by nothing but resistors between the pairs given (numbered from 1)."""
    names = tuple(str(i) for i in range(1, cavities + 1))
    return Loom(
        name="resistors",
        connectors=(Connector("A", ConnectorKind.PLUG, (names,)),),
        components=tuple(
            Component(
                f"R{i}", ComponentKind.RESISTOR, (("1", End("A", str(a))), ("2", End("A", str(b)))), ohm
            )
            for i, (a, b, ohm) in enumerate(parts)
        ),
        settings=settings or Settings(contact_ohm=0.0),
    )


def between(loom: Loom, a: int, b: int) -> float:
    return Scanner(loom).true_resistance(1 << (a - 1), 1 << (b - 1), 0.0)


def test_the_cube_of_unit_resistors() -> None:
    # Textbook: 7/12 along an edge, 3/4 across a face, 5/6 through the body.
    edges = [(a + 1, b + 1, 1.0) for a in range(8) for b in range(a) if (a ^ b).bit_count() == 1]
    loom = star(8, edges)
    assert between(loom, 1, 2) == pytest.approx(7 / 12, abs=1e-5)
    assert between(loom, 1, 4) == pytest.approx(3 / 4, abs=1e-5)
    assert between(loom, 1, 8) == pytest.approx(5 / 6, abs=1e-5)


@pytest.mark.parametrize("n", [2, 3, 10, 40])
def test_the_complete_graph_reads_two_by_n(n: int) -> None:
    loom = star(n, [(a, b, 1.0) for a in range(1, n + 1) for b in range(1, a)])
    assert between(loom, 1, n) == pytest.approx(2 / n, abs=1e-5)


def test_groups_are_joined_and_the_rest_is_open() -> None:
    # 1-2: 10 Ω, 2-3: 10 Ω, 3-4: 10 Ω; {1, 3} against {2, 4}: three resistors side by side.
    it = Scanner(star(4, [(1, 2, 10.0), (2, 3, 10.0), (3, 4, 10.0)]))
    assert it.true_resistance(0b0101, 0b1010, 0.0) == pytest.approx(10 / 3, abs=1e-4)
    assert it.true_resistance(0b0001, 0b1000, 0.0) == pytest.approx(30.0, abs=1e-4)
    # Two islands that only the groups join.
    it = Scanner(star(4, [(1, 2, 10.0), (3, 4, 40.0)]))
    assert it.true_resistance(0b0101, 0b1010, 0.0) == pytest.approx(8.0, abs=1e-4)
    assert it.true_resistance(0b0011, 0b1100, 0.0) == math.inf


def wire_loom() -> Loom:
    return Loom(
        name="one wire",
        connectors=(Connector("A", ConnectorKind.PLUG, (("1", "2"),)),),
        wires=(Wire("W1", End("A", "1"), End("A", "2"), csa_mm2=0.5, length_m=10.0),),
        settings=Settings(contact_ohm=0.0, crimp_ohm=0.0),
    )


def test_copper_follows_the_temperature() -> None:
    # IEC publication 28: 0.00393 per kelvin at 20 °C; 2.5 m of 18.5 mΩ/m reads 46.25 mΩ, at 35 °C 48.98 mΩ.
    at_20, at_35 = (
        Scanner(wire_loom(), temperature_c=celsius).true_resistance(1, 2, 0.0) for celsius in (20.0, 35.0)
    )
    assert at_35 / at_20 == pytest.approx(48.98 / 46.25, rel=1e-4)


def test_a_wire_is_copper_and_somewhat_more_but_less_than_the_flexible_class_allows() -> None:
    # 1/58 Ω mm²/m (IEC publication 28) and 39.0 Ω/km for 0.5 mm², class 5 (IEC 60228:2004, as quoted).
    for seed in range(50):
        found = Scanner(wire_loom(), seed=seed).true_resistance(1, 2, 0.0)
        assert 10.0 / 58.0 / 0.5 < found < 10.0 * 39.0e-3


def test_leads_are_in_a_two_wire_reading_and_not_in_a_four_wire_one() -> None:
    loom = star(2, [(1, 2, 10.0)])
    hookup = Hookup(2, dict(enumerate(loom.cavities, start=1)), {1: 0.2, 2: 0.3})
    it = Scanner(loom, Make(2, four_wire=Limits(0.001, 0.0)), hookup=hookup)
    assert it.true_resistance(1, 2, 0.0) == pytest.approx(10.5, abs=1e-4)
    assert it.true_resistance(1, 2, 0.0, four_wire=True) == pytest.approx(10.0, abs=1e-4)
    assert it.resistance(1, 2, 0.0, four_wire=True) == pytest.approx(10.0, abs=0.002)


@pytest.mark.parametrize("seed", range(30))
def test_a_meter_errs_inside_its_limits_and_the_same_way_for_the_same_seed(seed: int) -> None:
    limits = Limits(0.1, 0.01)
    for true in (0.0, 0.05, 4.7, 1000.0, 1.5e6):
        meter, twin = (MeterError(limits, random.Random(seed)) for _ in range(2))
        shown = [meter.read(true) for _ in range(200)]
        assert all(abs(value - true) <= limits.at(value) for value in shown)
        assert shown == [twin.read(true) for _ in range(200)]
        assert len(set(shown)) > 100


def test_readings_over_range_and_open_are_infinite() -> None:
    assert Scanner(star(2, [(1, 2, 3.0e6)])).resistance(1, 2, 0.0) == math.inf
    assert Scanner(star(2, [])).resistance(1, 2, 0.0) == math.inf


@pytest.mark.parametrize("seed", range(40))
def test_the_stated_thresholds_hold_for_one_path_to_any_number_of_points(seed: int) -> None:
    # m points behind one path: surely low under SENSE/m, surely high over CLEAR/m.
    rng = random.Random(seed)
    m = rng.choice((1, 2, 3, 10, 60, 400))
    joined = [(2, i, 0.01) for i in range(3, m + 2)]
    for ohm, is_low in ((0.99 * SENSE_OHM / m, True), (1.01 * CLEAR_OHM / m, False)):
        it = Scanner(star(m + 1, [(1, 2, ohm), *joined]), seed=seed)
        behind = ((1 << (m + 1)) - 1) & ~1
        assert it.sense(1, 0.0) & behind == (behind if is_low else 0)


@pytest.mark.parametrize("seed", range(40))
def test_the_stated_thresholds_hold_between_random_pairs(seed: int) -> None:
    rng = random.Random(f"pairs/{seed}")
    n = rng.randint(2, 40)
    pairs = [(i, i + 1, 10 ** rng.uniform(3.5, 6.0)) for i in range(1, 2 * n, 2)]
    it = Scanner(star(2 * n, pairs), seed=seed)
    for a, b, ohm in pairs:
        low = bool(it.sense(1 << (a - 1), 0.0) >> (b - 1) & 1)
        # The strays of a resistor without tolerance are none, so the value is exact.
        if ohm < SENSE_OHM:
            assert low
        elif ohm > CLEAR_OHM:
            assert not low


def test_one_net_of_2048_points_reads_low_from_any_of_them() -> None:
    n = 2048
    it = Scanner(star(n, [(1, i, 0.05) for i in range(2, n + 1)]))
    for point in (0, 1, n - 1):
        assert it.sense(1 << point, 0.0) == (1 << n) - 1


def test_the_same_seed_is_the_same_bench_and_another_is_not() -> None:
    def readings(seed: int) -> list[float]:
        it = Scanner(wire_loom(), seed=seed)
        return [it.resistance(1, 2, i * 0.02) for i in range(20)]

    assert readings(3) == readings(3)
    assert readings(3) != readings(4)


def test_the_same_loom_hooked_up_in_two_ways_keeps_its_faults() -> None:
    loom = star(4, [(1, 2, 1.0), (3, 4, 1.0)])
    it = Scanner(loom, Make(2), faults=["open A:3"])
    assert it.sense(1, 0.0) == 0b11
    a_3, a_4, a_1 = End("A", "3"), End("A", "4"), End("A", "1")
    it.hook_up(Hookup(2, {1: a_3, 2: a_4}))
    assert it.sense(1, 0.0) == 0b01
    it.mend()
    assert it.sense(1, 0.0) == 0b11
    it.hook_up(Hookup(2, {1: a_1, 2: a_4}))
    assert it.sense(1, 0.0) == 0b01
    with pytest.raises(AdapterError, match="for 3 points"):
        it.hook_up(Hookup(3, {}))
