"""Expected values, limits, the choice of readings, and components."""

from __future__ import annotations

import itertools
import math
import random
from typing import Any

import networkx as nx
import pytest

from loomproof.electrics import readings
from loomproof.electrics.components import component_reading
from loomproof.electrics.expectation import Expectation, expect
from loomproof.electrics.islands import Island
from loomproof.electrics.readings import readings_of
from loomproof.errors import UsageError
from loomproof.loom.model import ComponentKind, End, Loom, Settings, end_of

from .looms import BARE, loom_of, part, random_loom


def test_a_single_wire_by_hand() -> None:
    """1 m of 0.5 mm²: 36.72 mΩ expected, 39 mΩ at most (IEC 60228), two crimps, two contacts, margin."""
    loom = loom_of("W1 ECU:12 INJ1:1 1m 0.5mm2")
    found = expect(loom).between(end_of("ECU:12"), end_of("INJ1:1"))
    assert found.expected_ohm == pytest.approx(1.065 / 58 / 0.5 + 2 * 0.005 + 2 * 0.010)
    assert found.sound_ohm == pytest.approx(0.039 + 2 * 0.005 + 2 * 0.010)
    assert found.limit_ohm == pytest.approx(1.25 * found.sound_ohm + 0.050)
    assert found.wires == ("W1",)
    assert found.sensitivity == {"W1": pytest.approx(1.0)}
    assert math.isinf(found.open_ohm["W1"])
    assert not found.defaults_used


def test_temperature_moves_the_copper_and_not_the_joints() -> None:
    loom = loom_of("W1 A:1 B:1 10m 0.5mm2")
    a, b = loom.cavities
    cold, warm = (expect(loom, t).between(a, b).expected_ohm for t in (20.0, 35.0))
    assert warm - cold == pytest.approx(0.00393 * 15 * 10 * 1.065 / 58 / 0.5)


def test_settings_of_the_loom_set_the_limit() -> None:
    loose = Settings(margin_ratio=2.0, margin_ohm=1.0, contact_ohm=0.1, crimp_ohm=0.2)
    loom = loom_of("W1 A:1 B:1 1m 0.5mm2", settings=loose)
    found = expect(loom).between(*loom.cavities)
    assert found.limit_ohm == pytest.approx(2.0 * (0.039 + 0.4 + 0.2) + 1.0)


def test_a_loom_without_lengths_works_and_says_that_defaults_were_used() -> None:
    loom = loom_of("W1 A:1 B:1\nW2 C:1 D:1 1m 0.5mm2")
    expectation = expect(loom)
    assert expectation.between(end_of("A:1"), end_of("B:1")).defaults_used
    assert expectation.between(end_of("A:1"), end_of("B:1")).sound_ohm == pytest.approx(2 * 0.039 + 0.03)
    assert not expectation.between(end_of("C:1"), end_of("D:1")).defaults_used


def test_ends_apart_and_unknown_ends() -> None:
    expectation = expect(loom_of("W1 A:1 B:1\nW2 C:1 D:1"))
    apart = expectation.between(end_of("A:1"), end_of("C:1"))
    assert math.isinf(apart.expected_ohm)
    assert not apart.defaults_used
    with pytest.raises(UsageError, match="X:9") as caught:
        expectation.between(end_of("A:1"), end_of("X:9"))
    assert not caught.value.cure
    with pytest.raises(UsageError) as caught:
        expectation.between(end_of("A:1"), end_of("b:1"))
    assert "B:1" in caught.value.cure


def test_wires_in_parallel_are_hidden_and_a_way_round_is_not() -> None:
    both = expect(loom_of("W1 A:1 B:1 1m 1mm2\nW2 A:1 B:1 1m 1mm2"))
    assert readings_of(both, 0).hidden == ("W1", "W2")
    assert both.between(*both.nets[0].cavities).wires == ()
    assert both.between(*both.nets[0].cavities).sensitivity["W1"] == pytest.approx(0.25)
    round_ = expect(loom_of("W1 A:1 B:1 1m 1mm2\nW2 A:1 C:1 20m 0.5mm2\nW3 C:1 B:1 20m 0.5mm2"))
    assert readings_of(round_, 0).hidden == ()


def test_a_wire_to_nowhere_is_hidden() -> None:
    expectation = expect(loom_of("W1 A:1 S1\nW2 S1 B:1\nW3 S1 S2\nW4 C:1 S3"))
    net = expectation.net_of[end_of("A:1")]
    assert readings_of(expectation, net).hidden == ("W3",)
    assert readings_of(expectation, expectation.net_of[end_of("C:1")]).hidden == ("W4",)
    assert readings_of(expectation, expectation.net_of[end_of("C:1")]).pairs == ()


def test_a_star_is_read_from_n_minus_one_pairs() -> None:
    lines = "\n".join(f"W{k} C:{k} S1 {k}m 0.5mm2" for k in range(1, 9))
    expectation = expect(loom_of(lines))
    found = readings_of(expectation, 0)
    assert len(found.pairs) == 7
    assert {w for between in expectation.between_all(found.pairs) for w in between.wires} == {
        f"W{k}" for k in range(1, 9)
    }


@pytest.mark.parametrize("seed", range(12))
def test_chosen_pairs_show_what_any_pair_shows(seed: int) -> None:
    """Brute force with networkx: remove each wire, read every pair. Hidden is what no pair shows."""
    rng = random.Random(seed)
    loom = random_loom(rng, nets=3, cavities=15, parts=0)
    loom = Loom("plain", connectors=loom.connectors, wires=loom.wires, settings=Settings(margin_ohm=0.005))
    expectation = expect(loom)
    for net in expectation.nets:
        chosen = readings_of(expectation, net.index)
        graph: nx.MultiGraph[End] = nx.MultiGraph()
        graph.add_nodes_from(net.ends)
        for a, b, conductor in expectation.conductors.get(net.index, []):
            graph.add_edge(a, b, conductor.name, ohm=conductor.nominal_ohm)
        hidden = set()
        for name in net.wires:
            wire = loom.wire_by_name[name]
            rest = graph.copy()
            rest.remove_edge(wire.a, wire.b, name)
            shows = [
                pair for pair in itertools.combinations(net.cavities, 2) if _shows(expectation, rest, pair)
            ]
            if not shows:
                hidden.add(name)
            else:
                assert any(_shows(expectation, rest, pair) for pair in chosen.pairs), name
        assert set(chosen.hidden) == hidden


@pytest.mark.parametrize("seed", range(12))
def test_the_promising_pairs_of_a_big_net_hide_no_more_than_all_pairs(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    rng = random.Random(seed)
    loom = random_loom(rng, nets=2, cavities=rng.randrange(20, 50), parts=2)
    loom = Loom("plain", connectors=loom.connectors, wires=loom.wires, settings=Settings(margin_ohm=0.005))
    expectation = expect(loom)
    for net in expectation.nets:
        monkeypatch.setattr(readings, "MANY", 1000)
        every = readings_of(expectation, net.index)
        monkeypatch.setattr(readings, "MANY", 2)
        assert readings_of(expectation, net.index).hidden == every.hidden


def _shows(expectation: Expectation, rest: nx.MultiGraph[Any], pair: tuple[End, End]) -> bool:
    limit = expectation.between(*pair).limit_ohm
    if not nx.has_path(rest, *pair):
        return True
    inside = rest.subgraph(nx.node_connected_component(rest, pair[0]))
    ohm: Any = nx.resistance_distance(inside, *pair, weight="ohm")
    return bool(ohm + expectation.contacts_ohm(*pair) > limit)


def test_a_big_looped_net_is_read_from_few_pairs() -> None:
    """More cavities than are tried exhaustively; the pairs must still show each wire of two long rings."""
    ring = [f"W{k} C:{k} C:{k % 60 + 1} 1m 0.5mm2" for k in range(1, 61)]
    expectation = expect(loom_of("\n".join(ring)))
    found = readings_of(expectation, 0)
    assert found.hidden == ()
    assert len(found.pairs) <= 61
    assert {w for between in expectation.between_all(found.pairs) for w in between.wires} == set(
        expectation.nets[0].wires
    )


def test_an_island_of_many_nets_is_solved_the_sparse_way() -> None:
    """Eight hundred nets in a chain of resistors: by hand, 10 Ω each and next to nothing of wire."""
    lines = "\n".join(f"W{k} A:{k} B:{k} 1m 2.5mm2" for k in range(800))
    parts = tuple(part(ComponentKind.RESISTOR, f"R{k}", f"B:{k}", f"A:{k + 1}", 10.0) for k in range(799))
    expectation = expect(loom_of(lines, parts, settings=BARE))
    assert len(expectation.islands) == 1
    wire_ohm = 1.065 / 58 / 2.5
    found = expectation.between(end_of("A:0"), end_of("B:799"))
    assert found.expected_ohm == pytest.approx(799 * 10 + 800 * wire_ohm, rel=1e-11)
    assert expectation.between(end_of("A:400"), end_of("B:400")).expected_ohm == pytest.approx(
        wire_ohm, rel=1e-4
    )
    assert readings_of(expectation, 400).pairs == ((end_of("A:400"), end_of("B:400")),)


def test_a_fitted_fuse_joins_a_net_and_a_pulled_one_does_not() -> None:
    wires = "W1 A:1 F:1 1m 1mm2\nW2 F:2 B:1 1m 1mm2"
    fitted = expect(loom_of(wires, (part(ComponentKind.FUSE, "F1", "F:1", "F:2", rating_a=10.0),)))
    found = fitted.between(end_of("A:1"), end_of("B:1"))
    # Two contacts of 10 mΩ, and two seats of 5 mΩ: a fuse of 10 A may be of the small size.
    assert found.expected_ohm == pytest.approx(2 * (1.065 / 58 + 0.010) + 0.0077 + 0.010 + 0.020)
    assert found.defaults_used
    assert math.isinf(found.component_open_ohm["F1"])
    pulled = expect(loom_of(wires, (part(ComponentKind.FUSE, "F1", "F:1", "F:2", fitted=False),)))
    assert len(pulled.nets) == 2


def test_a_resistor_between_nets() -> None:
    parts = (part(ComponentKind.RESISTOR, "R1", "B:1", "C:1", 470.0, tolerance_pct=1.0),)
    expectation = expect(loom_of("W1 A:1 B:1 1m 1mm2\nW2 C:1 D:1 1m 1mm2", parts))
    (coupling,) = expectation.couplings
    found = component_reading(expectation, coupling)
    assert (coupling.lo_ohm, coupling.hi_ohm) == pytest.approx((465.3, 474.7))
    assert found.expected_ohm == pytest.approx(470.02)
    assert found.lower_ohm == pytest.approx(465.3)
    assert found.upper_ohm == pytest.approx(474.7 + 0.02 + 0.05)
    assert math.isinf(found.missing_ohm)
    assert found.provable
    assert not found.defaults_used
    assert expectation.between(end_of("A:1"), end_of("D:1")).expected_ohm == pytest.approx(
        470 + 2 * (1.065 / 58 + 0.010) + 0.020
    )


def test_two_resistors_side_by_side_each_show_by_the_step_they_make() -> None:
    parts = (
        part(ComponentKind.RESISTOR, "R1", "A:1", "B:1", 100.0, tolerance_pct=1.0),
        part(ComponentKind.RESISTOR, "R2", "A:1", "B:1", 10_000.0, tolerance_pct=1.0),
    )
    expectation = expect(loom_of("W1 A:1 A:2\nW2 B:1 B:2", parts, settings=BARE))
    big, small = (component_reading(expectation, c) for c in expectation.couplings)
    assert big.expected_ohm == pytest.approx(1 / (1 / 100 + 1 / 10_000))
    assert big.missing_ohm == pytest.approx(10_000)
    assert big.provable
    assert small.missing_ohm == pytest.approx(100.0)
    assert not small.provable


def test_a_coil_is_copper_and_is_read_against_its_diode() -> None:
    parts = (
        part(ComponentKind.COIL, "K1", "A:1", "B:1", 85.0, tolerance_pct=10.0),
        part(ComponentKind.DIODE, "D1", "A:1", "B:1"),
    )
    expectation = expect(loom_of("W1 A:1 A:2\nW2 B:1 B:2", parts), 35.0)
    coil, diode = (component_reading(expectation, c) for c in expectation.couplings)
    # Anode at A: current from A to B would take the diode, so the coil is read from B to A.
    assert (coil.a, coil.b) == (end_of("B:1"), end_of("A:1"))
    assert coil.masked_by == ()
    assert coil.expected_ohm == pytest.approx(85.0 * (1 + 0.00393 * 15) + 0.02)
    # 85 Ω beside it hide whether the diode conducts.
    assert diode.missing_ohm < 100
    assert not diode.provable
    assert (diode.a, diode.b) == (end_of("A:1"), end_of("B:1"))
    assert diode.forward_v is not None
    assert diode.forward_v[0] < 0.6 < diode.forward_v[1]


def test_diodes_both_ways_mask_a_resistor() -> None:
    parts = (
        part(ComponentKind.RESISTOR, "R1", "A:1", "B:1", 1000.0),
        part(ComponentKind.DIODE, "D1", "A:1", "B:1"),
        part(ComponentKind.DIODE, "D2", "B:1", "A:1"),
    )
    expectation = expect(loom_of("W1 A:1 A:2\nW2 B:1 B:2", parts))
    found = component_reading(expectation, expectation.couplings[0])
    assert found.masked_by == ("D1",)
    assert not found.provable


def test_a_lone_diode_a_capacitor_and_a_part_of_unknown_value() -> None:
    parts = (
        part(ComponentKind.DIODE, "D1", "A:1", "B:1", forward_v=0.3),
        part(ComponentKind.CAPACITOR, "C1", "B:1", "C:1"),
        part(ComponentKind.COIL, "L1", "C:1", "D:1"),
    )
    expectation = expect(loom_of("W1 A:1 A:2\nW2 B:1 B:2\nW3 C:1 C:2\nW4 D:1 D:2", parts))
    diode, capacitor, coil = (component_reading(expectation, c) for c in expectation.couplings)
    assert diode.provable
    assert diode.forward_v == pytest.approx((0.05, 0.55))
    assert capacitor.expected_ohm == math.inf
    assert capacitor.lower_ohm == 1e6
    assert coil.expected_ohm is None
    assert not coil.provable
    assert math.isinf(expectation.between(end_of("C:1"), end_of("D:1")).expected_ohm)


def test_a_component_bridged_by_a_wire_is_no_coupling() -> None:
    parts = (part(ComponentKind.RESISTOR, "R1", "A:1", "B:1", 100.0),)
    expectation = expect(loom_of("W1 A:1 B:1 1m 1mm2", parts))
    assert expectation.couplings == ()
    assert [c.component for c in expectation.bridged] == ["R1"]


def test_a_fitted_relay_is_a_coil_and_a_resting_contact() -> None:
    terminals = (("30", "A:1"), ("87", "B:1"), ("87a", "C:1"), ("85", "D:1"), ("86", "E:1"))
    loom = loom_of("W1 A:1 A:2\nW2 B:1 B:2\nW3 C:1 C:2\nW4 D:1 D:2\nW5 E:1 E:2")
    relay = part(ComponentKind.RELAY, "K1", "A:1", "B:1", 90.0)
    relay = type(relay)(
        "K1",
        ComponentKind.RELAY,
        tuple((name, end_of(text)) for name, text in terminals),
        resistance_ohm=90.0,
    )
    expectation = expect(Loom("r", connectors=loom.connectors, wires=loom.wires, components=(relay,)))
    (coil,) = expectation.couplings
    assert (str(coil.a), str(coil.b), coil.nominal_ohm) == ("E:1", "D:1", 90.0)
    # Closed at rest, 30 and 87a are one conductor (DIN 72552); 87 stands alone.
    assert expectation.net_of[end_of("A:1")] == expectation.net_of[end_of("C:1")]
    assert expectation.net_of[end_of("A:1")] != expectation.net_of[end_of("B:1")]
    assert expectation.between(end_of("A:1"), end_of("C:1")).sound_ohm == pytest.approx(0.12)


def test_a_component_on_a_splice_is_read_from_the_nearest_cavity() -> None:
    parts = (part(ComponentKind.RESISTOR, "R1", "S1", "C:1", 10.0, tolerance_pct=1.0),)
    loom = loom_of("W1 A:1 S1 5m 0.5mm2\nW2 B:1 S1 1m 0.5mm2\nW3 C:1 C:2", parts)
    expectation = expect(loom)
    found = component_reading(expectation, expectation.couplings[0])
    assert found.a == end_of("B:1")
    assert found.expected_ohm == pytest.approx(10.0 + 1.065 / 58 / 0.5 + 0.010 + 0.020)


def test_a_wire_from_plug_to_plug_is_read_to_the_last_bit_as_a_network(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Sealed figures stay what they were: `Island.lone` leaves out the solving, and nothing else."""
    looms = [random_loom(random.Random(k), nets=14, cavities=28, parts=k % 4) for k in range(12)]
    quick = [_all_that_is_expected(loom) for loom in looms]
    assert sum(bool(island.lone) for loom in looms for island in expect(loom).islands) > 10
    monkeypatch.setattr(Island, "lone", None)
    assert [_all_that_is_expected(loom) for loom in looms] == quick


def _all_that_is_expected(loom: Loom) -> list[str]:
    expectation = expect(loom, 31.5)
    pairs = [pair for net in expectation.nets for pair in readings_of(expectation, net.index).pairs]
    told = expectation.between_all([*pairs, *((b, a) for a, b in pairs)])
    return [*map(repr, told), *(repr(expectation.copper_ohm(net.index, 1.5)) for net in expectation.nets)]
