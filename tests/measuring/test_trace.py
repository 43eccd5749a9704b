"""The resistors behind measured resistances, against a nodal solve written down here."""

from __future__ import annotations

import random
from itertools import combinations
from typing import Any

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomproof.measuring.traced_parts import resistors


def test_a_triangle_worked_by_hand() -> None:
    """Three resistors of 300 Ω in a triangle: each pair reads 300 ∥ 600 = 200 Ω."""
    ohms = {(i, j): 200.0 for i in range(3) for j in range(3) if i != j}
    found = resistors([0, 1, 2], ohms)
    assert [(i, j) for i, j, _ in found] == [(0, 1), (0, 2), (1, 2)]
    assert [ohm for *_, ohm in found] == pytest.approx([300, 300, 300])


@given(st.integers(0, 2**32), st.integers(2, 7))
@settings(max_examples=100, deadline=None)
def test_resistors_come_back_from_resistance_distances(seed: int, nodes: int) -> None:
    """Oracle: networkx `resistance_distance`, and the network it was given."""
    rng = random.Random(seed)
    graph: nx.Graph[int] = nx.Graph()
    graph.add_nodes_from(range(nodes))
    for k in range(1, nodes):
        graph.add_edge(k, rng.randrange(k), ohm=rng.choice([100.0, 220.0, 330.0, 1000.0]))
    for a, b in combinations(range(nodes), 2):
        if rng.random() < 0.3 and not graph.has_edge(a, b):
            graph.add_edge(a, b, ohm=rng.choice([100.0, 220.0, 330.0]))
    distances: Any = nx.resistance_distance(graph, weight="ohm")
    ohms = {(a, b): distances[a][b] for a in range(nodes) for b in range(nodes) if a != b}
    found = resistors(list(range(nodes)), ohms)
    assert {(i, j) for i, j, _ in found} <= {(min(e), max(e)) for e in graph.edges}
    for i, j, ohm in found:
        assert ohm == pytest.approx(graph.edges[i, j]["ohm"], rel=1e-6)
    missed = [e for e in graph.edges if tuple(sorted(e)) not in {(i, j) for i, j, _ in found}]
    assert all(ohms[a, b] / graph.edges[a, b]["ohm"] <= 0.05 + 1e-9 for a, b in missed)
    assert np.isfinite(list(ohms.values())).all()
