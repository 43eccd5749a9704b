"""The search against brute force on small looms: every exchange of contacts, every set of things open.

The brute force knows the costs and nothing else of the explainer: fragments come from networkx, the
price of an arrangement of contacts from a shortest-path search over all arrangements.
"""

from __future__ import annotations

import heapq
import itertools
import random
from collections.abc import Sequence
from functools import cache

import networkx as nx
import pytest

from loomproof.diagnosis.search import Explainer
from loomproof.diagnosis.weights import weights
from loomproof.diagnosis.wiring import wiring_of
from loomproof.loom.model import Connector, ConnectorKind, End, Loom, Wire
from tests.diagnosis.injector import Bench

COST = {row: getattr(weights(), row) for row in ("open_wire", "open_splice", "short", "swap", "stray")}


def loom_of(shape: str) -> Loom:
    """Return a loom of six cavities, three in each plug, in one of a few shapes."""
    plugs = [Connector(name, ConnectorKind.PLUG, (("1", "2", "3"),)) for name in "AB"]
    runs = {
        "straight": ["A:1 B:1", "A:2 B:2", "A:3 B:3"],
        "splice": ["A:1 S", "B:1 S", "A:2 S", "A:3 B:3"],
        "two splices": ["A:1 S", "A:2 S", "S T", "B:1 T", "B:2 T"],
        "chain": ["A:1 S", "S B:1", "A:2 B:2"],
        "loop": ["A:1 S", "S T", "S T", "T B:1", "A:2 B:2"],
    }[shape]
    names = sorted({word for run in runs for word in run.split() if ":" not in word})

    def end(word: str) -> End:
        connector, _, cavity = word.partition(":")
        return End(connector, cavity)

    halves = [run.split() for run in runs]
    wires = [Wire(f"W{i}", end(a), end(b)) for i, (a, b) in enumerate(halves)]
    return Loom(
        shape, connectors=(*plugs, *(Connector(n, ConnectorKind.SPLICE) for n in names)), wires=tuple(wires)
    )


@cache
def arrangement_costs(connectors: tuple[str, ...]) -> dict[tuple[int, ...], int]:
    """Return the price of every arrangement of contacts: cheapest sequence of exchanges."""
    start = tuple(range(len(connectors)))
    found = {start: 0}
    queue = [(0, start)]
    while queue:
        cost, state = heapq.heappop(queue)
        if cost > found[state]:
            continue
        for a, b in itertools.combinations(range(len(connectors)), 2):
            after = list(state)
            after[a], after[b] = after[b], after[a]
            price = cost + (COST["swap"] if connectors[a] == connectors[b] else COST["stray"])
            if price < found.get(tuple(after), price + 1):
                found[tuple(after)] = price
                heapq.heappush(queue, (price, tuple(after)))
    return found


def fragment_costs(loom: Loom) -> dict[frozenset[frozenset[int]], int]:
    """Return every way that the loom falls into fragments of cavities, with the cheapest cuts for it."""
    number = {end: i for i, end in enumerate(loom.cavities)}
    runs: dict[frozenset[End], int] = {}
    for wire in loom.wires:
        pair = frozenset(wire.ends)
        runs[pair] = runs.get(pair, 0) + COST["open_wire"]
    pairs = list(runs)
    found: dict[frozenset[frozenset[int]], int] = {}
    for splices in itertools.chain.from_iterable(
        itertools.combinations(loom.splices, k) for k in range(len(loom.splices) + 1)
    ):
        for gone in itertools.chain.from_iterable(
            itertools.combinations(pairs, k) for k in range(len(pairs) + 1)
        ):
            graph: nx.Graph[End] = nx.Graph()
            graph.add_nodes_from(loom.cavities)
            for pair in pairs:
                if pair not in gone and not pair & set(splices):
                    a, b = pair
                    graph.add_edge(a, b)
            cost = sum(runs[p] for p in gone) + COST["open_splice"] * len(splices)
            parts = frozenset(
                frozenset(number[end] for end in part if end in number)
                for part in nx.connected_components(graph)
                if any(end in number for end in part)
            )
            found[parts] = min(cost, found.get(parts, cost))
    return found


def brute_force(loom: Loom, labels: Sequence[int]) -> int:
    arrangements = arrangement_costs(tuple(end.connector for end in loom.cavities))
    groups = len(set(labels))
    best = 10**9
    for parts, cuts in fragment_costs(loom).items():
        cost = cuts + COST["short"] * (len(parts) - groups)
        for state, price in arrangements.items():
            if price + cost < best and all(len({labels[state[i]] for i in part}) == 1 for part in parts):
                best = price + cost
    return best


@pytest.mark.parametrize("shape", ["straight", "splice", "two splices", "chain", "loop"])
def test_no_cheaper_explanation_exists(shape: str) -> None:
    loom = loom_of(shape)
    rng = random.Random(20)
    expected = Bench(loom).build()
    wiring = wiring_of(loom, expected, weights())
    for _ in range(25):
        labels = [rng.randint(0, 4) for _ in loom.cavities]
        pieces = Explainer(wiring, weights()).explain(labels)
        assert all(piece.proved for piece in pieces)
        assert sum(piece.cost for piece in pieces) == brute_force(loom, labels), labels
