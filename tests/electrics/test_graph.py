"""Our small graph tools against networkx: random graphs, drawn by hypothesis."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomproof.electrics.bridges import partings
from loomproof.electrics.graph import DisjointSets, distances, reachable, reached, united, ways

NODES = st.integers(0, 11)
EDGES = st.lists(st.tuples(NODES, NODES), max_size=25)


def graph_of(edges: list[tuple[int, int]]) -> nx.Graph[int]:
    graph: nx.Graph[int] = nx.Graph()
    graph.add_nodes_from(range(12))
    graph.add_edges_from(edges)
    return graph


@given(EDGES)
@settings(max_examples=200, deadline=None)
def test_disjoint_sets_are_connected_components(edges: list[tuple[int, int]]) -> None:
    found = DisjointSets(range(12), edges).sets()
    assert {frozenset(one) for one in found} == set(map(frozenset, nx.connected_components(graph_of(edges))))
    assert [one[0] for one in found] == sorted(one[0] for one in found)
    assert all(one == sorted(one) for one in found)


@given(EDGES)
@settings(max_examples=100, deadline=None)
def test_joining_says_whether_there_were_two_and_makes_a_spanning_forest(
    edges: list[tuple[int, int]],
) -> None:
    sets, kept = DisjointSets(range(12)), 0
    for a, b in edges:
        known = sets.root(a) == sets.root(b)
        assert sets.join(a, b) is not known
        assert sets.root(a) == sets.root(b)
        kept += not known
    assert kept == 12 - nx.number_connected_components(graph_of(edges))


def test_an_item_in_no_set_is_refused() -> None:
    with pytest.raises(KeyError):
        DisjointSets([1, 2]).join(1, 3)


@given(st.lists(st.sets(NODES, max_size=4), max_size=12))
@settings(max_examples=200, deadline=None)
def test_groups_that_share_an_item_are_one(groups: list[set[int]]) -> None:
    graph: nx.Graph[int] = nx.Graph()
    for group in groups:
        nx.add_path(graph, sorted(group))
    found = united(groups)
    assert {frozenset(one) for one in found} == set(map(frozenset, nx.connected_components(graph)))
    firsts = [next(k for k, group in enumerate(groups) if group & set(one)) for one in found]
    assert firsts == sorted(firsts)


@given(EDGES, st.sets(NODES, min_size=1, max_size=3))
@settings(max_examples=200, deadline=None)
def test_what_is_reached_along_directed_steps_and_how_far(
    edges: list[tuple[int, int]], starts: set[int]
) -> None:
    graph: nx.DiGraph[int] = nx.DiGraph()
    graph.add_nodes_from(range(12))
    graph.add_edges_from(edges)
    far = dict(nx.multi_source_dijkstra_path_length(graph, starts))
    assert reachable(starts, edges) == set(far)
    order = reached(starts, lambda node: list(graph.successors(node)))
    assert sorted(order) == sorted(far)
    assert [far[node] for node in order] == sorted(far.values())
    found = dict(ways(starts, lambda node: [(there, (node, there)) for there in graph.successors(node)]))
    assert {node: len(way) for node, way in found.items()} == far
    for node, way in found.items():
        assert set(way) <= set(edges)
        assert (way[-1][1] if way else node) == node
        assert (way[0][0] if way else node) in starts
        assert all(one[1] == other[0] for one, other in pairwise(way))


@given(EDGES)
@settings(max_examples=200, deadline=None)
def test_edges_that_part_a_graph_are_its_bridges(edges: list[tuple[int, int]]) -> None:
    edges = [(a, b) for a, b in dict.fromkeys((min(e), max(e)) for e in edges) if a != b]
    graph, found = graph_of(edges), partings(edges)
    told: Any = nx.bridges(graph)  # its stub says a node where an edge comes
    bridges = set(map(frozenset, told))
    for k, edge in enumerate(edges):
        assert found.parts(k, edge) == (frozenset(edge) in bridges)


@given(
    st.lists(st.tuples(NODES, NODES, st.integers(0, 9)), max_size=25), st.sets(NODES, min_size=1, max_size=3)
)
@settings(max_examples=200, deadline=None)
def test_how_far_is_the_shortest_way(edges: list[tuple[int, int, int]], starts: set[int]) -> None:
    graph: nx.MultiDiGraph[int] = nx.MultiDiGraph()
    graph.add_nodes_from(range(12))
    graph.add_weighted_edges_from(edges)
    found = distances(starts, lambda node: [(b, float(far)) for a, b, far in edges if a == node])
    assert found == nx.multi_source_dijkstra_path_length(graph, starts)
    assert list(found.values()) == sorted(found.values())
