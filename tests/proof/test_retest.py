"""A retest sees every fault that touches the repaired nets, and asks less than a full proof."""

from __future__ import annotations

import itertools
import random
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from loomproof.bench.adapter import in_order
from loomproof.bench.seam import Accuracy, Capabilities
from loomproof.electrics.expectation import expect
from loomproof.loom.model import End
from loomproof.loom.reading import load
from loomproof.proof.plan import Meter, plan_proof
from loomproof.proof.retest import plan_retest, touched_ends, touched_nets
from loomproof.proof.scope import Scope
from loomproof.proof.vectors import Group
from tests.proof.test_sense import random_partition, sensing, sensing_relation


def scope_for(expected: tuple[int, ...]) -> Scope:
    groups = tuple(Group.of(part) for part in expected)
    return Scope(groups, tuple(range(len(groups))), (frozenset(),) * len(groups), {}, {}, ())


@given(st.integers(0, 2**32), st.integers(4, 40), st.integers(1, 4))
@settings(max_examples=200, deadline=None)
def test_any_open_short_or_one_way_path_at_a_touched_net_is_seen(seed: int, points: int, count: int) -> None:
    from loomproof.proof.retest import _vectors

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
