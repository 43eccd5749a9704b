"""Nets against networkx, and by hand."""

from __future__ import annotations

import random

import networkx as nx
import pytest

from loomproof.electrics.nets import nets_of
from loomproof.loom.model import ComponentKind, End

from .looms import loom_of, part, random_loom


def test_a_splice_a_fitted_fuse_and_a_lone_cavity() -> None:
    loom = loom_of(
        """
        W1 A:1 S1
        W2 S1 B:01
        W3 B:2 C:1
        """,
        (
            part(ComponentKind.FUSE, "F1", "B:01", "B:2"),
            part(ComponentKind.FUSE, "F2", "C:1", "C:2", fitted=False),
            part(ComponentKind.RESISTOR, "R1", "A:1", "C:2", 10.0),
        ),
        extra="B:1",
    )
    nets = nets_of(loom)
    assert [net.index for net in nets] == [0, 1, 2]
    assert nets[0].cavities == (End("A", "1"), End("B", "01"), End("B", "2"), End("C", "1"))
    assert End("S1") in nets[0].ends
    assert nets[0].wires == ("W1", "W2", "W3")
    assert nets[0].components == ("F1",)
    assert {net.cavities for net in nets[1:]} == {(End("B", "1"),), (End("C", "2"),)}


@pytest.mark.parametrize("seed", range(20))
def test_nets_are_the_connected_components(seed: int) -> None:
    loom = random_loom(random.Random(seed), nets=8, cavities=40)
    graph: nx.Graph[End] = nx.Graph()
    graph.add_nodes_from(end for connector in loom.connectors for end in connector.ends)
    graph.add_edges_from(wire.ends for wire in loom.wires)
    found = nets_of(loom)
    assert {frozenset(net.ends) for net in found} == {frozenset(c) for c in nx.connected_components(graph)}
    assert [name for net in found for name in net.wires].sort() == [w.name for w in loom.wires].sort()
    order = {end: k for k, end in enumerate(loom.cavities)}
    for net in found:
        assert list(net.cavities) == sorted(net.cavities, key=order.__getitem__)
