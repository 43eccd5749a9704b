"""A retest sees every fault that touches the repaired nets, and asks less than a full proof."""

from __future__ import annotations

import itertools
import random
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomproof.bench.adapter import in_order
from loomproof.bench.seam import Accuracy, Capabilities
from loomproof.electrics.expectation import expect
from loomproof.loom.model import End
from loomproof.loom.reading import load
from loomproof.measuring.events import finish
from loomproof.measuring.run import run_plan
from loomproof.planning.meter import Meter
from loomproof.planning.net_access import Scope
from loomproof.planning.plan import plan_proof
from loomproof.planning.retest_plan import plan_retest, touched_ends, touched_nets
from loomproof.planning.test_vectors import Group
from loomproof.results.measured import Decision, Measured
from tests.cleared import cleared
from tests.measuring.meter_bench import meter_bench
from tests.planning.test_sense import random_partition, sensing, sensing_relation


def scope_for(expected: tuple[int, ...]) -> Scope:
    groups = tuple(Group.of(part) for part in expected)
    return Scope(groups, tuple(range(len(groups))), (frozenset(),) * len(groups), {}, {}, ())


@given(st.integers(0, 2**32), st.integers(4, 40), st.integers(1, 4))
@settings(max_examples=200, deadline=None)
def test_any_open_short_or_one_way_path_at_a_touched_net_is_seen(seed: int, points: int, count: int) -> None:
    from loomproof.planning.retest_plan import _vectors

    rng = random.Random(seed)
    expected = random_partition(rng, points)
    nets = frozenset(rng.sample(range(len(expected)), min(count, len(expected))))
    vectors = _vectors(scope_for(expected), nets)

    def fails(low: list[int]) -> bool:
        lows = sensing_relation(low)([v.drive for v in vectors])
        return any(v.wrong(answer) for v, answer in zip(vectors, lows, strict=True))

    def lows_of(partition: tuple[int, ...]) -> list[int]:
        return sensing(partition)([1 << d for d in range(points)])

    assert not fails(lows_of(expected))
    for i, j in itertools.permutations(range(len(expected)), 2):
        if not nets & {i, j}:
            continue
        one_way = lows_of(expected)
        for d in range(points):
            if expected[j] >> d & 1:
                one_way[d] |= expected[i]
        assert fails(one_way), "a path one way between a touched net and another"
    for i in nets:
        for p in range(points):
            piece = 1 << p
            if expected[i] & piece and expected[i] != piece:
                parts = [part for part in expected if part != expected[i]] + [piece, expected[i] & ~piece]
                assert fails(lows_of(tuple(parts))), "an open in a touched net"


def test_a_retest_of_one_wire_asks_little(fixtures: Path) -> None:
    loom = load(fixtures / "hillclimb_engine").loom
    expectation = expect(loom)
    meter = Meter(Accuracy(0.1, 0.01), None, (0.01, 1e7), {})
    full = plan_proof(expectation, in_order(loom.cavities).point_of, Capabilities(200), meter)
    ends = touched_ends(loom, [End("BULK", "4")], ["W27"])
    assert {End("BULK", "3"), End("BULK", "8"), End("K-PUMP", "87"), End("K-PUMP", "85")} <= ends
    nets = touched_nets(expectation, ends)
    plan = plan_retest(full, expectation, nets)
    assert {reading.a for reading in plan.conductors} <= {reading.a for reading in full.conductors}
    assert len(plan.conductors) < len(full.conductors) / 3
    assert 0 < len(plan.vectors) < len(full.vectors)
    assert any("W27" in reading.seen for reading in plan.conductors)


def test_components_on_touched_nets_are_measured_again(fixtures: Path) -> None:
    loom = load(fixtures / "hillclimb_engine").loom
    expectation = expect(loom)
    meter = Meter(Accuracy(0.1, 0.01), None, (0.01, 1e7), {})
    full = plan_proof(expectation, in_order(loom.cavities).point_of, Capabilities(200), meter)
    nets = touched_nets(expectation, [End("ECU-B", "22")])
    plan = plan_retest(full, expectation, nets)
    assert [part.part.component for part in plan.parts] == ["R1"]


def retested(fixtures: Path, *faults: str) -> tuple[Measured, int, int]:
    """Retest W45 of the demo loom on a bench without sense; returns readings asked and nets touched."""
    loom = load(fixtures / "hillclimb_engine").loom
    expectation = expect(loom)
    meter = Meter(Accuracy(0.2, 0.0005), Accuracy(0.002, 0.0005), (0.001, 1e8), {})
    bench = meter_bench(loom, *faults)
    point_of = in_order(loom.cavities).point_of
    full = plan_proof(expectation, point_of, bench.able, meter, isolation_ohm=1e6)
    nets = touched_nets(expectation, touched_ends(loom, [], ["W45"]))
    plan = plan_retest(full, expectation, nets)
    untouched = frozenset(range(len(expectation.nets))) - nets
    found = finish(run_plan(plan, expectation, bench, cleared(loom, bench), untouched=untouched))
    planned = (
        # Four wires are held against two.
        sum(2 if reading.wires == 4 else 1 for reading in plan.conductors)
        + len(plan.parts)
        + sum(part.part.forward_v is not None for part in plan.parts)
    )
    return found, bench.readings - planned - plan.control_readings, len(nets)


def test_without_sense_a_mended_wire_passes_in_few_readings(fixtures: Path) -> None:
    found, more, touched = retested(fixtures)
    assert found.sound
    # Whether any two conductors are one, and isolation both ways from the bundle of all others.
    assert more <= (61).bit_length() + 2 * touched.bit_length()


@pytest.mark.parametrize(
    "fault", ["open W45", "short ECU-A:19 ECU-A:3", "leak 22k ECU-A:18 ECU-A:3", "high 4.7 W45"]
)
def test_without_sense_what_is_still_wrong_is_seen(fixtures: Path, fault: str) -> None:
    found, _, _ = retested(fixtures, fault)
    bad = any(reading.decision is Decision.FAIL for reading in found.judged)
    assert bad or not found.sound
