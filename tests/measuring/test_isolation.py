"""Isolation readings against leaks placed at random; conductances add, as Kirchhoff's current law says."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomproof.bench.adapter import in_order
from loomproof.electrics.expectation import expect
from loomproof.errors import UnfitError
from loomproof.loom.reading import load
from loomproof.measuring.insulation_test import run_insulation
from loomproof.measuring.isolation_search import Isolation, measure_isolation
from loomproof.planning.net_access import scope_of
from loomproof.planning.request import InsulationTest

LIMIT_OHM = 1e6


def measured(
    k: int, leaks: dict[tuple[int, int], float], ruled_out: frozenset[tuple[int, int]] = frozenset()
) -> Isolation:
    def measure(a: int, b: int) -> float:
        assert a
        assert b
        assert not a & b
        siemens = sum(
            1 / ohm
            for (i, j), ohm in leaks.items()
            if (a >> i & 1 and b >> j & 1) or (a >> j & 1 and b >> i & 1)
        )
        return 1 / siemens if siemens else math.inf

    return measure_isolation(measure, [1 << i for i in range(k)], LIMIT_OHM, ruled_out=ruled_out)


# Figures: ceil(log2 k) with no leak, 2·ceil(log2 k) − 1 for one leak in all.
@pytest.mark.parametrize(("k", "none", "one"), [(51, 6, 11), (205, 8, 15), (819, 10, 19)])
def test_counts(k: int, none: int, one: int) -> None:
    sound = measured(k, {})
    assert (sound.measured, sound.leaks) == (none, ())
    rng = random.Random(k)
    worst = 0
    for _ in range(200):
        i, j = sorted(rng.sample(range(k), 2))
        found = measured(k, {(i, j): 22e3})
        assert [(leak.i, leak.j) for leak in found.leaks] == [(i, j)]
        worst = max(worst, found.measured)
    assert worst <= one


@given(st.integers(0, 2**32), st.integers(2, 60), st.integers(0, 5))
@settings(max_examples=200, deadline=None)
def test_every_leak_is_found(seed: int, k: int, leaks: int) -> None:
    rng = random.Random(seed)
    placed: dict[tuple[int, int], float] = {}
    for _ in range(leaks):
        i, j = sorted(rng.sample(range(k), 2))
        placed[i, j] = rng.choice([10e3, 22e3, 47e3, 100e3])
    found = measured(k, placed)
    while wrong := [(leak.i, leak.j) for leak in found.leaks if (leak.i, leak.j) not in placed]:
        # Two leaks of equal value can look like one; the evidence reading of the pair shows that.
        assert not any(leak.read for leak in found.leaks if (leak.i, leak.j) in wrong)
        found = measured(k, placed, frozenset(wrong))
    assert not found.unresolved
    assert {(leak.i, leak.j) for leak in found.leaks} == set(placed)
    for leak in found.leaks:
        assert leak.ohm == pytest.approx(placed[leak.i, leak.j], rel=1e-9)
    assert found.measured <= (k - 1).bit_length() * (2 + 3 * len(placed)) + 5 * len(placed)


def evident(measure: Callable[[int, int], float], k: int) -> set[tuple[int, int]]:
    """Search, read each pair found by itself, and search again without those that show nothing."""
    ruled_out: frozenset[tuple[int, int]] = frozenset()
    while True:
        leaks = measure_isolation(measure, [1 << i for i in range(k)], LIMIT_OHM, ruled_out=ruled_out).leaks
        pairs = {(leak.i, leak.j) for leak in leaks}
        false = {
            (i, j) for i, j in pairs if min(measure(1 << i, 1 << j), measure(1 << j, 1 << i)) > LIMIT_OHM
        }
        if not false - ruled_out:
            return pairs - false
        ruled_out |= false


@given(st.integers(0, 2**32), st.integers(3, 60))
@settings(max_examples=100, deadline=None)
def test_a_path_that_conducts_one_way_is_found_with_the_current_both_ways_round(seed: int, k: int) -> None:
    """Ohms alone must look both ways: with the current reversed a diode reads open."""
    rng = random.Random(seed)
    anode, cathode = rng.sample(range(k), 2)

    def conducts(a: int, b: int) -> float:
        return 600.0 if a >> anode & 1 and b >> cathode & 1 else math.inf

    found = evident(conducts, k) | evident(lambda a, b: conducts(b, a), k)
    assert found == {(min(anode, cathode), max(anode, cathode))}


@pytest.mark.parametrize("read", [-5.0, -5e6, -math.inf, math.nan])
def test_a_reading_that_cannot_be_ends_the_search_at_once(read: float) -> None:
    """A negative leak would be found for ever: what it takes off leaves more behind."""
    asked: list[tuple[int, int]] = []

    def measure(a: int, b: int) -> float:
        asked.append((a, b))
        return read

    with pytest.raises(UnfitError, match="isolation"):
        measure_isolation(measure, [1 << i for i in range(13)], LIMIT_OHM)
    assert len(asked) == 1


@pytest.mark.parametrize("read", [0.0, -0.0, -0.5, 1e-9])
def test_nothing_at_all_is_a_leak_and_no_division_by_it(read: float) -> None:
    shorted = {2, 11}

    def measure(a: int, b: int) -> float:
        sides = [sum(1 for i in shorted if side >> i & 1) for side in (a, b)]
        return read if sides == [1, 1] else math.inf

    found = measure_isolation(measure, [1 << i for i in range(13)], LIMIT_OHM)
    assert [(leak.i, leak.j) for leak in found.leaks] == [(2, 11)]
    assert all(ohm > 0 for ohm in found.readings_ohm)


@given(st.integers(0, 2**32), st.integers(2, 60))
@settings(max_examples=100, deadline=None)
def test_a_bench_that_reads_anything_at_all_is_asked_an_end_of_questions(seed: int, k: int) -> None:
    rng = random.Random(seed)

    def measure(a: int, b: int) -> float:
        return rng.choice([0.0, 1e-6, 1.0, 1e3, 1e5, math.inf])

    found = measure_isolation(measure, [1 << i for i in range(k)], LIMIT_OHM)
    pairs = [(leak.i, leak.j) for leak in found.leaks]
    assert len(pairs) == len(set(pairs)), "a pair is blamed once"
    assert found.measured <= 40 * k * (k.bit_length() + 1)


def test_under_test_voltage_a_reading_below_nothing_ends_it_at_once(fixtures: Path) -> None:
    loom = load(fixtures / "tail_lamp").loom
    scope = scope_of(expect(loom), in_order(loom.cavities).point_of, 250_000.0)
    asked: list[tuple[int, int]] = []

    def under_voltage(ohm: float) -> Callable[[int, int], float]:
        def measure(a: int, b: int) -> float:
            asked.append((a, b))
            return ohm

        return measure

    with pytest.raises(UnfitError, match="less than nothing"):
        run_insulation(loom, scope, InsulationTest(50.0), under_voltage(-5e6))
    assert len(asked) == 1
    assert run_insulation(loom, scope, InsulationTest(50.0), under_voltage(0.0)).decision == "fail"
    rng = random.Random(11)
    asked.clear()
    run_insulation(
        loom,
        scope,
        InsulationTest(50.0),
        lambda a, b: asked.append((a, b)) or rng.choice([1e3, 1e5, 9e5, 1e7]),  # type: ignore[func-returns-value]  # append gives nothing
    )
    assert len(asked) < 500
