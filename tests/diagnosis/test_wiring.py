"""The wiring as trees of conductors, against networkx on the same random looms."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace
from typing import Any

import networkx as nx
import pytest

from loomproof.diagnosis.weights import weight_table, weights
from loomproof.diagnosis.wiring import Wiring, wiring_of
from loomproof.loom.model import Component, ComponentKind, Connector, ConnectorKind, End, Loom, Wire, end_of
from tests.diagnosis.injector import Bench, random_loom
from tests.diagnosis.test_wiring_faults import LOOM, nets, plug

TABLE = weights()


def graph_of(wiring: Wiring) -> nx.MultiGraph[int]:
    graph: nx.MultiGraph[int] = nx.MultiGraph()
    graph.add_nodes_from(range(len(wiring.node_ends)))
    for k, edge in enumerate(wiring.edges):
        graph.add_edge(edge.u, edge.v, k)
    return graph


@pytest.mark.parametrize("seed", range(12))
def test_wires_contacts_and_fuses_are_edges(seed: int) -> None:
    rng = random.Random(f"wiring {seed}")
    loom = random_loom(rng, 40)
    extra = tuple(
        replace(wire, name=f"X{k}", a=wire.b, b=wire.a) for k, wire in enumerate(rng.sample(loom.wires, 3))
    )
    loom = replace(loom, wires=(*loom.wires, *extra, Wire("loop", loom.cavities[0], loom.cavities[0])))
    expected = Bench(loom).build()
    wiring = wiring_of(loom, expected, TABLE)

    assert wiring.leaf_ends == loom.cavities
    assert [wiring.leaf_of[end] for end in loom.cavities] == list(range(len(loom.cavities)))
    assert wiring.node_ends[: wiring.leaf_count] == list(loom.cavities)
    pairs = Counter(frozenset(wire.ends) for wire in loom.wires if wire.a != wire.b)
    found = Counter(
        frozenset((wiring.node_ends[e.u], wiring.node_ends[e.v])) for e in wiring.edges if e.wires
    )
    assert set(found) == set(pairs)
    assert set(found.values()) == {1}, "parallel wires are one edge"
    for edge in wiring.edges:
        ends = {wiring.node_ends[edge.u], wiring.node_ends[edge.v]}
        if edge.wires:
            assert edge.cost == 1000 * pairs[frozenset(ends)]
            assert [set(loom.wire_by_name[name].ends) for name in edge.wires] == [ends] * len(edge.wires)
            assert (edge.component, edge.contact) == ("", -1)
        elif edge.component:
            assert (edge.component, edge.cost) == ("F1", TABLE.blown_fuse)
            assert ends == set(loom.component_by_name["F1"].ends)
        else:
            assert edge.contact in (edge.u, edge.v)
            assert ends == {loom.cavities[edge.contact]}
            assert edge.cost == TABLE.open_contact
    # A cavity that holds two things has a contact of its own, any other none.
    held: Counter[End] = Counter()
    for pair in (*pairs, *(frozenset(part.ends) for part in loom.components)):
        held.update(pair)
    contacts = {wiring.leaf_ends[edge.contact] for edge in wiring.edges if edge.contact >= 0}
    assert contacts == {end for end in loom.cavities if held[end] > 1}
    assert {wiring.node_ends[n] for n in range(len(wiring.node_ends)) if wiring.is_splice(n)} <= set(
        loom.splices
    )
    assert not any(wiring.is_splice(leaf) for leaf in range(wiring.leaf_count))
    for end in loom.cavities:
        node = wiring.node_of(end)
        assert node is not None
        assert wiring.node_ends[node] == end
        assert (node >= wiring.leaf_count) == (end in contacts)
    assert wiring.node_of(End("nowhere", "1")) is None


@pytest.mark.parametrize("seed", range(12))
def test_nets_ways_and_sides_are_those_of_the_graph(seed: int) -> None:
    rng = random.Random(f"ways {seed}")
    loom = random_loom(rng, 30)
    # A ring in the first net, where both sides of an edge are one.
    expected = Bench(loom).build()
    big = max((sorted(net) for net in expected), key=len)
    loom = replace(loom, wires=(*loom.wires, Wire("round", big[0], big[-1])))
    wiring = wiring_of(loom, expected, TABLE)
    graph = graph_of(wiring)
    components = [sorted(one) for one in nx.connected_components(graph)]
    leaves = sorted(tuple(n for n in one if n < wiring.leaf_count) for one in components)
    assert [net.leaves for net in wiring.nets] == [one for one in leaves if one]
    assert [net.index for net in wiring.nets] == list(range(len(wiring.nets)))
    for net in wiring.nets:
        inside = nx.node_connected_component(graph, net.leaves[0])
        assert net.edges == tuple(sorted(k for u, _, k in graph.edges(keys=True) if u in inside))
        assert {wiring.net_of[leaf] for leaf in net.leaves} == {net.index}
    for _ in range(30):
        a, b = rng.randrange(len(wiring.node_ends)), rng.randrange(len(wiring.node_ends))
        way = wiring.path(a, b)
        if not nx.has_path(graph, a, b):
            assert way is None
            continue
        assert way is not None
        assert len(way) == nx.shortest_path_length(graph, a, b)
        at = a
        for k in way:
            assert at in (wiring.edges[k].u, wiring.edges[k].v)
            at = wiring.edges[k].u + wiring.edges[k].v - at
        assert at == b
        assert sorted(wiring.beside(a)) == sorted(v for _, v in graph.edges(a))
    for k, edge in enumerate(wiring.edges):
        for start, first in ((edge.u, edge.v), (edge.v, edge.u)):
            rest: Any = graph.copy()
            rest.remove_node(start)
            beyond = nx.node_connected_component(rest, first)
            assert sorted(wiring.side(k, start)) == sorted(n for n in beyond if n < wiring.leaf_count)


def wired(*parts: Component, expected: tuple[str, ...]) -> Wiring:
    loom = Loom(
        "parts",
        connectors=(plug("A", "1 2 3 4"), plug("B", "1 2")),
        wires=(Wire("W1", end_of("A:1"), end_of("B:1")), Wire("W2", end_of("A:2"), end_of("B:2"))),
        components=parts,
    )
    return wiring_of(loom, nets(*expected), TABLE)


def resistor(name: str, a: str, b: str, ohm: float, **more: Any) -> Component:
    return Component(name, ComponentKind.RESISTOR, (("1", end_of(a)), ("2", end_of(b))), ohm, **more)


def edges(wiring: Wiring) -> list[tuple[str, int]]:
    return [(edge.component, edge.cost) for edge in wiring.edges if not edge.wires and edge.contact < 0]


APART = ("A:1 B:1", "A:2 B:2", "A:3", "A:4")
ONE = ("A:1 B:1 A:2 B:2", "A:3", "A:4")


def test_a_part_is_an_edge_where_it_makes_one_net_of_two() -> None:
    small, big = resistor("R1", "A:1", "A:2", 0.5), resistor("R1", "A:1", "A:2", 470.0)
    assert edges(wired(small, expected=ONE)) == [("R1", TABLE.open_component)]
    assert edges(wired(big, expected=APART)) == []
    assert edges(wired(replace(small, fitted=False), expected=APART)) == []
    assert len(wired(big, expected=APART).nets) == 4
    assert len(wired(small, expected=ONE).nets) == 3


def test_what_nothing_described_joins_is_an_edge_without_a_name() -> None:
    """The bench expects one net where the description joins nothing: whatever joins it can be open."""
    wiring = wired(expected=ONE)
    assert edges(wiring) == [("", TABLE.open_component)]
    assert len(wiring.nets) == 3


def test_a_part_lies_in_a_net_that_is_expected_whole() -> None:
    """Two nets that are expected as one, and a resistor between: the resistor is what joins them."""
    assert edges(wired(resistor("R1", "A:1", "A:2", 470.0), expected=ONE)) == [("R1", TABLE.open_component)]


def test_a_part_to_a_splice_that_leads_nowhere_is_in_no_net() -> None:
    loom = Loom(
        "nowhere",
        connectors=(plug("A", "1 2"), Connector("S", ConnectorKind.SPLICE)),
        wires=(Wire("W1", end_of("A:1"), end_of("A:2")),),
        components=(Component("R1", ComponentKind.RESISTOR, (("1", end_of("A:1")), ("2", End("S"))), 470.0),),
    )
    wiring = wiring_of(loom, nets("A:1 A:2"), TABLE)
    assert edges(wiring) == []
    assert wiring.node_of(End("S")) is None


def test_nothing_is_joined_that_is_expected_apart() -> None:
    link = Component("L1", ComponentKind.LINK, (("1", end_of("A:1")), ("2", end_of("A:2"))))
    assert edges(wired(link, expected=APART)) == []
    assert len(wired(link, expected=APART).nets) == 4


def test_fuses_come_before_parts_that_only_lie_beside_them() -> None:
    """A resistor across a fuse lies inside the net that the fuse makes: of the two the fuse is what opens."""
    fuse = Component("F1", ComponentKind.FUSE, (("1", end_of("A:1")), ("2", end_of("A:2"))))
    wiring = wired(resistor("R1", "A:1", "A:2", 470.0), fuse, expected=ONE)
    assert edges(wiring) == [("F1", TABLE.blown_fuse)]


def test_an_untested_cavity_is_an_inner_node() -> None:
    expected = nets("B:1 C:1", "A:2 B:2", "A:3 B:3", "A:5 C:2")
    wiring = wiring_of(LOOM, expected, TABLE)
    assert End("A", "1") not in wiring.leaf_of
    node = wiring.node_of(End("A", "1"))
    assert node is not None
    assert node >= wiring.leaf_count
    assert not wiring.is_splice(node)
    assert wiring.side(0, wiring.inner_of[End("S1")]) == []


def test_the_table_of_costs_says_why() -> None:
    rows = weight_table()
    assert len({row.name for row in rows}) == len(rows)
    assert all(row.reason and row.cost >= 0 for row in rows)
    assert all(getattr(TABLE, row.name) == row.cost for row in rows)
