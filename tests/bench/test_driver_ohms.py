"""Ohms in series with a driver: what sense surely finds then, claimed, planned, refused, and physically so.

The oracle solves the voltages of the circuit itself, pull-up by pull-up; it shares no formula with the host.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.capability_report import read_capabilities
from loomproof.bench.seam import Capabilities, point_set
from loomproof.electrics.expectation import expect
from loomproof.errors import UnfitError
from loomproof.loom.reading import load
from loomproof.planning.net_access import scope_of
from loomproof.planning.plan import plan_proof
from loomproof.virtual.scanner import Make, Scanner
from tests.bench.torture import FIXTURES
from tests.cli.running import loomproof

TAIL_LAMP = FIXTURES / "tail_lamp"


def far_share(pull_ohm: float, driver_ohm: float, path_ohm: float, near: int, far: int) -> float:
    """The voltage at the far net over the supply: nodal equations of the two nets, driver on the near one."""
    g_pull, g_path, g_driver = 1.0 / pull_ohm, 1.0 / path_ohm, 1.0 / driver_ohm
    matrix = np.array([[near * g_pull + g_path + g_driver, -g_path], [-g_path, far * g_pull + g_path]])
    return float(np.linalg.solve(matrix, [near * g_pull, far * g_pull])[1])


def able(pull_ohm: float, low_share: float, driver_ohm: float, pulls: int | None = None) -> Capabilities:
    sense_ohm = pull_ohm * low_share / (1.0 - low_share)
    return Capabilities(64, sense_ohm=sense_ohm, driver_ohm=driver_ohm, pulled_at_once=pulls)


def test_the_case_of_the_page() -> None:
    """Eight points, 20 kΩ, 1 kΩ: 8/28 of the supply is no sure low where that is under 0.2 of it."""
    assert far_share(20e3, 1e3, 1e-6, 4, 4) == pytest.approx(8 / 28)
    assert able(20e3, 0.2, 1e3).surely_low_ohm(8) == 0.0
    assert able(20e3, 0.2, 1e3).surely_apart_ohm(4, 4) == 0.0
    assert able(20e3, 0.3, 1e3).surely_low_ohm(8) == pytest.approx(20e3 * 3 / 7 / 8 - 1e3)
    assert able(20e3, 0.3, 1e3).surely_low_ohm(9) == 0.0


@pytest.mark.parametrize("low_share", [0.15, 0.2, 0.3, 0.5])
@pytest.mark.parametrize("driver_ohm", [5.0, 220.0, 1000.0])
@pytest.mark.parametrize(("near", "far"), [(1, 1), (2, 1), (1, 5), (4, 4), (3, 11), (20, 2)])
def test_whatever_is_under_the_bound_reads_low(
    low_share: float, driver_ohm: float, near: int, far: int
) -> None:
    bench = able(20e3, low_share, driver_ohm)
    path_ohm = bench.surely_apart_ohm(near, far)
    either_way = [(near, far), (far, near)]
    if path_ohm == 0.0:  # and where nothing is promised, metal may read high: the bound gives little away
        assert max(far_share(20e3, driver_ohm, 1e-6, *way) for way in either_way) > 0.97 * low_share
        return
    lowest = min(far_share(20e3, driver_ohm, path_ohm, *way) for way in either_way)
    assert lowest <= low_share * (1 + 1e-9)
    assert lowest > 0.7 * low_share  # of use, not only safe
    on_one = bench.surely_low_ohm(near + far)
    assert on_one <= path_ohm
    assert on_one == 0.0 or far_share(20e3, driver_ohm, on_one, near, far) <= low_share


def test_no_more_pull_ups_share_than_are_on_at_once() -> None:
    """Every mixture of eight points of which one at least is behind the path, of nets however large."""
    bench = able(20e3, 0.3, 1e3, pulls=8)
    path_ohm = bench.surely_apart_ohm(30, 30)
    assert path_ohm > 0.0
    for far in range(1, 9):
        assert far_share(20e3, 1e3, path_ohm, 8 - far, far) <= 0.3 * (1 + 1e-9)
    assert bench.surely_low_ohm(30) == bench.surely_low_ohm(8) > 0.0
    assert bench.surely_apart_ohm(3, 2) == able(20e3, 0.3, 1e3).surely_apart_ohm(3, 2)


def test_without_series_ohms_all_is_as_it_was() -> None:
    bench = Capabilities(64)
    assert bench.surely_apart_ohm(3, 7) == 25_000.0 / 3
    assert bench.surely_low_ohm(7) == 25_000.0 / 7


def test_it_is_read_from_the_device() -> None:
    told = read_capabilities("POINTS=8,LINE=64,DRIVR=1050,PULLS=8").capabilities
    assert (told.driver_ohm, told.pulled_at_once) == (1050.0, 8)
    with pytest.raises(UnfitError, match="DRIVR=-1"):
        read_capabilities("POINTS=8,LINE=64,DRIVR=-1")


def test_a_net_of_many_points_is_refused_by_itself() -> None:
    """Seven points on one net of the demo loom, 9.1 kΩ for all of them, where 8.57 kΩ is a sure low."""
    expectation = expect(load(FIXTURES / "hillclimb_engine").loom, 20.0)
    point_of = in_order(expectation.loom.cavities).point_of
    with pytest.raises(UnfitError, match="need not read low on this bench though every wire is sound"):
        plan_proof(expectation, point_of, replace(able(20e3, 0.3, 1.3e3), points=128), None)
    plan_proof(expectation, point_of, replace(able(20e3, 0.3, 1.3e3, pulls=6), points=128), None)


def test_a_plan_refuses_what_the_bench_cannot_surely_sense() -> None:
    """The tail lamp's largest net, and its two largest, on pull-ups of 20 kΩ; the figures of the claims."""
    expectation = expect(load(TAIL_LAMP).loom, 20.0)
    point_of = in_order(expectation.loom.cavities).point_of
    for ohm, bench, says in (
        (4.5e3, able(20e3, 0.3, 4.5e3), "need not read low on this bench though every wire is sound"),
        (2.5e3, able(20e3, 0.3, 2.5e3), "metal between the nets of"),
    ):
        with pytest.raises(UnfitError, match=says) as caught:
            plan_proof(expectation, point_of, bench, None)
        assert f"{ohm / 1000:.2f} kΩ" in caught.value.message
    plan_proof(expectation, point_of, able(20e3, 0.3, 2.5e3, pulls=3), None)
    scope = scope_of(expectation, point_of)
    sizes = sorted(scope.behind)
    plain = able(20e3, 0.3, 200.0)
    assert scope.none_under_ohm(0, plain) == plain.surely_apart_ohm(
        scope.behind[0], sizes[-1] if scope.behind[0] < sizes[-1] else sizes[-2]
    )


def test_plan_and_proof_say_the_bound(tmp_path: Path) -> None:
    """1.05 kΩ as the simulator states 1 kΩ, nets of two: what the formula gives."""
    bench = "sim:?driver=1000&no-ohms"
    bound_ohm = (25e3 - 1050 * 4) / (2 * (1 + 1050 * 2 / 25e3))
    planned = loomproof("plan", TAIL_LAMP, "--bench", bench)
    assert f"isolation above {bound_ohm / 1e3:.2f} kΩ for the two largest nets" in planned.stdout
    document = tmp_path / "r.json"
    done = loomproof("prove", TAIL_LAMP, "--bench", bench, "--json", document)
    assert done.returncode in (0, 1), done.stderr
    found = json.loads(document.read_text())
    apart = [claim for claim in found["claims"] if claim["kind"] == "isolation"]
    assert min(claim["threshold_ohm"] for claim in apart) == pytest.approx(bound_ohm)
    assert found["bench"]["sense_ohm"] == pytest.approx((25e3 - 2100) / (1 + 1050 / 25e3))


def test_the_simulated_driver_is_a_resistor() -> None:
    """A net with so much in series with its driver that, sound, it reads high; one bank at a time it is low.

    Pull-ups of 100 kΩ and inputs that take 1 V to 2 V of 3.3 V, as `constants` says: 30 kΩ are 0.76 V to one
    pull-up and 2.1 V to six.
    """
    loom = load(FIXTURES / "hillclimb_engine").loom
    scope = scope_of(expect(loom, 20.0), in_order(loom.cavities).point_of)
    group = max(scope.groups, key=lambda each: each.size)
    assert group.size >= 6
    usual = Make(len(loom.cavities))
    assert Scanner(loom, usual).sense(group.head, 0.0) & group.points == group.points
    weak = replace(usual, driver_ohm=250e3)
    assert Scanner(loom, weak).sense(group.head, 0.0) & group.points == 0
    few = replace(usual, driver_ohm=30e3)
    alone = replace(few, pulled_at_once=1)
    assert Scanner(loom, few).sense(group.head, 0.0) & group.points != group.points
    assert Scanner(loom, alone).sense(group.head, 0.0) & group.points == group.points


def test_a_bank_reads_its_own_points_only() -> None:
    """Two points that 15 kΩ joins, one a bank: each is pulled up alone and reads as one."""
    loom = load(TAIL_LAMP).loom
    a, b = loom.cavities[0], loom.cavities[-1]
    make = Make(64, pulled_at_once=1)
    it = Scanner(loom, make, faults=[f"part 15k {a} {b}"])
    low = it.sense(point_set([1]), 0.0)
    assert low & point_set([1, len(loom.cavities)]) == point_set([1, len(loom.cavities)])
    assert it.sense(0, 0.0) == 0
