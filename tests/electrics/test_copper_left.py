"""What copper alone leaves, which wires hold cavities together, netlists: against networkx, and by hand."""

from __future__ import annotations

import csv
import json
import random
from dataclasses import replace
from itertools import combinations
from typing import Any

import networkx as nx
import numpy as np
import pytest

from loomproof.electrics.expectation import MOST_PAIRED, Expectation, expect
from loomproof.electrics.netlist import netlist, netlist_csv, netlist_json
from loomproof.electrics.readings import _Chooser
from loomproof.electrics.undetectable_opens import Web, hidden_from_sense
from loomproof.loom.model import Circuit, Component, ComponentKind, End, Loom, Settings, end_of, ends_of

from .looms import loom_of, part, random_loom

COPPER_OHM_MM2_PER_M = 1.0 / 58.0
"""Annealed copper, 58 MS/m at 20 °C (IEC publication 28)."""


def copper_graph(expectation: Expectation) -> nx.MultiGraph[End]:
    """Wires at solid copper, fuses and links at next to nothing, parts between nets at their least."""
    loom = expectation.loom
    graph: nx.MultiGraph[End] = nx.MultiGraph()
    graph.add_nodes_from(end for connector in loom.connectors for end in connector.ends)
    warm = 1.0 + 0.00393 * (expectation.temperature_c - 20.0)
    for wire in loom.wires:
        ohm = 1e-5
        if wire.length_m is not None and wire.csa_mm2 is not None:
            ohm = COPPER_OHM_MM2_PER_M * wire.length_m / wire.csa_mm2 * warm
        graph.add_edge(*wire.ends, ohm=ohm)
    for one in loom.components:
        if one.kind in (ComponentKind.FUSE, ComponentKind.LINK):
            graph.add_edge(*one.ends, ohm=1e-5)
        elif one.kind is not ComponentKind.DIODE:
            heat = warm if one.kind is ComponentKind.COIL else 1.0
            graph.add_edge(
                *one.ends, ohm=(one.resistance_ohm or 0.0) * heat * (1 - (one.tolerance_pct or 0) / 100)
            )
    return graph


@pytest.mark.parametrize("seed", range(8))
def test_copper_alone_leaves_what_networkx_says(seed: int) -> None:
    rng = random.Random(f"copper {seed}")
    loom = random_loom(rng, nets=3, cavities=12, parts=3, diodes=1)
    if seed % 2:
        first = loom.wires[0]
        loom = replace(loom, wires=(replace(first, length_m=None), *loom.wires[1:]))
    expectation = expect(loom, rng.choice((5.0, 20.0, 40.0)))
    graph = copper_graph(expectation)
    margin = loom.settings.margin_ratio
    u_k = rng.choice((0.0, 3.0))
    share = (1.0 - 0.00393 * 2 * u_k) / margin
    for net in expectation.nets:
        if len(net.cavities) < 2:
            assert expectation.copper_ohm(net.index, u_k) == 0.0
            continue
        inside = graph.subgraph(nx.node_connected_component(graph, net.cavities[0]))
        every: list[float] = []
        for a, b in combinations(net.cavities, 2):
            ohm: Any = nx.resistance_distance(inside, a, b, weight="ohm")
            every.append(float(ohm) * share)
            assert expectation.copper_between_ohm(a, b, u_k) == pytest.approx(every[-1], rel=1e-6)
        assert expectation.copper_ohm(net.index, u_k) == pytest.approx(min(every), rel=1e-6)


def test_copper_is_colder_by_two_uncertainties_and_never_less_than_nothing() -> None:
    """2 m of 0.5 mm² are 68.97 mΩ; 10 K of doubt take 7.86 % off, and 200 K all of it."""
    loom = loom_of("W1 A:1 B:1 2m 0.5mm2", settings=Settings(margin_ratio=1.0))
    expectation = expect(loom)
    a, b = loom.cavities
    assert expectation.copper_between_ohm(a, b) == pytest.approx(0.068966, rel=1e-4)
    assert expectation.copper_between_ohm(a, b, 10.0) == pytest.approx(0.068966 * (1 - 0.0786), rel=1e-4)
    assert expectation.copper_between_ohm(a, b, 200.0) == 0.0
    assert expectation.copper_ohm(0) == expectation.copper_between_ohm(a, b)
    assert expectation.copper_between_ohm(b, a, 126.0) == pytest.approx(0.068966 * (1 - 0.99036), rel=1e-3)
    loose = expect(replace(loom, settings=Settings(margin_ratio=2.0)))
    assert loose.copper_between_ohm(a, b) == pytest.approx(0.068966 / 2, rel=1e-4)


@pytest.mark.parametrize(("cavities", "known"), [(1, False), (2, True), (60, True), (61, False)])
def test_nets_of_two_to_sixty_cavities_are_looked_at_pair_by_pair(cavities: int, known: bool) -> None:
    assert MOST_PAIRED == 60
    lines = "\n".join(f"W{k} A:{k} S 1m 0.5mm2" for k in range(1, cavities + 1))
    assert bool(expect(loom_of(lines)).copper_ohm(0)) is known


@pytest.mark.parametrize("seed", range(12))
def test_wires_hold_together_what_falls_apart_without_them(seed: int) -> None:
    rng = random.Random(f"web {seed}")
    loom = random_loom(rng, nets=3, cavities=14, parts=2, diodes=1)
    expectation = expect(loom)
    graph: nx.MultiGraph[End] = nx.MultiGraph()
    graph.add_nodes_from(end for connector in loom.connectors for end in connector.ends)
    for wire in loom.wires:
        graph.add_edge(wire.a, wire.b, wire.name)
    for one in loom.components:
        a, b = one.ends
        graph.add_edge(a, b, one.name)
    tested = rng.sample(loom.cavities, 9)
    hidden = []
    for without in ("", loom.components[0].name):
        web = Web(expectation, without)
        rest = graph.copy()
        for u, v, key in list(rest.edges(keys=True)):
            if key == without:
                rest.remove_edge(u, v, key)
        for net in expectation.nets:
            ends = [end for end in net.cavities if end in tested]
            joining = set()
            for name in net.wires:
                wire = loom.wire_by_name[name]
                apart = rest.copy()
                apart.remove_edge(*wire.ends, name)
                if len({frozenset(nx.node_connected_component(apart, end)) for end in ends}) == 2:
                    joining.add(name)
            assert set(web.joining(ends)) == joining
            if ends:
                assert set(web.hidden(ends)) == set(net.wires) - joining
                assert list(web.wires(ends)) == list(net.wires)
                hidden += [name for name in net.wires if name not in joining and not without]
    assert sorted(hidden_from_sense(expectation, tested)) == sorted(hidden)


def test_one_end_is_held_together_with_nothing_and_two_of_a_net_by_their_wires() -> None:
    web = Web(expect(loom_of("W1 A:1 S\nW2 B:1 S\nW3 C:1 S\nW4 D:1 E:1")))
    assert web.joining([end_of("A:1")]) == web.joining([end_of("A:1"), end_of("A:1")]) == ()
    assert web.joining(ends_of("A:1 B:1")) == ("W1", "W2")
    assert web.hidden(ends_of("A:1 B:1")) == ("W3",)
    assert list(web.wires(ends_of("A:1 D:1 B:1"))) == ["W1", "W2", "W3", "W4"]


def test_a_fuse_is_no_wire_and_a_shunt_no_way_of_its_own() -> None:
    """Beside a fuse a wire hides; a shunt is a conductor of the net and stands there once."""
    fuse = part(ComponentKind.FUSE, "F1", "A:1", "B:1")
    web = Web(expect(loom_of("W1 A:1 B:1", (fuse,))))
    assert web.joining(ends_of("A:1 B:1")) == ()
    shunt = part(ComponentKind.RESISTOR, "R1", "A:1", "B:1", 0.5)
    whole = Web(expect(loom_of("W1 A:1 A:2\nW2 B:1 B:2", (shunt,))))
    assert whole.joining(ends_of("A:2 B:2")) == ("W1", "W2")
    beside = part(ComponentKind.RESISTOR, "R2", "A:1", "A:2", 100.0)
    assert Web(expect(loom_of("W1 A:1 A:2", (beside,)))).joining(ends_of("A:1 A:2")) == ()
    assert Web(expect(loom_of("W1 A:1 A:2", (beside,))), "R2").joining(ends_of("A:1 A:2")) == ("W1",)


def test_a_netlist_says_each_conductor_once_from_one_on() -> None:
    fuse = part(ComponentKind.FUSE, "F1", "A:2", "A:4", fitted=False)
    loom = loom_of("W1 A:1 S1\nW2 S1 B:1\nW3 A:2 B:2", (fuse,), extra="A:3")
    wires = tuple(replace(wire, circuit=name) for wire, name in zip(loom.wires, ("x", "x", ""), strict=True))
    loom = replace(loom, wires=wires, circuits=(Circuit("x"),))
    rows = netlist(loom)
    assert [(row.net, row.cavities, row.splices, row.wires, row.circuits, row.parts) for row in rows] == [
        (1, ("A:1", "B:1"), ("S1",), ("W1", "W2"), ("x",), ()),
        (2, ("A:2", "B:2"), (), ("W3",), (), ("F1",)),
        (3, ("A:4",), (), (), (), ("F1",)),
        (4, ("A:3",), (), (), (), ()),
    ]
    assert [row["net"] for row in json.loads(netlist_json(loom))] == [1, 2, 3, 4]
    assert json.loads(netlist_json(loom))[0]["cavities"] == ["A:1", "B:1"]
    assert netlist_json(loom).startswith("[\n  {\n    ")
    odd = replace(loom, wires=(replace(loom.wires[0], circuit="Ölpumpe"), *loom.wires[1:]))
    assert "Ölpumpe" in netlist_json(replace(odd, circuits=(*odd.circuits, Circuit("Ölpumpe"))))
    table = list(csv.reader(netlist_csv(loom).decode("utf-8-sig").splitlines()))
    assert table[0] == ["net", "cavities", "splices", "wires", "circuits", "parts"]
    assert table[1][:3] == ["1", "A:1 B:1", "S1"]
    assert len(table) == 5


@pytest.mark.parametrize("seed", range(10))
def test_the_choice_of_readings_and_what_they_say_go_by_the_same_limit(seed: int) -> None:
    """With loads too: what a pair reads with a wire open, less the limit that is stated for the pair."""
    rng = random.Random(f"excess {seed}")
    loom = random_loom(rng, nets=2, cavities=12, parts=2)
    names = ("a", "b", "c")
    wires = tuple(replace(wire, circuit=rng.choice(names)) for wire in loom.wires)
    loads = (Circuit("a", "", "30", 12.0), Circuit("b", "", "31", 30.0), Circuit("c"))
    loom = replace(loom, wires=wires, circuits=loads)
    expectation = expect(loom)
    for net in expectation.nets:
        if len(net.cavities) < 2:
            continue
        chooser = _Chooser(expectation, net.index)
        pairs = list(combinations(net.cavities, 2))
        a, b = ([chooser.island.node_of[pair[k]] for pair in pairs] for k in (0, 1))
        found = chooser.excess(np.array(a), np.array(b))
        listed = [one.name for _, _, one in expectation.conductors[net.index]]
        for k, between in enumerate(expectation.between_all(pairs)):
            opened = {**between.open_ohm, **between.component_open_ohm}
            for e, name in enumerate(listed):
                if name in opened:
                    assert found[e, k] == pytest.approx(opened[name] - between.limit_ohm, rel=1e-6, abs=1e-9)
                else:
                    assert found[e, k] < 0.0


def test_islands_of_one_net_have_their_own_component() -> None:
    fuse = Component("F1", ComponentKind.FUSE, (("1", end_of("A:2")), ("2", end_of("B:1"))), rating_a=10.0)
    loom: Loom = loom_of("W1 A:1 A:2 10m 0.5mm2\nW2 B:1 B:2 10m 0.5mm2", (fuse,))
    expectation = expect(loom)
    net = expectation.net_of[end_of("A:1")]
    # Between its own two cavities the fuse leaves no copper at all.
    assert expectation.copper_between_ohm(end_of("A:2"), end_of("B:1")) < 1e-4
    assert expectation.copper_ohm(net) < 1e-4
    assert expectation.copper_between_ohm(end_of("A:1"), end_of("B:2")) == pytest.approx(
        20 / 58 / 0.5 / loom.settings.margin_ratio, rel=1e-4
    )
