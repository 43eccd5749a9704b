"""Isolation readings against leaks placed at random; conductances add, as Kirchhoff's current law says."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomproof.proof.isolation import Isolation, measure_isolation

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
