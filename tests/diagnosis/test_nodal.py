"""The oracle of the diagnosis campaign, held against hand-worked circuits and networkx."""

from __future__ import annotations

import itertools
import random

import networkx as nx
import pytest

from loomproof.loom.model import Component, ComponentKind, Connector, ConnectorKind, End, Loom, Wire
from tests.diagnosis.injector import Bench, Injected, place, random_faults, random_loom
from tests.diagnosis.nodal import Readings, network
from tests.diagnosis.oracle import judge


def end(text: str) -> End:
    connector, cavity = text.split(":")
    return End(connector, cavity)


def plug(name: str, count: int) -> Connector:
    return Connector(name, ConnectorKind.PLUG, (tuple(str(i + 1) for i in range(count)),), housing="same")


def wire(name: str, a: str, b: str, length_m: float = 1.0) -> Wire:
    return Wire(name, end(a), end(b), "BK", 0.5, length_m)


def resistor(name: str, a: str, b: str, ohm: float, tolerance_pct: float = 5.0) -> Component:
    return Component(name, ComponentKind.RESISTOR, (("1", end(a)), ("2", end(b))), ohm, tolerance_pct)


def diode(a: str, b: str) -> Component:
    return Component("D1", ComponentKind.DIODE, (("A", end(a)), ("K", end(b))), forward_v=0.6)


LOOM = Loom(
    "two plugs",
    connectors=(plug("A", 5), plug("B", 5)),
    wires=tuple(wire(f"W{i}", f"A:{i}", f"B:{i}") for i in (1, 2, 3, 4)),
    components=(resistor("R1", "A:1", "A:2", 1000.0),),
)


def twin(length_m: float) -> Loom:
    wires = (("W1", "A:1", "B:1"), ("W2", "A:1", "B:1"), ("W3", "A:2", "B:2"))
    return Loom(
        "a wire beside a wire",
        connectors=(plug("A", 2), plug("B", 2)),
        wires=tuple(wire(*each, length_m) for each in wires),
    )


TWIN = twin(0.2)
LONG_TWIN = twin(3.0)
"""Beside a long wire an open shows as more ohms, too few for this bench to be sure of."""


def test_a_bridge_reads_as_worked_by_hand() -> None:
    """An unbalanced bridge, 1 V at s and 0 V at t, its two nodal equations solved by Cramer's rule."""
    ohm = {"A:1 A:3": 100.0, "A:1 A:4": 200.0, "A:3 A:4": 500.0, "A:3 A:2": 300.0, "A:4 A:2": 400.0}
    parts = tuple(
        resistor(f"R{ends}", ends[:3], ends[4:], value, tolerance_pct=0.0) for ends, value in ohm.items()
    )
    readings = Readings(network(Loom("bridge", connectors=(plug("A", 4),), components=parts)))
    a11, a12, b1 = 1 / 100 + 1 / 500 + 1 / 300, -1 / 500, 1 / 100
    a22, b2 = 1 / 200 + 1 / 500 + 1 / 400, 1 / 200
    x = (b1 * a22 - b2 * a12) / (a11 * a22 - a12 * a12)
    y = (a11 * b2 - a12 * b1) / (a11 * a22 - a12 * a12)
    by_hand = 1 / ((1 - x) / 100 + (1 - y) / 200)
    least, most = readings.between(end("A:1"), end("A:2"))
    assert least == pytest.approx(by_hand, rel=1e-6)
    assert most == pytest.approx(by_hand + 2 * 0.010, rel=1e-6)  # a contact of 10 mΩ at each end


def test_a_metre_of_wire_lies_between_solid_copper_and_the_greatest_of_the_standard() -> None:
    """0.5 mm²: 34.48 mΩ/m at 58 MS/m (IEC publication 28), 39.0 mΩ/m at most (IEC 60228 class 5)."""
    least, most = Readings(network(LOOM)).between(end("A:3"), end("B:3"))
    assert least == pytest.approx(0.03448, abs=1e-5)
    assert most == pytest.approx(0.0390 + 2 * 0.005 + 2 * 0.010, abs=1e-6)


def test_resistances_are_those_of_networkx() -> None:
    rng = random.Random(5)
    loom = random_loom(rng, 60)
    net = network(loom, random_faults(rng, loom, 4))
    readings = Readings(net)
    graph: nx.MultiGraph[tuple[str, str, str]] = nx.MultiGraph()
    for element in net.elements:
        graph.add_edge(element.u, element.v, ohm=element.most_ohm)
    compared = 0
    for nodes in nx.connected_components(graph):
        touched = sorted(End(c, cavity) for what, c, cavity in nodes if what == "place")[:3]
        island: nx.Graph[tuple[str, str, str]] = nx.Graph()
        for u, v, data in graph.subgraph(nodes).edges(data=True):
            siemens = 1 / data["ohm"] + (island.edges[u, v]["siemens"] if island.has_edge(u, v) else 0.0)
            island.add_edge(u, v, siemens=siemens)
        for a, b in itertools.combinations(touched, 2):
            theirs = nx.resistance_distance(island, place(a), place(b), "siemens", invert_weight=False)
            assert readings.most.ohm(a, b) == pytest.approx(theirs, rel=1e-6)
            compared += 1
    assert compared > 10


def test_the_nets_are_those_of_the_graph() -> None:
    for seed in range(40):
        rng = random.Random(seed)
        loom = random_loom(rng, 80)
        faults = random_faults(rng, loom, 4)
        readings = Readings(network(loom, faults))
        joined: dict[tuple[str, str, str], set[End]] = {}
        for cavity in loom.cavities:
            joined.setdefault(readings.most.home(place(cavity)), set()).add(cavity)
        assert {frozenset(net) for net in joined.values()} == set(Bench(loom).build(faults))


@pytest.mark.parametrize(
    ("loom", "fault", "expected"),
    [
        (LOOM, Injected("open", wires=("W3",)), "must fail"),
        (LOOM, Injected("contact", (end("A:5"),)), "invisible"),
        (LOOM, Injected("high", wires=("W3",), ohm=5.0), "must fail"),
        (LOOM, Injected("slight", wires=("W3",), ohm=0.3), "may be undecided"),
        (LOOM, Injected("leak", (end("A:3"), end("A:4")), ohm=50e3), "must fail"),
        (LOOM, Injected("leak", (end("A:3"), end("A:4")), ohm=980e3), "may be undecided"),
        (LOOM, Injected("leak", (end("A:3"), end("A:4")), ohm=5e6), "invisible"),
        (LOOM, Injected("leak", (end("A:1"), end("B:2")), ohm=20e3), "may be undecided"),
        (LOOM, Injected("leak", (end("A:1"), end("B:1")), ohm=50e3), "invisible"),
        (LOOM, Injected("part", (end("A:1"), end("B:2")), ohm=1000.0), "must fail"),
        (LOOM, Injected("value", parts=("R1",), ohm=3000.0), "must fail"),
        (LOOM, Injected("missing", parts=("R1",)), "must fail"),
        (LOOM, Injected("short", (end("A:1"), end("A:2"))), "must fail"),
        (LOOM, Injected("diode", (end("A:3"), end("A:4"))), "must fail"),
        (LOOM, Injected("loose", wires=("W3",)), "must fail"),
        (LOOM, Injected("loose", (end("A:5"),)), "invisible"),
        (TWIN, Injected("open", wires=("W1",)), "invisible"),
        (LONG_TWIN, Injected("open", wires=("W1",)), "may be undecided"),
        (TWIN, Injected("high", wires=("W1",), ohm=20.0), "invisible"),
        (TWIN, Injected("loose", wires=("W1",)), "invisible"),
        (TWIN, Injected("swap", (end("A:1"), end("A:2"))), "must fail"),
    ],
)
def test_classes(loom: Loom, fault: Injected, expected: str) -> None:
    judgement = judge(loom, [fault])
    assert judgement.kind == expected
    assert judgement.seen == ((fault,) if expected == "must fail" else ())


def test_a_swap_inside_one_net_may_change_only_the_ways() -> None:
    """Star: the ways stay alike, none to be seen. Chain: a long way where a short one should be."""
    ends = [end(f"A:{i}") for i in (1, 2, 3, 4)]
    splice = Connector("S1", ConnectorKind.SPLICE)
    star = Loom(
        "star",
        connectors=(plug("A", 4), splice),
        wires=tuple(Wire(f"W{i}", e, End("S1"), "BK", 0.5, 1.0) for i, e in enumerate(ends)),
    )
    chain = Loom(
        "chain",
        connectors=(plug("A", 4),),
        wires=tuple(Wire(f"W{i}", a, b, "BK", 0.5, 4.0) for i, (a, b) in enumerate(itertools.pairwise(ends))),
    )
    swap = [Injected("swap", (ends[0], ends[2]))]
    assert set(Bench(chain).build(swap)) == set(Bench(chain).build())
    assert judge(star, swap).kind == "invisible"
    assert judge(chain, swap).kind == "may be undecided"


def test_an_open_that_two_parts_bridge_shows_in_its_ohms() -> None:
    loom = Loom(
        "bridged",
        connectors=(plug("A", 2), plug("B", 2)),
        wires=(wire("W1", "A:1", "B:1"), wire("W2", "A:2", "B:2")),
        components=(resistor("R1", "A:1", "A:2", 120.0, 0.0), resistor("R2", "B:1", "B:2", 120.0, 0.0)),
    )
    opened = [Injected("open", wires=("W1",))]
    assert judge(loom, opened).kind == "must fail"
    assert Readings(network(loom, opened)).between(end("A:1"), end("B:1"))[0] == pytest.approx(240, abs=0.1)


def test_only_what_shows_must_be_told() -> None:
    first, second = Injected("open", wires=("W1",)), Injected("open", wires=("W2",))
    assert judge(TWIN, [first]).seen == ()
    assert judge(TWIN, [first, second]).seen == (first, second)


def test_a_reversed_diode_shows_and_one_beside_a_small_resistor_may_not() -> None:
    turned = [Injected("reversed", parts=("D1",))]
    alone = Loom("x", connectors=LOOM.connectors, wires=LOOM.wires, components=(diode("A:3", "A:4"),))
    both = (diode("A:3", "A:4"), resistor("R1", "B:3", "B:4", 120.0))
    beside = Loom("x", connectors=LOOM.connectors, wires=LOOM.wires, components=both)
    assert judge(alone, turned).kind == "must fail"
    assert judge(beside, turned).kind == "may be undecided"
