"""Searches among conductors: leaks that others hide, edges of limits, and what readings are worked out to."""

from __future__ import annotations

import itertools
import math
import random
from functools import partial
from pathlib import Path as File

import numpy as np
import pytest
from scipy.stats import norm
from scipy.stats import t as student

from loomproof.bench.adapter import in_order
from loomproof.electrics.expectation import expect
from loomproof.loom.model import End
from loomproof.loom.reading import load
from loomproof.measuring.insulation_test import run_insulation
from loomproof.measuring.isolation_search import LEAST_OHM, SHORT_OHM, believed, measure_isolation
from loomproof.measuring.localise import pairs_of, pinpoint, read_inside
from loomproof.measuring.traced_parts import resistors
from loomproof.measuring.zero import _coverage, _open_points, _step
from loomproof.planning.net_access import scope_of
from loomproof.planning.plan import Plan
from loomproof.planning.request import InsulationTest
from loomproof.results.measured import Decision
from tests.measuring.scripted import Scripted, between, ohmmeter_of
from tests.planning.test_meter_and_reach import conductor, scope_of_sizes

LIMIT_OHM = 1e6


@pytest.mark.parametrize("seed", range(150))
def test_leaks_that_the_error_of_a_short_hides_are_found_without_it(seed: int) -> None:
    """Shorts, and leaks just under the limit: 2 % of a short is more than all of the others."""
    rng = random.Random(seed)
    k = rng.randint(3, 14)
    pairs = [tuple(sorted(rng.sample(range(k), 2))) for _ in range(rng.randint(1, 5))]
    placed = {pair: rng.uniform(0.3, 0.9) * LIMIT_OHM for pair in pairs}
    placed |= {pair: rng.uniform(0.01, 500.0) for pair in pairs[: rng.randint(1, 2)]}

    def measure(a: int, b: int) -> float:
        siemens = sum(
            1 / ohm
            for (i, j), ohm in placed.items()
            if (a >> i & 1 and b >> j & 1) or (a >> j & 1 and b >> i & 1)
        )
        return 1 / siemens if siemens else math.inf

    ruled_out: frozenset[tuple[int, int]] = frozenset()
    for _ in range(12):
        found = measure_isolation(measure, [1 << i for i in range(k)], LIMIT_OHM, ruled_out=ruled_out)
        false = {(leak.i, leak.j) for leak in found.leaks} - set(placed)
        if not false:
            break
        ruled_out |= false
    assert {(leak.i, leak.j) for leak in found.leaks} == set(placed)
    assert all(leak.i < leak.j for leak in found.leaks)
    for leak in found.leaks:
        assert leak.ohm == pytest.approx(placed[leak.i, leak.j], rel=0.02)


def _always(ohm: float, _a: int, _b: int) -> float:
    return ohm


def test_a_known_partner_is_left_out_of_readings_in_its_shadow() -> None:
    """Where a short hides others, neither side of it is ever read against the other again."""
    asked: list[tuple[int, int]] = []

    def measure(a: int, b: int) -> float:
        asked.append((a, b))
        across = (a >> 3 & 1 and b >> 5 & 1) or (b >> 3 & 1 and a >> 5 & 1)
        return 1.0 if across else math.inf

    found = measure_isolation(measure, [1 << i for i in range(8)], LIMIT_OHM)
    assert [(leak.i, leak.j) for leak in found.leaks] == [(3, 5)]
    sole = [(a, b) for a, b in asked if (a == 1 << 3 or a == 1 << 5) and b.bit_count() > 1]
    assert [a for a, _ in sole] == [1 << 3, 1 << 5], "each once, the first of them first"
    for _, b in sole:
        assert b == 255 & ~(1 << 3) & ~(1 << 5)
    # The rest of them once more, for each bit in which they differ.
    assert asked[-3:] == [
        (0b10000010, 0b01010101),
        (0b11000100, 0b00010011),
        (0b11010000, 0b00000111),
    ]


@pytest.mark.parametrize(("ohm", "leak"), [(0.99e6, True), (1.01e6, False)])
def test_a_leak_is_one_under_the_limit(ohm: float, leak: bool) -> None:
    found = measure_isolation(lambda a, b: ohm if {a & 2, b & 2} == {0, 2} else math.inf, [1, 2], LIMIT_OHM)
    assert bool(found.leaks) is leak
    assert found.readings_ohm == (ohm,)


def test_readings_that_can_be() -> None:
    assert believed(5.0) == 5.0
    assert believed(0.0) == believed(LEAST_OHM) == SHORT_OHM
    assert believed(-3.0, -3.0) == SHORT_OHM
    assert believed(math.inf) == math.inf


def test_insulation_is_decided_with_the_testers_error(fixtures: File) -> None:
    """±30 % of the reading (IEC 61557-2, from memory): above 1 MΩ for sure from 1 MΩ / 0.7 on."""
    loom = load(fixtures / "tail_lamp").loom
    scope = scope_of(expect(loom), in_order(loom.cavities).point_of, 250e3)
    limit = loom.settings.isolation_ohm
    for ohm, decision in (
        (limit / 0.7 * 1.01, Decision.PASS),
        (limit / 0.7 * 0.99, Decision.UNDECIDED),
        (limit * 1.001, Decision.UNDECIDED),
    ):
        found = run_insulation(loom, scope, InsulationTest(50.0), partial(_always, ohm))
        assert (found.decision, found.lowest_ohm, found.leaks) == (decision, ohm, ())
    first = {"reading": 0}

    def leaking(a: int, b: int) -> float:
        first["reading"] += 1
        one, other = scope.groups[0].points, scope.groups[1].points
        return 1e4 if (a & one and b & other) or (b & one and a & other) else math.inf

    found = run_insulation(loom, scope, InsulationTest(50.0), leaking)
    (path,) = found.leaks
    assert found.decision is Decision.FAIL
    assert (path.ohm, path.uncertainty_ohm, path.volts) == pytest.approx((1e4, 3e3, 50.0))
    assert {scope.group_of[path.a], scope.group_of[path.b]} == {0, 1}
    assert found.readings == first["reading"]


@pytest.mark.parametrize("degrees", [8, 16, 32, 64, 128])
def test_the_coverage_factor_is_students(degrees: int) -> None:
    """The expansion ends with 1/ν²: what is left of Student's factor is the next term, near 2.86/ν³."""
    probability = norm.cdf(2.0)
    left = (float(student.ppf(probability, degrees)) - _coverage(degrees)) * degrees**3
    assert 2.4 < left < 4.2


def test_the_least_step_of_a_meter_is_between_readings_of_one_pair() -> None:
    assert _step([[1.0, 1.25, 1.0], [2.0, 2.125]]) == 0.125
    assert _step([[1.0, 1.0], [1.1, 1.1]]) == 0.0
    assert _step([[3.0, 1.0, 2.5]]) == 0.5
    assert _step([]) == 0.0


PAIRS = [(1, 2), (1, 3), (2, 3), (1, 4), (1, 5)]


@pytest.mark.parametrize(
    ("joined", "points"),
    [
        ([(2, 3)], [1]),
        ([(1, 2), (1, 3), (2, 3), (1, 5)], [4]),
        ([(1, 2)], [3, 4, 5]),
        ([(1, 3), (1, 4), (1, 5)], [2]),
        ([(1, 2), (1, 3), (1, 4), (1, 5)], [2, 3]),
    ],
)
def test_which_leads_to_look_at(joined: list[tuple[int, int]], points: list[int]) -> None:
    assert _open_points(PAIRS, joined) == points


def test_pairs_of_cavities_that_name_one_wire_of_several() -> None:
    ends = [End("A", str(k)) for k in range(13)]
    few = pairs_of(ends[:12])
    assert few == list(itertools.combinations(ends[:12], 2))
    many = pairs_of(ends)
    assert {frozenset(pair) for pair in many} == {
        frozenset((ends[k], ends[(k - back) % 13])) for k in range(13) for back in (1, 2)
    }
    assert all(a != b for a, b in many)


def test_inside_what_was_found_each_is_read_and_all_pairs_where_one_is_high() -> None:
    scope = scope_of_sizes([2, 2, 1])
    plan = Plan(scope, (), (conductor(0, 0.1, 1.0), conductor(1, 0.1, 2.0)))
    merged = frozenset(scope.ends(0b1111))
    single, whole = frozenset(scope.ends(0b10000)), frozenset(scope.ends(0b11))

    def asked(ohm: float, known: set[frozenset[End]]) -> list[tuple[str, str]]:
        meter = ohmmeter_of(Scripted(between({}, ohm)), scope)
        return [(str(p.a), str(p.b)) for p in read_inside(plan, meter, [single, whole, merged], known)]

    star = [("0:1", "0:2"), ("0:1", "1:1"), ("0:1", "1:2")]
    rest = [("0:2", "1:1"), ("0:2", "1:2"), ("1:1", "1:2")]
    assert asked(0.5, set()) == star
    two = frozenset({End("0", "2"), End("2", "1")})
    meter = ohmmeter_of(Scripted(between({}, 0.5)), scope)
    assert [(str(p.a), str(p.b)) for p in read_inside(plan, meter, [two], set())] == [("0:2", "2:1")]
    assert asked(2.09, set()) == star
    assert asked(2.11, set()) == star + rest
    known = {frozenset((End("0", "1"), End("1", "1"))), frozenset((End("1", "2"), End("0", "2")))}
    assert asked(2.11, known) == [star[0], star[2], rest[0], rest[2]]
    assert [str(e) for e in sorted(merged, key=scope.point_of.__getitem__)] == ["0:1", "0:2", "1:1", "1:2"]


def test_a_path_between_two_classes_reads_least_and_alike_at_its_own_two() -> None:
    ohm = {(2, 8): 5.0, (8, 2): 5.0, (1, 24): 700.0, (24, 1): 700.0, (2, 24): 5.0, (24, 2): 5.0}
    ohm |= {(16, 2): 5.0, (2, 16): math.inf}
    meter = ohmmeter_of(Scripted(between(ohm)), scope_of_sizes([1] * 6))
    assert pinpoint(meter, [1, 2], [16, 8]) == (2, 8)
    assert pinpoint(meter, [1], [16]) == (1, 16)


@pytest.mark.parametrize("seed", range(30))
def test_resistors_of_a_mesh_are_worked_out_from_readings_of_all_pairs(seed: int) -> None:
    """Readings by a nodal solve: the resistance between two nodes of a network of resistors."""
    rng = random.Random(seed)
    n = rng.randint(2, 5)
    nodes = rng.sample(range(20), n)
    ohm = {pair: rng.uniform(50.0, 5000.0) for pair in itertools.combinations(range(n), 2)}
    linked = [pair for pair in ohm if pair[1] - pair[0] == 1 or rng.random() < 0.5]
    laplacian = np.zeros((n, n))
    for i, j in linked:
        g = 1 / ohm[i, j]
        laplacian[[i, j], [i, j]] += g
        laplacian[[i, j], [j, i]] -= g
    inverse = np.linalg.pinv(laplacian)
    read = {}
    for i, j in itertools.permutations(range(n), 2):
        read[nodes[i], nodes[j]] = float(inverse[i, i] + inverse[j, j] - 2 * inverse[i, j])
    found = {(nodes.index(i), nodes.index(j)): value for i, j, value in resistors(nodes, read)}
    assert set(found) == set(linked)
    for pair, value in found.items():
        assert value == pytest.approx(ohm[pair], rel=1e-6)
