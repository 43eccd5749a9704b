"""Vectors where parts couple conductors, what a retest asks, and what a hook-up sees: by plain sets."""

from __future__ import annotations

import random
from collections.abc import Sequence

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.seam import Accuracy, Capabilities
from loomproof.electrics.expectation import expect
from loomproof.loom.model import (
    Circuit,
    ComponentKind,
    Connector,
    ConnectorKind,
    End,
    Hazard,
    Loom,
    Wire,
)
from loomproof.planning.conductors import Conductors
from loomproof.planning.drive_codes import antichain_length
from loomproof.planning.meter import Meter
from loomproof.planning.net_access import Scope, scope_of
from loomproof.planning.plan import plan_proof
from loomproof.planning.retest_plan import _vectors, plan_retest, touched_ends, touched_nets
from loomproof.planning.suspects import conductors_of, single_points
from loomproof.planning.test_vectors import Group, Vector, empty_vector, sense_vectors
from tests.electrics.looms import loom_of, part


def coupled(rng: random.Random, count: int) -> tuple[frozenset[int], ...]:
    """By chance which others may pull a conductor low through parts, both ways or one way, all ways on."""
    steps = set()
    for _ in range(rng.randrange(count)):
        a, b = rng.sample(range(count), 2)
        steps |= {(a, b)} if rng.random() < 0.4 else {(a, b), (b, a)}
    found = []
    for k in range(count):
        reached, before = {k}, set[int]()
        while reached != before:
            before = set(reached)
            reached |= {b for a, b in steps if a in reached}
        found.append(frozenset(reached - {k}))
    return tuple(found)


def chance_scope(rng: random.Random, count: int) -> Scope:
    """Conductors of 1 to 3 points, mixed up, some of them coupled."""
    points = [1 << p for p in range(3 * count)]
    rng.shuffle(points)
    groups = []
    for _ in range(count):
        mine = [points.pop() for _ in range(rng.randint(1, 3))]
        groups.append(Group(sum(mine), rng.choice(mine)))
    return Scope(tuple(groups), tuple(range(10, 10 + count)), coupled(rng, count), {}, {}, ())


def driven(scope: Scope, vector: Vector) -> set[int]:
    return {k for k, group in enumerate(scope.groups) if group.head & vector.drive}


def holds(scope: Scope, vectors: Sequence[Vector], touched: set[int]) -> None:
    """Each vector demands what a sound loom does; together they see what can be wrong at the touched ones."""
    groups, reach = scope.groups, scope.reach
    for one in vectors:
        on = driven(scope, one)
        assert one.drive == sum(groups[k].head for k in on)
        assert one.drive
        assert one.must_low == sum(groups[k].points for k in on)
        assert one.must_high == sum(
            group.points for k, group in enumerate(groups) if k not in on and not reach[k] & on
        )
    for i in range(len(groups)):
        for j in range(len(groups)):
            if i != j and j not in reach[i] and {i, j} & touched:
                # A path by which j pulls i low, one way or both.
                assert any(j in driven(scope, v) and v.must_high & groups[i].points for v in vectors)
    for i in touched:
        if groups[i].size > 1:
            assert any(i in driven(scope, v) and not driven(scope, v) & reach[i] for v in vectors)


@pytest.mark.parametrize("seed", range(80))
def test_what_the_vectors_of_a_proof_see(seed: int) -> None:
    rng = random.Random(seed)
    scope = chance_scope(rng, rng.randint(2, 7))
    count = len(scope.groups)
    vectors = sense_vectors(scope.groups, scope.reach)
    holds(scope, vectors, set(range(count)))
    closures = {scope.reach[k] | {k} for k in range(count) if scope.reach[k]}
    coupled_ones = [k for k in range(count) if scope.reach[k] and scope.groups[k].size > 1]
    assert len(vectors) <= antichain_length(count) + len(closures) + len(coupled_ones)
    assert len(sense_vectors(scope.groups)) == antichain_length(count)
    if not any(scope.reach):
        assert len(vectors) == antichain_length(count)


@pytest.mark.parametrize("seed", range(80))
def test_what_the_vectors_of_a_retest_see(seed: int) -> None:
    rng = random.Random(seed)
    scope = chance_scope(rng, rng.randint(2, 7))
    count = len(scope.groups)
    touched = set(rng.sample(range(count), rng.randint(1, count)))
    touched |= {k for k in range(count) if scope.reach[k] & touched} | {
        other for k in touched for other in scope.reach[k]
    }
    vectors = _vectors(scope, frozenset(10 + k for k in touched))
    holds(scope, vectors, touched)
    closures = {scope.reach[k] | {k} for k in range(count) if scope.reach[k]}
    more = len([one for one in closures if one & touched])
    more += len([k for k in touched if scope.reach[k] and scope.groups[k].size > 1])
    assert len(vectors) <= antichain_length(len(touched) + (len(touched) < count)) + more
    bare = Scope(scope.groups, scope.net_of_group, (frozenset(),) * count, {}, {}, ())
    asked = len(_vectors(bare, frozenset(10 + k for k in touched)))
    assert asked == antichain_length(len(touched) + (len(touched) < count))


def test_one_conductor_that_shares_no_drive_is_asked_once_where_one_will_do() -> None:
    """Two coupled pairs, each of two points: the pairs have nothing to do with each other, so go together."""
    groups = [Group.of(0b11 << 2 * k) for k in range(4)]
    reach = [frozenset({1}), frozenset({0}), frozenset({3}), frozenset({2})]
    vectors = sense_vectors(groups, reach)
    assert len(vectors) <= antichain_length(4) + 2 + 2


@pytest.mark.parametrize("points", [1, 0b110, 0b101000])
def test_a_group_is_headed_by_its_lowest_point(points: int) -> None:
    group = Group.of(points)
    assert group.points == points
    assert group.head == 1 << min(k for k in range(8) if points >> k & 1)
    assert group.size == bin(points).count("1")


def test_which_points_read_wrong() -> None:
    asked = Vector(0b1, 0b011, 0b100)
    # Points 1 and 2 must be low and point 3 high; point 4 is left open.
    for low in range(16):
        wrong = {k for k in (0, 1) if not low >> k & 1} | ({2} if low >> 2 & 1 else set())
        assert asked.wrong(low) == sum(1 << k for k in wrong)
    assert empty_vector([Group.of(0b1), Group.of(0b110)]) == Vector(0, 0, 0b111)


@pytest.mark.parametrize("seed", range(40))
def test_points_behind_a_path_and_the_threshold_that_they_share(seed: int) -> None:
    """Below sense / n: n points pull up on the smaller side, the largest other bundle being driven."""
    rng = random.Random(seed)
    scope = chance_scope(rng, rng.randint(1, 6))
    count = len(scope.groups)
    bundles: list[set[int]] = []
    for k in range(count):
        with_it = [b for b in bundles if any(o in scope.reach[k] or k in scope.reach[o] for o in b)]
        bundles = [b for b in bundles if b not in with_it] + [set().union({k}, *with_it)]
    for k in range(count):
        mine = next(b for b in bundles if k in b)
        size = sum(scope.groups[o].size for o in mine)
        assert scope.behind[k] == size
        assert {o for o in range(count) if scope.bundle_of[o] == scope.bundle_of[k]} == mine
        others = [sum(scope.groups[o].size for o in b) for b in bundles if b is not mine]
        expected = 1000.0 / min(size, max(others)) if others else None
        assert scope.none_under_ohm(k, Capabilities(64, sense_ohm=1000.0)) == expected
    assert scope.points == sum(group.points for group in scope.groups)


LOOM = loom_of(
    "W1 A:1 S 1.0m 0.5mm2\nW2 S B:1 1.0m 0.5mm2\nW3 A:2 B:2 2.0m 0.5mm2\nW4 A:3 B:3 1.0m 0.5mm2",
    (
        part(ComponentKind.RESISTOR, "R1", "A:2", "B:3", 100.0),
        part(ComponentKind.DIODE, "D1", "A:3", "B:5"),
        part(ComponentKind.RESISTOR, "R2", "A:5", "B:4", 2e5),
    ),
    extra="A:4 A:5 B:4 B:5",
)


def ends(*texts: str) -> set[End]:
    return {End(*text.split(":")) for text in texts}


def test_a_repair_touches_what_it_names_and_the_cavities_beside() -> None:
    assert touched_ends(LOOM, ends("A:1"), ()) == ends("A:1", "A:2")
    assert touched_ends(LOOM, ends("A:3", "X:1"), ()) == ends("A:2", "A:3", "A:5")
    assert touched_ends(LOOM, {End("S")}, ()) == {End("S")}
    assert touched_ends(LOOM, (), ("W1", "W99")) == {End("S"), *ends("A:1", "A:2")}
    expectation = expect(LOOM)
    net = {name: expectation.net_of[end] for name in ("A:1", "A:2", "A:3", "B:5") for end in ends(name)}
    assert touched_nets(expectation, ends("A:1")) == {net["A:1"]}
    assert touched_nets(expectation, ends("A:2")) == {net["A:2"], net["A:3"]}
    assert touched_nets(expectation, ends("B:5")) == {net["A:3"], net["B:5"]}


METER = Meter(Accuracy(0.01, 0.001), None, (0.0, 1e5), {})


def test_a_retest_asks_what_lies_on_the_nets_and_no_more() -> None:
    expectation = expect(LOOM)
    able = Capabilities(16)
    full = plan_proof(expectation, in_order(LOOM.cavities).point_of, able, METER)
    assert {r.part.component for r in full.parts} == {"R1", "D1"}
    assert {bound.component for bound in full.bounds} >= {"R2"}

    def asked(*texts: str) -> tuple[set[str], set[str], set[str]]:
        nets = frozenset(expectation.net_of[end] for end in ends(*texts))
        again = plan_retest(full, expectation, nets)
        assert again.vectors[0] == full.vectors[0]
        return (
            {str(r.a) for r in again.conductors},
            {r.part.component for r in again.parts},
            {bound.component for bound in again.bounds if bound.component},
        )

    assert asked("A:1") == ({"A:1"}, set(), set())
    assert asked("A:2") == ({"A:2"}, {"R1"}, set())
    assert asked("A:3") == ({"A:3"}, {"R1", "D1"}, set())
    assert asked("A:5")[2] == {"R2"}
    assert asked("B:4")[2] == {"R2"}
    assert asked("A:4") == (set(), set(), set())
    without = plan_proof(
        expectation, in_order(LOOM.cavities).point_of, Capabilities(16, sense_ohm=None), METER
    )
    assert without.vectors == ()
    assert plan_retest(without, expectation, frozenset({0})).vectors == ()


def test_a_hook_up_sees_the_cavities_that_have_a_point() -> None:
    expectation = expect(LOOM)
    cavities = [end for end in LOOM.cavities if end not in ends("A:3", "B:3", "B:1")]
    point_of = {end: k + 2 for k, end in enumerate(reversed(cavities))}
    scope = scope_of(expectation, point_of, 250e3)
    for k, group in enumerate(scope.groups):
        mine = [end for end in expectation.nets[scope.net_of_group[k]].cavities if end in point_of]
        assert scope.ends(group.points) == set(mine)
        assert group.head == 1 << (point_of[mine[0]] - 1)
        assert all(scope.group_of[end] == k for end in mine)
    assert list(scope.point_of) == cavities
    assert scope.untested == tuple(end for end in LOOM.cavities if end not in point_of)
    assert scope.end_of == {point: end for end, point in point_of.items()}
    at = {str(end): k for end, k in scope.group_of.items()}
    # R1 leads from A:2 on through a conductor without a point and D1, along its arrow only.
    assert scope.reach[at["A:5"]] == {at["B:4"]}
    assert scope.reach[at["A:2"]] == {at["B:5"]}
    assert scope.reach[at["B:5"]] == frozenset()
    # Ten times the threshold and more couples nothing: 200 kΩ ± 5 % against ten times 15 kΩ and 25 kΩ.
    assert scope_of(expectation, point_of, 15e3).reach[at["A:5"]] == frozenset()
    assert scope_of(expectation, point_of, 25e3).reach[at["A:5"]] == {at["B:4"]}
    assert scope_of(expectation, point_of).reach[at["A:5"]] == {at["B:4"]}


def test_the_pairs_on_which_a_source_is_looked_for() -> None:
    nets = tuple(1 << k for k in range(5))
    found = list(Conductors(nets, earths=(1, 3), feeds=(3, 4)).pairs())
    assert found[:3] == [(1, 3), (1, 4), (3, 4)]
    assert {frozenset(pair) for pair in found} == {
        frozenset((a, b)) for a in (1, 3, 4) for b in range(5) if a != b
    }
    assert len(found) == len(set(found)) == 9
    assert Conductors(nets).suspects == (0, 1, 2, 3, 4)
    assert len(list(Conductors(nets).pairs())) == 10
    named = Conductors((0b110, 0b1), names={2: "A:1"}, spots=())
    assert (named.name(2), named.name(3), named.spot(0), named.spot(1)) == (
        "A:1",
        "point 3",
        "A:1",
        "point 1",
    )
    assert Conductors((1,), spots=("R:1",)).spot(0) == "R:1"


def test_feeds_earths_and_where_a_meters_lead_is_held() -> None:
    """By DIN 72552: 30 and 15 feed, 31 is earth; a fuse makes a feed; a ring that is no feed is an earth."""
    kinds = {
        "P": ConnectorKind.PLUG,
        "R": ConnectorKind.RING,
        "T": ConnectorKind.TAIL,
        "B": ConnectorKind.BLADE,
    }
    rows = [
        ("battery", "30", "", "P:1", "R1:1"),
        ("ignition", "15", "", "P:2", "T1:1"),
        ("earth", "31", "", "P:3", "B1:1"),
        ("signal", "", "F1", "P:4", "P:5"),
        ("sensor", "", "", "P:6", "R2:1"),
        ("other", "", "", "P:7", "B2:1"),
        ("other", "", "", "P:8", "P:1"),  # on the battery's net
        ("other", "", "", "P:9", "P:3"),  # and on that of the earth
    ]
    texts = [text for row in rows for text in row[3:]]
    cavities: dict[str, list[str]] = {}
    for text in texts:
        cavities.setdefault(text.split(":")[0], []).append(text.split(":")[1])
    loom = Loom(
        "marked",
        connectors=tuple(
            Connector(name, kinds[name[0]], (tuple(held),), hazard=Hazard.NONE)
            for name, held in cavities.items()
        ),
        wires=tuple(
            Wire(f"W{k}", End(*a.split(":")), End(*b.split(":")), circuit=circuit)
            for k, (circuit, _, _, a, b) in enumerate(rows)
        ),
        circuits=tuple(Circuit(name, designation=mark, fuse=fuse) for name, mark, fuse, _, _ in rows),
    )
    expectation = expect(loom)
    scope = scope_of(expectation, in_order(loom.cavities).point_of)
    found = conductors_of(expectation, scope)
    index = {str(end): k for end, k in scope.group_of.items()}
    assert set(found.feeds) == {index["P:1"], index["P:2"], index["P:4"]}
    assert set(found.earths) == {index["P:3"], index["P:6"]}
    spots = {found.spots[index[row[3]]] for row in rows[:6]}
    assert spots == {"R1:1", "T1:1", "B1:1", "P:4", "R2:1", "B2:1"}
    assert found.nets == tuple(group.points for group in scope.groups)
    alone = single_points({End("A", "1"): 3, End("A", "2"): 1})
    assert (alone.nets, alone.names) == ((0b100, 0b1), {3: "A:1", 1: "A:2"})
