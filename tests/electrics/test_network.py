"""The solver against closed forms, exact invariants, exact fractions and networkx.

Closed forms: D. J. Klein and M. Randić, J. Math. Chem. 12 (1993) 81; F. J. van Steenwijk, Am. J. Phys. 66
(1998) 90 for the polyhedra (citation from memory; the values follow exactly from rational inversion, which
`test_values_equal_exact_fractions` repeats); R. M. Foster 1949 for the sum over edges; Cayley's tree count.
"""

from __future__ import annotations

import math
import random
from fractions import Fraction
from typing import Any

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomproof.electrics.network import Floats, Network


def unit(graph: nx.Graph[Any]) -> Network:
    """A network of unit resistors over a graph of any node names."""
    graph = nx.convert_node_labels_to_integers(graph)
    edges = list(graph.edges())
    return Network(len(graph), [a for a, _ in edges], [b for _, b in edges], [1.0] * len(edges))


def all_pairs(network: Network) -> Floats:
    return network.resistances(*np.indices((network.nodes, network.nodes)))


def by_distance(graph: nx.Graph[Any]) -> list[float]:
    """Resistances of a distance-regular graph by distance 1, 2, 3, …; fails where one has two values."""
    graph = nx.convert_node_labels_to_integers(graph)
    pairs = all_pairs(unit(graph))
    far = dict(nx.all_pairs_shortest_path_length(graph))
    found: dict[int, float] = {}
    for a in graph:
        for b in graph:
            if a != b:
                assert found.setdefault(far[a][b], pairs[a, b]) == pytest.approx(pairs[a, b], abs=1e-12)
    return [found[d] for d in sorted(found)]


@pytest.mark.parametrize(
    ("graph", "expected"),
    [
        (nx.tetrahedral_graph(), "1/2"),
        (nx.cubical_graph(), "7/12 3/4 5/6"),
        (nx.octahedral_graph(), "5/12 1/2"),
        (nx.dodecahedral_graph(), "19/30 9/10 16/15 17/15 7/6"),
        (nx.icosahedral_graph(), "11/30 7/15 1/2"),
        (nx.petersen_graph(), "3/5 4/5"),
        (nx.complete_bipartite_graph(3, 3), "5/9 2/3"),
        (nx.hypercube_graph(4), "15/32 7/12 61/96 2/3"),
        (nx.cycle_graph(6), "5/6 4/3 3/2"),
        (nx.cycle_graph(8), "7/8 3/2 15/8 2"),
    ],
)
def test_symmetric_graphs_have_their_published_resistances(graph: nx.Graph[Any], expected: str) -> None:
    assert by_distance(graph) == pytest.approx(
        [float(Fraction(text)) for text in expected.split()], abs=1e-12
    )


@pytest.mark.parametrize("n", range(2, 40))
def test_complete_graph_is_two_over_n_and_cycle_and_path_have_theirs(n: int) -> None:
    assert by_distance(nx.complete_graph(n)) == pytest.approx([2 / n], abs=1e-12)
    if n > 2:
        cycle = [d * (n - d) / n for d in range(1, n // 2 + 1)]
        assert by_distance(nx.cycle_graph(n)) == pytest.approx(cycle, abs=1e-12)
    assert unit(nx.path_graph(n)).resistances([0] * n, range(n)) == pytest.approx(list(range(n)), abs=1e-12)


def test_grids_and_a_wheel() -> None:
    three = unit(nx.grid_2d_graph(3, 3))
    assert three.resistance(0, 1) == pytest.approx(17 / 24)
    assert three.resistance(0, 8) == pytest.approx(3 / 2)
    four = unit(nx.grid_2d_graph(4, 4))
    assert four.resistance(0, 1) == pytest.approx(157 / 224)
    assert four.resistance(0, 15) == pytest.approx(13 / 7)
    assert unit(nx.wheel_graph(6)).resistance(0, 1) == pytest.approx(5 / 11)


@pytest.mark.parametrize(
    ("ohms", "expected"),
    [
        ((1, 1, 1, 1, 1), Fraction(1)),
        ((1, 2, 3, 6, 5), Fraction(9, 4)),
        ((2, 1, 1, 2, 1), Fraction(7, 5)),
        ((1, 2, 3, 4, 5), Fraction(155, 74)),
        ((10, 20, 30, 40, 50), Fraction(775, 37)),
    ],
)
def test_bridge(ohms: tuple[int, ...], expected: Fraction) -> None:
    # Nodes A 0, B 1, C 2, D 3; A-C, C-B, A-D, D-B, C-D.
    bridge = Network(4, [0, 2, 0, 3, 2], [2, 1, 3, 1, 3], [float(ohm) for ohm in ohms])
    assert bridge.resistance(0, 1) == pytest.approx(float(expected), abs=1e-12)
    if ohms[0] * ohms[3] == ohms[1] * ohms[2]:
        assert bridge.currents([0], [1])[4, 0] == pytest.approx(0.0, abs=1e-12)


def test_ladder_goes_to_the_golden_ratio() -> None:
    expected = ["2", "5/3", "13/8", "34/21", "89/55", "233/144"]
    for rungs in range(1, 30):
        # Node 0 is earth; each section is a series resistor, then a shunt to earth.
        tails = list(range(1, rungs + 1)) + [0] * rungs
        heads = [k + 1 for k in range(1, rungs + 1)] + [k + 1 for k in range(1, rungs + 1)]
        found = Network(rungs + 2, tails, heads, [1.0] * (2 * rungs)).resistance(1, 0)
        if rungs <= len(expected):
            assert found == pytest.approx(float(Fraction(expected[rungs - 1])), abs=1e-12)
    assert found == pytest.approx((1 + math.sqrt(5)) / 2, abs=1e-10)


def test_middle_of_a_big_grid_nears_the_infinite_grid() -> None:
    # Atkinson and van Steenwijk, Am. J. Phys. 67 (1999) 486, table I: 1/2 and 2/π.
    n = 25
    grid = unit(nx.grid_2d_graph(n, n))
    middle = (n // 2) * n + n // 2
    assert grid.resistance(middle, middle + 1) == pytest.approx(0.5, abs=6e-3)
    assert grid.resistance(middle, middle + n + 1) == pytest.approx(2 / math.pi, abs=1e-2)


def random_network(seed: int, nodes: int) -> tuple[Network, nx.MultiGraph[int]]:
    rng = random.Random(seed)
    tails, heads, ohms = [], [], []
    for k in range(1, nodes + rng.randrange(1, nodes + 1)):
        a, b = (k, rng.randrange(k)) if k < nodes else rng.sample(range(nodes), 2)
        tails.append(a)
        heads.append(b)
        ohms.append(10 ** rng.uniform(-3, 1))
    graph: nx.MultiGraph[int] = nx.MultiGraph()
    graph.add_nodes_from(range(nodes))
    for a, b, ohm in zip(tails, heads, ohms, strict=True):
        graph.add_edge(a, b, ohm=ohm)
    return Network(nodes, tails, heads, ohms), graph


@pytest.mark.parametrize(("seed", "nodes"), [(s, n) for s in range(4) for n in (2, 5, 17, 60)])
def test_all_pairs_equal_networkx(seed: int, nodes: int) -> None:
    """With 2 nodes by elimination, else dense; both ways face the same judge."""
    ours, graph = random_network(seed, nodes)
    pairs = all_pairs(ours)
    theirs: Any = nx.resistance_distance(graph, weight="ohm")
    for a in range(nodes):
        for b in range(nodes):
            assert pairs[a, b] == pytest.approx(theirs[a][b], rel=1e-9, abs=1e-12)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.integers(2, 12))
def test_invariants_hold_on_every_net(seed: int, nodes: int) -> None:
    """Foster's sum, the triangle inequality, the Kirchhoff sum over eigenvalues, Rayleigh's monotonicity."""
    ours, _ = random_network(seed, nodes)
    pairs = all_pairs(ours)
    assert ours.edge_ratio.sum() == pytest.approx(nodes - 1, rel=1e-9)
    for k in range(nodes):
        assert (pairs <= pairs[:, [k]] + pairs[[k], :] + 1e-9).all()
    laplacian = np.zeros((nodes, nodes))
    for a, b, ohm in zip(ours.tails, ours.heads, ours.ohms, strict=True):
        laplacian[[a, b], [a, b]] += 1 / ohm
        laplacian[[a, b], [b, a]] -= 1 / ohm
    eigenvalues = np.linalg.eigvalsh(laplacian)[1:]
    assert pairs.sum() / 2 == pytest.approx(nodes * (1 / eigenvalues).sum(), rel=1e-8)
    more = Network(
        nodes, [*ours.tails.tolist(), 0], [*ours.heads.tolist(), nodes - 1], [*ours.ohms.tolist(), 0.1]
    )
    assert (all_pairs(more) <= pairs * (1 + 1e-9) + 1e-9).all()


def test_share_of_spanning_trees() -> None:
    """g R of an edge is the share of (weighted) spanning trees that use it; counted by determinants."""
    ours, _ = random_network(3, 7)

    def trees(ohms: list[float]) -> float:
        matrix = np.zeros((7, 7))
        for a, b, ohm in zip(ours.tails, ours.heads, ohms, strict=True):
            if a != b:
                matrix[[a, b], [a, b]] += 1 / ohm
                matrix[[a, b], [b, a]] -= 1 / ohm
        return float(np.linalg.det(matrix[:-1, :-1]))

    ohms = ours.ohms.tolist()
    for k in range(len(ohms)):
        without = trees([math.inf if e == k else ohm for e, ohm in enumerate(ohms)])
        assert ours.edge_ratio[k] == pytest.approx(1 - without / trees(ohms), rel=1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_values_equal_exact_fractions(seed: int) -> None:
    """Rational elimination of the grounded Laplacian, for a net of small-integer resistances."""
    rng = random.Random(seed)
    nodes = 8
    edges = [(k, rng.randrange(k), rng.randrange(1, 9)) for k in range(1, nodes)]
    for _ in range(6):
        a, b = rng.sample(range(nodes), 2)
        edges.append((a, b, rng.randrange(1, 9)))
    matrix = [[Fraction(0)] * nodes for _ in range(nodes)]
    for a, b, ohm in edges:
        matrix[a][a] += Fraction(1, ohm)
        matrix[b][b] += Fraction(1, ohm)
        matrix[a][b] -= Fraction(1, ohm)
        matrix[b][a] -= Fraction(1, ohm)
    ours = Network(nodes, [e[0] for e in edges], [e[1] for e in edges], [float(e[2]) for e in edges])
    for a in range(nodes - 1):
        assert ours.resistance(a, nodes - 1) == pytest.approx(float(exact(matrix, a)), rel=1e-12)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.integers(3, 10))
def test_sensitivity_is_the_derivative_and_removal_is_removal(seed: int, nodes: int) -> None:
    ours, graph = random_network(seed, nodes)
    a, b = random.Random(seed).sample(range(nodes), 2)
    share = ours.currents([a], [b])[:, 0] ** 2
    removed = ours.without([a], [b])[:, 0]
    for k in range(ours.ohms.size):
        step = ours.ohms[k] * 1e-3
        ends = ours.tails, ours.heads
        up = Network(nodes, *ends, ours.ohms + step * (np.arange(ours.ohms.size) == k)).resistance(a, b)
        down = Network(nodes, *ends, ours.ohms - step * (np.arange(ours.ohms.size) == k)).resistance(a, b)
        assert (up - down) / (2 * step) == pytest.approx(share[k], rel=1e-4, abs=1e-5)
        rest = graph.copy()
        tail, head = int(ours.tails[k]), int(ours.heads[k])
        key = next(key for key, ohm in rest[tail][head].items() if ohm["ohm"] == ours.ohms[k])
        rest.remove_edge(tail, head, key)
        if nx.has_path(rest, a, b):
            inside = nx.node_connected_component(rest, a)
            expected = nx.resistance_distance(rest.subgraph(inside), a, b, weight="ohm")
            assert removed[k] == pytest.approx(expected, rel=1e-7, abs=1e-10)
        else:
            assert math.isinf(removed[k])


@pytest.mark.parametrize("nodes", [3, 8, 9, 20])
def test_a_wire_from_a_node_to_itself_carries_nothing(nodes: int) -> None:
    """Of few nodes by elimination, of more by the dense inverse."""
    ours, graph = random_network(11, nodes)
    looped = Network(
        nodes,
        [*ours.tails.tolist(), 1],
        [*ours.heads.tolist(), 1],
        [*ours.ohms.tolist(), float(ours.ohms.min())],
    )
    expected: Any = nx.resistance_distance(graph, 0, nodes - 1, weight="ohm")
    assert looped.resistance(0, nodes - 1) == pytest.approx(expected, rel=1e-9)
    assert looped.currents([0], [nodes - 1])[-1, 0] == 0.0


def test_what_is_no_network_is_refused() -> None:
    with pytest.raises(ValueError, match="above 0"):
        Network(2, [0], [1], [0.0])
    with pytest.raises(ValueError, match="not connected"):
        Network(3, [0], [1], [1.0]).resistance(0, 1)


def test_a_big_net_with_few_loops_goes_by_elimination_and_equals_a_direct_solve() -> None:
    rng = random.Random(4)
    nodes = 700
    edges = [(k, rng.randrange(max(0, k - 5), k), rng.uniform(0.01, 0.1)) for k in range(1, nodes)]
    edges += [(k, k + 300, rng.uniform(0.01, 0.1)) for k in range(0, 300, 30)]
    laplacian = np.zeros((nodes, nodes))
    for a, b, ohm in edges:
        laplacian[[a, b], [a, b]] += 1 / ohm
        laplacian[[a, b], [b, a]] -= 1 / ohm
    ours = Network(nodes, [e[0] for e in edges], [e[1] for e in edges], [e[2] for e in edges])
    for a, b in [(3, 0), (650, 0), (120, 0)]:
        volts = np.linalg.solve(laplacian[1:, 1:], np.eye(nodes)[1:, a])
        assert ours.resistance(a, b) == pytest.approx(volts[a - 1], rel=1e-9)


@pytest.mark.parametrize("seed", range(10))
def test_milliohms_and_megohms_together_keep_their_digits(seed: int) -> None:
    """Against exact fractions, with twelve powers of ten between the resistances."""
    rng = random.Random(seed)
    nodes = 9
    edges = [(k, rng.randrange(k), 10.0 ** rng.randrange(-4, 8)) for k in range(1, nodes)]
    for _ in range(5):
        a, b = rng.sample(range(nodes), 2)
        edges.append((a, b, 10.0 ** rng.randrange(-4, 8)))
    ours = Network(nodes, [e[0] for e in edges], [e[1] for e in edges], [e[2] for e in edges])
    matrix = [[Fraction(0)] * nodes for _ in range(nodes)]
    for a, b, ohm in edges:
        siemens = 1 / Fraction(ohm)
        for i, j, sign in ((a, a, 1), (b, b, 1), (a, b, -1), (b, a, -1)):
            matrix[i][j] += sign * siemens
    for a in range(nodes - 1):
        assert ours.inverse[a, a] == pytest.approx(float(exact(matrix, a)), rel=1e-12)


def exact(matrix: list[list[Fraction]], a: int) -> Fraction:
    """Resistance between node ``a`` and the last one, by Gauss and Jordan in fractions."""
    kept = len(matrix) - 1
    rows = [[*matrix[r][:kept], Fraction(int(r == a))] for r in range(kept)]
    for k in range(kept):
        swap = next(r for r in range(k, kept) if rows[r][k])
        rows[k], rows[swap] = rows[swap], rows[k]
        rows[k] = [value / rows[k][k] for value in rows[k]]
        for r in range(kept):
            if r != k:
                rows[r] = [x - rows[r][k] * y for x, y in zip(rows[r], rows[k], strict=True)]
    return rows[a][-1]
