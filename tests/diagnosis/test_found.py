"""The wiring as found against networkx: which conductor each end hangs on, and what parts join."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import networkx as nx
import pytest

from loomproof.diagnosis.faults import Righted
from loomproof.diagnosis.found import Found, found_wiring, parts_as_found, read_ends
from loomproof.diagnosis.weights import weights
from loomproof.diagnosis.wiring import wiring_of
from loomproof.loom.model import Component, ComponentKind, Connector, ConnectorKind, End, Loom, end_of
from loomproof.results.measured import Decision, Judged, Measured
from tests.diagnosis.injector import Bench, random_loom
from tests.diagnosis.test_wiring_faults import LOOM, plug

TABLE = weights()


def plain(loom: Loom, righted: Righted | None = None, judged: Sequence[Judged] = ()) -> Found:
    expected = Bench(loom).build()
    wiring = wiring_of(loom, expected, TABLE)
    measured = Measured(expected, expected, complete=True, judged=tuple(judged))
    return found_wiring(
        loom, wiring, measured, wiring.net_of, righted or Righted(labels=tuple(wiring.net_of))
    )


@pytest.mark.parametrize("seed", range(10))
def test_every_end_hangs_on_what_it_is_joined_to(seed: int) -> None:
    """Edges and splices taken out at random: what hangs together is what networkx says."""
    rng = random.Random(f"flood {seed}")
    loom = random_loom(rng, 30)
    expected = Bench(loom).build()
    wiring = wiring_of(loom, expected, TABLE)
    cut = frozenset(rng.sample(range(len(wiring.edges)), 4))
    splices = [n for n in range(len(wiring.node_ends)) if wiring.is_splice(n)]
    broken = frozenset(rng.sample(splices, min(1, len(splices))))
    graph: nx.Graph[int] = nx.Graph()
    graph.add_nodes_from(range(len(wiring.node_ends)))
    for k, edge in enumerate(wiring.edges):
        if k not in cut and not {edge.u, edge.v} & broken:
            graph.add_edge(edge.u, edge.v)
    labels = [-1] * wiring.leaf_count
    home: dict[int, int] = {}
    for number, piece in enumerate(nx.connected_components(graph)):
        for node in piece:
            home[node] = number
            if node < wiring.leaf_count:
                labels[node] = number
    found = found_wiring(
        loom,
        wiring,
        Measured(expected, expected, complete=True),
        labels,
        Righted(tuple(labels), (), cut, broken),
    )
    assert found.group_at(wiring.leaf_ends[0]) == labels[0]
    reached = {label for label in labels if label >= 0}
    for end in (*loom.cavities, *loom.splices):
        at = wiring.node_of(end)
        if at is None or at in broken:
            continue
        assert found.group_at(end) == (home[at] if home[at] in reached else None), end
    for _ in range(20):
        a, b = rng.sample(range(wiring.leaf_count), 2)
        one, other = wiring.leaf_ends[a], wiring.leaf_ends[b]
        assert found.joined(one, other) == (labels[a] == labels[b])
        assert found.alone(one) == (labels.count(labels[a]) == 1)
        path = wiring.path(a, b)
        way = found.way(one, other)
        if (
            path is None
            or set(path) & cut
            or {n for k in path for n in (wiring.edges[k].u, wiring.edges[k].v)} & broken
        ):
            assert way is None
        else:
            assert way == path


def test_what_nothing_is_known_of_hangs_on_nothing() -> None:
    """A leaf without a label takes the group of what it is joined to, and none where it is by itself."""
    wiring = plain(LOOM).wiring
    labels = list(wiring.net_of)
    for text in ("A:1", "A:4"):
        labels[wiring.leaf_of[end_of(text)]] = -1
    found = plain(LOOM, Righted(tuple(labels)))
    assert (
        found.group_at(end_of("A:1"))
        == found.group_at(end_of("B:1"))
        == labels[wiring.leaf_of[end_of("B:1")]]
    )
    assert found.group_at(end_of("A:4")) is None


def test_what_is_not_tested_is_joined_to_nothing() -> None:
    found = plain(LOOM)
    assert not found.joined(End("X", "1"), End("X", "2"))
    assert not found.joined(End("A", "1"), End("X", "2"))
    assert not found.alone(End("X", "1"))
    assert found.place_of(End("X", "1")) is None
    assert found.group_at(End("X", "1")) is None
    assert found.way(End("A", "1"), End("A", "2")) is None


def test_what_moved_has_its_place_where_it_belongs() -> None:
    wiring = plain(LOOM).wiring
    a2, a3 = (wiring.leaf_of[End("A", name)] for name in "23")
    labels = tuple(wiring.net_of)
    found = plain(LOOM, Righted(labels, ((a2, a3), (a3, a2))))
    assert found.place_of(End("A", "2")) == a3
    assert found.place_of(End("A", "3")) == a2
    assert not found.at_home(End("A", "2"))
    assert found.at_home(End("A", "1"))
    assert found.at_home(End("B", "1"))


SINGLE = Loom("parts", connectors=(plug("A", "0 1 2 3 4 5"), Connector("Z", ConnectorKind.SPLICE)))


def part(kind: ComponentKind, name: str, a: int, b: int, ohm: float | None = None, **more: Any) -> Component:
    pins = ("A", "K") if kind is ComponentKind.DIODE else ("1", "2")
    return Component(
        name, kind, tuple(zip(pins, (End("A", str(a)), End("A", str(b))), strict=True)), ohm, **more
    )


def of(*parts: Component, judged: Sequence[Judged] = ()) -> Found:
    """Return six conductors of one cavity each, with these parts between."""
    loom = Loom("parts", connectors=SINGLE.connectors, components=parts)
    expected = tuple(frozenset({end}) for end in loom.cavities)
    wiring = wiring_of(loom, expected, TABLE)
    measured = Measured(expected, expected, complete=True, judged=tuple(judged))
    return found_wiring(loom, wiring, measured, range(6), Righted(labels=tuple(range(6))))


R, D, C = ComponentKind.RESISTOR, ComponentKind.DIODE, ComponentKind.CAPACITOR


@pytest.mark.parametrize("seed", range(10))
def test_chains_of_parts_are_shortest_ways(seed: int) -> None:
    rng = random.Random(f"chains {seed}")
    graph: nx.MultiGraph[int] = nx.MultiGraph()
    steps: nx.DiGraph[int] = nx.DiGraph()
    graph.add_nodes_from(range(6))
    steps.add_nodes_from(range(6))
    parts = []
    for k in range(rng.randint(1, 6)):
        a, b = rng.sample(range(6), 2)
        kind = rng.choice((R, R, R, D, C))
        ohm = round(10 ** rng.uniform(1, 4)) if kind is R else None
        parts.append(part(kind, f"P{k}", a, b, ohm))
        if kind is C:
            continue
        graph.add_edge(a, b, ohm=ohm or 0.0)
        if k:
            steps.add_edge(a, b)
            if kind is R:
                steps.add_edge(b, a)
    found = of(*parts)
    for a in range(6):
        far = nx.single_source_dijkstra_path_length(graph, a, weight="ohm")
        for b in range(6):
            assert found.parts_between(a, b) == (pytest.approx(far[b]) if b in far else None)
            assert found.behind(a, b) == (b in far)
            assert found.leads(a, b, "P0") == nx.has_path(steps, a, b)
        for limit in (0.0, 100.0, 2000.0):
            near = sorted(b for b, ohm in far.items() if b != a and ohm <= limit)
            assert found.within(a, limit) == near
    assert not found.leads(None, 1, "")
    assert not found.leads(1, None, "")


def test_parts_whose_legs_nothing_tested_reaches_join_nothing() -> None:
    """R1 from 0 to a splice that leads nowhere, R2 from another such splice to 1."""
    loom = replace(SINGLE, connectors=(*SINGLE.connectors, Connector("Y", ConnectorKind.SPLICE)))
    parts = (
        Component("R1", R, (("1", End("A", "0")), ("2", End("Z"))), 10.0),
        Component("R2", R, (("1", End("Y")), ("2", End("A", "1"))), 10.0),
    )
    loom = replace(loom, components=parts)
    expected = tuple(frozenset({end}) for end in loom.cavities)
    wiring = wiring_of(loom, expected, TABLE)
    found = found_wiring(
        loom,
        wiring,
        Measured(expected, expected, complete=True),
        range(6),
        Righted(labels=tuple(range(6))),
    )
    assert not found.leads(0, 1, "")
    assert found.parts_between(0, 1) is None
    assert found.within(0, 1e9) == []


def test_a_part_counts_as_what_it_may_have_or_reads() -> None:
    """A coil of unknown value has 0.3 Ω or more, a fuse nothing; what reads less than it should counts so."""
    assert of(part(ComponentKind.COIL, "L1", 0, 1)).parts_between(0, 1) == 0.3
    assert of(part(R, "R1", 0, 1, 100.0)).parts_between(0, 1) == 100.0
    for read, counts in ((40.0, 40.0), (400.0, 100.0), (math.inf, 100.0)):
        judged = Judged(End("A", "0"), End("A", "1"), read, 1.0, 100.0, 105.0, Decision.FAIL, 95.0, "R1")
        assert of(part(R, "R1", 0, 1, 100.0), judged=[judged]).parts_between(0, 1) == counts


def test_a_relay_is_read_at_its_coil() -> None:
    pins = tuple((pin, End("A", str(k))) for k, pin in enumerate(("30", "87a", "86", "85")))
    relay = Component("K1", ComponentKind.RELAY, pins, 90.0)
    assert read_ends(relay) == (End("A", "2"), End("A", "3"))
    fuse = part(ComponentKind.FUSE, "F1", 0, 1)
    assert read_ends(fuse) == fuse.ends
    assert read_ends(part(R, "R1", 0, 1, 0.5)) == part(R, "R1", 0, 1, 0.5).ends


def test_parts_as_found_lie_between_the_conductors_as_found() -> None:
    relay = Component(
        "K1",
        ComponentKind.RELAY,
        tuple((pin, End("A", str(k))) for k, pin in enumerate(("30", "87a", "86", "85"))),
        90.0,
    )
    outside = Component("R2", R, (("1", End("Z")), ("2", end_of("A:4"))), 470.0)
    found = of(outside, relay)
    couplings, root = parts_as_found(found)
    assert root(0) == root(1), "the resting contact makes one of two"
    assert len({root(k) for k in (0, 2, 3, 4, 5)}) == 5
    by_name = {coupling.component: coupling for coupling in couplings}
    assert {by_name["K1"].net_a, by_name["K1"].net_b} == {root(2), root(3)}
    ends = {by_name["R2"].net_a, by_name["R2"].net_b}
    assert root(4) in ends
    assert not ends & {root(k) for k in (0, 1, 2, 3, 5)}, "what nothing tested reaches is a net of its own"
