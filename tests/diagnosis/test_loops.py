"""Parts in loops against networkx: what is read of a network, and which part explains what others read."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import networkx as nx
import pytest

from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.found import Found
from loomproof.diagnosis.loops import Amiss, PartNetwork, agree, one_for_all
from loomproof.loom.model import Component, ComponentKind, Connector, ConnectorKind, End, Loom
from loomproof.results.findings import Evidence, Finding, Severity


def resistor(name: str, a: int, b: int, ohm: float | None, **more: Any) -> Component:
    return Component(
        name, ComponentKind.RESISTOR, (("1", End("A", str(a))), ("2", End("A", str(b)))), ohm, **more
    )


def network(*parts: Component, cut: str = "") -> PartNetwork:
    """Return the parts between conductors, each of one cavity with its number."""
    loom = Loom(
        "parts",
        connectors=(Connector("A", ConnectorKind.PLUG, (tuple("012345"),)),),
        components=parts,
    )
    found: Any = SimpleNamespace(
        loom=loom,
        wiring=SimpleNamespace(edges=[SimpleNamespace(component=cut)]),
        cut_edges=frozenset({0} if cut else ()),
        group_at=lambda end: int(end.cavity) if end.cavity != "5" else None,
    )
    assert isinstance(Found.group_at, object)
    return PartNetwork(found)


def read(edges: list[tuple[int, int, float]], a: int, b: int) -> float:
    graph: nx.MultiGraph[int] = nx.MultiGraph()
    graph.add_nodes_from((a, b))
    for u, v, ohm in edges:
        graph.add_edge(u, v, ohm=ohm)
    if not nx.has_path(graph, a, b):
        return math.inf
    inside = graph.subgraph(nx.node_connected_component(graph, a))
    return float(nx.resistance_distance(inside, a, b, weight="ohm"))  # type: ignore[arg-type]


@pytest.mark.parametrize("seed", range(15))
def test_what_is_read_is_what_the_network_gives(seed: int) -> None:
    rng = random.Random(f"loops {seed}")
    edges = []
    for _ in range(rng.randint(1, 7)):
        a, b = rng.sample(range(5), 2)
        edges.append((a, b, round(10 ** rng.uniform(0, 4), 1)))
    whole = network(*(resistor(f"R{k}", *edge) for k, edge in enumerate(edges)))
    for a in range(5):
        for b in range(5):
            if a == b:
                continue
            assert whole.ohm((a, b)) == pytest.approx(read(edges, a, b), rel=1e-6)
            assert whole.ohm((a, b), without="R0") == pytest.approx(read(edges[1:], a, b), rel=1e-6)
            more = [*edges, (0, 1, 50.0)]
            assert whole.ohm((a, b), ((0, 1), 0.02)) == pytest.approx(read(more, a, b), rel=1e-6)


def test_less_than_an_ohm_is_less_than_an_ohm() -> None:
    assert network(resistor("R1", 0, 1, 1.2), resistor("R2", 0, 1, 1.2)).ohm((0, 1)) == pytest.approx(0.6)


def test_only_stated_parts_between_two_conductors_count() -> None:
    """Not without a value, on one conductor, behind what nothing tested reaches, not fitted or cut off."""
    parts = (
        resistor("R0", 0, 1, None),
        resistor("R1", 1, 1, 100.0),
        resistor("R2", 0, 5, 100.0),
        resistor("R3", 0, 1, 100.0, fitted=False),
        resistor("R4", 0, 1, 100.0),
    )
    assert network(*parts, cut="R4").edges == []
    assert network(*parts).edges == [("R4", 0, 1, 100.0)]
    assert math.isinf(network(*parts, cut="R4").ohm((0, 1)))


@pytest.mark.parametrize(
    ("computed", "really", "same"),
    [
        (100.0, 100.0, True),
        (100.0, 126.0, True),
        (100.0, 127.0, False),
        (126.0, 100.0, True),
        (127.0, 100.0, False),
        (0.0, 1.2, True),
        (0.0, 1.25, True),
        (0.0, 1.3, False),
        (math.inf, math.inf, True),
        (math.inf, 5.0, False),
        (5.0, math.inf, False),
    ],
)
def test_readings_agree_within_a_fifth_and_an_ohm(computed: float, really: float, same: bool) -> None:
    """0.2 × 126.25 + 1 = 26.25: that is the edge."""
    assert agree(computed, really) is same


def finding(cause: Cause, name: str) -> Finding:
    return Finding(
        kind=cause.kind,
        severity=Severity.FAULT,
        title=f"{name} {cause}",
        cavities=(End("A", name),),
        components=(name,),
        cause=cause.value,
        evidence=(Evidence(name),),
        repair=(f"mend {name}",),
    )


def amiss(a: int, b: int, ohm: float, cause: Cause, name: str) -> Amiss:
    return Amiss((a, b), ohm, finding(cause, name))


TRIANGLE = (resistor("R1", 0, 1, 100.0), resistor("R2", 1, 2, 100.0), resistor("R3", 0, 2, 100.0))


def test_a_part_of_a_triangle_that_is_short_explains_the_other_two() -> None:
    """100 Ω each: sound 66.7 Ω. R1 shorted: it reads 0, the others 50 Ω."""
    whole = network(*TRIANGLE)
    short = amiss(0, 1, 0.0, Cause.SHORTED_PART, "R1")
    second = amiss(1, 2, 50.0, Cause.WRONG_VALUE, "R2")
    third = amiss(0, 2, 50.0, Cause.WRONG_VALUE, "R3")
    assert whole.explains(short, second)
    assert whole.explains(short, third)
    assert not whole.explains(second, short)
    (told,) = one_for_all(whole, [second, short, third])
    assert told.components == ("R1", "R2", "R3")
    assert [shown.text for shown in told.evidence] == ["R1", "R2", "R3"]
    assert told.alternatives == ()


def test_a_part_that_is_out_explains_what_the_others_read() -> None:
    """R1 out: it reads 200 Ω through the others, and each of these its own 100 Ω."""
    whole = network(*TRIANGLE)
    out = amiss(0, 1, 200.0, Cause.MISSING_PART, "R1")
    assert whole.explains(out, amiss(1, 2, 100.0, Cause.WRONG_VALUE, "R2"))
    assert not whole.explains(out, amiss(1, 2, 30.0, Cause.WRONG_VALUE, "R2"))


def test_two_that_read_wrongly_by_themselves_are_two() -> None:
    parts = (resistor("R1", 0, 1, 100.0), resistor("R2", 2, 3, 100.0))
    told = list(
        one_for_all(
            network(*parts),
            [
                amiss(0, 1, 300.0, Cause.WRONG_VALUE, "R1"),
                amiss(2, 3, 300.0, Cause.WRONG_VALUE, "R2"),
            ],
        )
    )
    assert [each.components for each in told] == [("R1",), ("R2",)]


def test_two_parts_side_by_side_are_one_and_each_the_others_alternative() -> None:
    """What reads between the same two conductors is one reading: either may be the one."""
    parts = (resistor("R1", 0, 1, 100.0), resistor("R2", 0, 1, 100.0))
    one, other = (
        amiss(0, 1, 20.0, Cause.WRONG_VALUE, "R1"),
        amiss(1, 0, 20.0, Cause.WRONG_VALUE, "R2"),
    )
    (told,) = one_for_all(network(*parts), [one, other])
    assert told.components == ("R1", "R2")
    (instead,) = told.alternatives
    assert instead.text == "R2 wrong_value, and the parts beside it are right"
    assert (instead.cause, instead.cavities, instead.repair) == (
        "wrong_value",
        (End("A", "R2"),),
        ("mend R2",),
    )
    assert instead.tell_apart == "Take R2 out and read again."


@pytest.mark.parametrize(
    ("cause", "ohm", "explains"),
    [
        (Cause.MISSING_PART, math.inf, False),
        (Cause.MISSING_PART, 100.0, True),
        (Cause.WRONG_VALUE, math.inf, True),
        (Cause.WRONG_VALUE, 20.0, True),
    ],
)
def test_two_that_are_both_open_are_both_out(cause: Cause, ohm: float, explains: bool) -> None:
    parts = (resistor("R1", 0, 1, 100.0), resistor("R2", 0, 1, 100.0))
    one, other = amiss(0, 1, ohm, cause, "R1"), amiss(0, 1, math.inf, Cause.MISSING_PART, "R2")
    assert network(*parts).explains(one, other) is explains


def test_of_equals_the_surest_is_told() -> None:
    """Reversed, missing, shorted, of a wrong value, in this order; any other cause explains nothing."""
    parts = (resistor("R1", 0, 1, 100.0), resistor("R2", 0, 1, 100.0))
    order = [Cause.REVERSED_DIODE, Cause.MISSING_PART, Cause.SHORTED_PART, Cause.WRONG_VALUE]
    for k, sure in enumerate(order):
        for less in order[k + 1 :]:
            both = [amiss(0, 1, 20.0, less, "R1"), amiss(0, 1, 20.0, sure, "R2")]
            (told,) = one_for_all(network(*parts), both)
            assert told.cause == sure
            assert [other.cause for other in told.alternatives] == [less]
    strange = replace(finding(Cause.WRONG_VALUE, "R1"), cause="unexplained")
    both_told = list(
        one_for_all(
            network(*parts),
            [Amiss((0, 1), 20.0, strange), Amiss((0, 1), 20.0, replace(strange, components=("R2",)))],
        )
    )
    assert len(both_told) == 2
