"""What a fault draws at either end of a wire behind its fuse, and what wire and fuse do then."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import pytest

from loomproof.electrics.conductors import wire_conductor
from loomproof.electrics.joints import seat_ohm
from loomproof.fitting.fuse_coordination import fuse_rows, reach_ohms
from loomproof.fitting.load_flow import Edge, Load, flow
from loomproof.loom.model import Circuit, Component, ComponentKind, End, Loom, Wire
from loomproof.results.fitting import FuseRow, Level
from tests.fitting.test_small_looms import ALL, chain


def lamp(
    kind: ComponentKind = ComponentKind.FUSE,
    *,
    ohm: float | None = None,
    size_mm2: float = 1.0,
    long_m: float = 1.0,
    load_a: float | None = 5.0,
) -> Loom:
    """The chain of the small looms, its lamp fed by the loom's own feed and by nothing else."""
    loom = chain(kind, ohm=ohm, size_mm2=size_mm2, long_m=long_m, load_a=load_a)
    circuits = tuple(replace(one, designation="") if one.name == "load" else one for one in loom.circuits)
    return replace(loom, circuits=circuits)


def rated(loom: Loom, rating_a: float | None) -> Loom:
    return replace(loom, components=(replace(loom.components[0], rating_a=rating_a),))


def row_of(loom: Loom, wire: str = "W2") -> FuseRow:
    return next(row for row in fuse_rows(loom, ALL) if row.wire == wire)


def copper_ohm(wire: Wire) -> float:
    """58 MS/m and a lay factor of 1.065, at 20 °C."""
    assert wire.length_m
    assert wire.csa_mm2
    return wire.length_m * 1.065 / 58.0 / wire.csa_mm2


@pytest.mark.parametrize("size_mm2", [0.5, 1.5, 6.0])
@pytest.mark.parametrize("long_m", [1.0, 8.0])
def test_what_a_fault_draws_at_both_ends(size_mm2: float, long_m: float) -> None:
    """Near: 12.6 V over 5 mΩ and the copper before the wire. Far: over 30 mΩ, hot copper and all joints."""
    loom = rated(lamp(size_mm2=size_mm2, long_m=long_m), 10.0)
    first, second = loom.wires[:2]
    row = row_of(loom)
    assert row.near_a == pytest.approx(12.6 / (0.005 + copper_ohm(first)), rel=1e-6)
    hot = [wire_conductor(wire, loom, 70.0) for wire in (first, second)]
    fuse_ohm = 2.0 * (0.0077 + 2.0 * seat_ohm(loom.settings, 10.0))
    far_ohm = sum(made.greatest_ohm + made.joints_ohm for made in hot) + fuse_ohm
    assert row.far_a == pytest.approx(12.6 / (0.030 + far_ohm), rel=1e-6)
    assert (row.fuse, row.rating_a, row.csa_mm2, row.load_a) == ("F1", 10.0, size_mm2, 5.0)


@pytest.mark.parametrize("kind", [ComponentKind.LINK, ComponentKind.RELAY])
def test_what_stands_on_the_way_counts_at_the_far_end(kind: ComponentKind) -> None:
    """A link has its ohms; a closed contact of 20 A up to 10 mΩ, and its contacts, each twice."""
    ends = ("30", "87") if kind is ComponentKind.RELAY else ("1", "2")
    base = lamp(kind, ohm=0.25)
    part = Component("F1", kind, ((ends[0], End("H", "1")), (ends[1], End("H", "2"))), 0.25, rating_a=20.0)
    loom = replace(base, components=(part,))
    least, most = reach_ohms(loom, [End("CAR", "1")])
    between = most[End("H", "2")] - most[End("H", "1")]
    if kind is ComponentKind.LINK:
        assert between == pytest.approx(0.25)
        none = replace(loom, components=(replace(part, resistance_ohm=None),))
        _, bare = reach_ohms(none, [End("CAR", "1")])
        assert bare[End("H", "2")] == pytest.approx(bare[End("H", "1")])
    else:
        assert between >= 2 * 0.010
        strong = replace(loom, components=(replace(part, rating_a=30.0),))
        _, other = reach_ohms(strong, [End("CAR", "1")])
        assert between - (other[End("H", "2")] - other[End("H", "1")]) == pytest.approx(2 * 0.005)
    assert least[End("H", "2")] == least[End("H", "1")]
    # From the other side it is as far.
    _, back = reach_ohms(loom, [End("P", "1")])
    assert back[End("CAR", "1")] == pytest.approx(most[End("P", "1")])
    assert End("B", "1") not in most


@pytest.mark.parametrize("size_mm2", [0.35, 1.0, 4.0])
@pytest.mark.parametrize("rating_a", [5.0, 10.0, 30.0, 100.0])
def test_a_wire_holds_what_its_fuse_lets_through_or_nobody_can_tell(size_mm2: float, rating_a: float) -> None:
    """k²S² with k = 115 (IEC 60364-5-54), against I²t of the slowest gates from far to near."""
    row = row_of(rated(lamp(size_mm2=size_mm2), rating_a))
    held = (115.0 * size_mm2) ** 2
    gates = ((6.0, 0.15), (3.5, 0.5), (2.0, 5.0))
    most = 0.0
    for k in range(4001):
        amps = row.far_a + (row.near_a - row.far_a) * k / 4000
        for ratio, seconds in gates:
            if amps >= ratio * rating_a:
                most = max(most, min(amps, 6.0 * rating_a) ** 2 * seconds)
                break
    told = re.match(r"(holds|can't tell): (?:wire (\d+) A²s, fuse at most (\d+) A²s)?", row.short_circuit)
    assert told
    if row.far_a < 2.0 * rating_a:
        assert row.short_circuit == (
            f"can't tell: a fault draws {row.far_a:.0f} A at the far end to {row.near_a:.0f} A at the near "
            "one, too little for the fuse to open at once"
        )
    else:
        assert float(told[2]) == pytest.approx(held, rel=2e-3)
        assert float(told[3]) == pytest.approx(most, rel=5e-3, abs=1.0)
        assert told[1] == ("holds" if held > most else "can't tell")
    assert row.withstand_s == pytest.approx(held / row.near_a**2, rel=2e-3)


@pytest.mark.parametrize(
    ("size_mm2", "rating_a", "load_a", "level"),
    [
        (1.0, 10.0, 8.0, None),
        (1.0, 10.0, 8.1, Level.WARNING),
        (1.0, 10.0, None, None),
        (1.5, 40.0, 5.0, Level.DANGER),
        (0.5, 30.0, 1.0, Level.DANGER),
    ],
)
def test_how_bad_a_fuse_is_for_its_wire(
    size_mm2: float, rating_a: float, load_a: float | None, level: Level | None
) -> None:
    assert row_of(rated(lamp(size_mm2=size_mm2, load_a=load_a), rating_a)).level is level


def test_the_largest_fuse_on_the_ways_to_a_wire_has_to_blow_and_the_weakest_wire_stands_first() -> None:
    loom = lamp(size_mm2=0.75)
    thick = Wire("W8", End("H", "2"), End("P", "2"), "RD", 4.0, 1.0, "load")
    rows = fuse_rows(replace(loom, wires=(thick, *loom.wires[:2])), ALL)
    assert [row.wire for row in rows if row.fuse == "F1"] == ["W2", "W8"]
    # Before the fuse of the loom the car's own guards, named by its rating beside the circuit.
    assert [(row.wire, row.fuse, row.rating_a) for row in rows if row.fuse != "F1"] == [("W1", "30 A", 30.0)]
    bare = replace(loom, circuits=(Circuit("feed", "permanent feed", "30"), *loom.circuits[1:]))
    assert [row.wire for row in fuse_rows(bare, ALL)] == ["W2"]


A, B, C, D = (End(name, "1") for name in "ABCD")


def edge(a: End, b: End, name: str, ohm: float) -> Edge:
    return Edge(a, b, name, ohm, 0.0, 0.0, 0.0, False)


def test_a_network_of_feeds_by_hand() -> None:
    """Two wires of 0.1 and 0.3 Ω side by side from A to B, 0.2 Ω on to C; 4 A at C and 2 A at B."""
    edges = [edge(A, B, "one", 0.1), edge(B, A, "other", 0.3), edge(B, C, "on", 0.2), edge(D, D, "own", 1.0)]
    loads = [
        Load("c", C, 4.0, None),
        Load("b", B, 1.5, None),
        Load("b2", B, 0.5, None),
        Load("d", D, 9.0, None),
    ]
    found = flow(edges, [A], loads)
    assert found.lost_v[A] == 0.0
    assert found.lost_v[B] == pytest.approx(6.0 * 0.075)
    assert found.lost_v[C] == pytest.approx(6.0 * 0.075 + 0.8)
    assert D not in found.lost_v
    assert found.current_a == pytest.approx((4.5, -1.5, 4.0, 0.0))
    both = flow(edges[:3], [A, C, A], loads[:3])
    assert both.lost_v[B] == pytest.approx(2.0 / (1 / 0.075 + 1 / 0.2))
    assert flow([], [A], []).lost_v == {A: 0.0}
    assert math.isclose(sum(flow(edges, [A, B, C], loads).current_a), 0.0)
