"""Which pairs of a net are read: a minimum spanning tree of networkx's, and what a loop asks for besides."""

from __future__ import annotations

import random
from itertools import combinations
from typing import Any

import networkx as nx
import pytest

from loomproof.bench.seam import Capabilities
from loomproof.electrics.conductors import RESISTIVE_OHM, wire_conductor
from loomproof.electrics.expectation import Expectation, expect
from loomproof.electrics.readings import readings_of
from loomproof.loom.model import ComponentKind, End, end_of, ends_of

from .looms import loom_of, part, random_loom


def far_apart(expectation: Expectation, net: int) -> dict[End, dict[End, float]]:
    graph: nx.Graph[End] = nx.Graph()
    graph.add_nodes_from(expectation.nets[net].ends)
    for a, b, conductor in expectation.conductors.get(net, ()):
        known = graph.get_edge_data(a, b, {"ohm": float("inf")})
        graph.add_edge(a, b, ohm=min(known["ohm"], conductor.nominal_ohm))
    found: Any = nx.all_pairs_dijkstra_path_length(graph, weight="ohm")
    return dict(found)


@pytest.mark.parametrize("seed", range(12))
def test_pairs_are_a_minimum_spanning_tree_by_the_wires_between(seed: int) -> None:
    """Where a loop asks for more, these come besides."""
    loom = random_loom(random.Random(f"tree {seed}"), nets=3, cavities=18, parts=2)
    expectation = expect(loom)
    order = {end: k for k, end in enumerate(loom.cavities)}
    for net in expectation.nets:
        found = readings_of(expectation, net.index)
        if len(net.cavities) < 2:
            assert found.pairs == ()
            continue
        far = far_apart(expectation, net.index)
        whole: nx.Graph[End] = nx.Graph()
        whole.add_weighted_edges_from((a, b, far[a][b]) for a, b in combinations(net.cavities, 2))
        least = nx.minimum_spanning_tree(whole).size(weight="weight")
        first = found.pairs[: len(net.cavities) - 1]
        tree: nx.Graph[End] = nx.Graph()
        tree.add_edges_from(first)
        assert nx.is_tree(tree)
        assert set(tree) == set(net.cavities)
        assert sum(far[a][b] for a, b in first) == pytest.approx(least)
        assert all(order[a] < order[b] for a, b in found.pairs)
        places = [(order[a], order[b]) for a, b in first]
        assert places == sorted(places)
        assert len(set(found.pairs)) == len(found.pairs)


@pytest.mark.parametrize(
    ("wires", "pairs", "hidden"),
    [
        ("W1 A:1 B:1 1m 1mm2", "A:1-B:1", ""),
        ("W1 A:1 S 1m 1mm2\nW2 B:1 S 1m 1mm2", "A:1-B:1", ""),
        ("W1 A:1 S 1m 1mm2\nW2 B:1 S 1m 1mm2\nW3 C:1 S 9m 1mm2", "A:1-B:1 A:1-C:1", ""),
        ("W1 A:1 S 5m 1mm2\nW2 B:1 S 1m 1mm2\nW3 C:1 S 9m 1mm2", "A:1-B:1 B:1-C:1", ""),
        ("W1 A:1 B:1 1m 1mm2\nW2 B:1 S", "A:1-B:1", "W2"),
        ("W1 A:1 B:1 1m 1mm2\nW2 B:1 S\nW3 S T", "A:1-B:1", "W2 W3"),
        ("W1 A:1 B:1 1m 1mm2\nW2 A:1 B:1 1m 1mm2", "A:1-B:1", "W1 W2"),
        ("W1 A:1 S\nW2 S T", "", "W1 W2"),
    ],
)
def test_what_is_read_and_what_no_reading_shows(wires: str, pairs: str, hidden: str) -> None:
    """A wire that leads to no cavity, or lies beside another, shows in none; by hand."""
    expectation = expect(loom_of(wires))
    found = readings_of(expectation, expectation.net_of[end_of("A:1")])
    told = [tuple(pair.split("-")) for pair in pairs.split()]
    asked = [(str(a), str(b)) for a, b in found.pairs]
    assert asked == told
    assert found.hidden == tuple(hidden.split())


def test_a_fuse_that_hides_is_no_wire() -> None:
    """A fuse beside a wire: both are in the net, and only the wire is told as hidden."""
    fuse = part(ComponentKind.FUSE, "F1", "A:1", "B:1", 0.0077)
    expectation = expect(loom_of("W1 A:1 B:1 1m 1mm2", (fuse,)))
    assert readings_of(expectation, 0).hidden == ("W1",)
    assert readings_of(expectation, 0).pairs == (ends_of("A:1 B:1"),)


def test_more_than_a_bench_calls_clear_is_open() -> None:
    """What hangs together through a joint reads less than what a bench's sense calls clear."""
    assert Capabilities(1).clear_ohm == RESISTIVE_OHM
    loom = loom_of("W1 A:1 B:1 1000m 0.5mm2")
    assert wire_conductor(loom.wires[0], loom).greatest_ohm < RESISTIVE_OHM
