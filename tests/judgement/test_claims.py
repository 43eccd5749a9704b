"""A pass never covers what its claims exclude: random looms with one fault, on benches that can do less.

The bench is `NetworkBench`, physics of the tests' own. The oracle is networkx: which nets the description
makes, which of them parts join, and the effective resistance of what really is there
(`networkx.resistance_distance`; Klein and Randić 1993). It shares no code with plan, run or claims.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace

import networkx as nx
import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.seam import Capabilities
from loomproof.electrics.expectation import expect
from loomproof.judgement.claims import claims_of
from loomproof.loom.model import Component, ComponentKind, End, Loom
from loomproof.measuring.events import finish
from loomproof.measuring.run import run_plan
from loomproof.planning.meter import Meter
from loomproof.planning.plan import Plan, plan_proof
from loomproof.results.document import ClaimEntry
from loomproof.results.measured import Decision, Measured
from tests.cleared import cleared
from tests.diagnosis.injector import random_loom
from tests.measuring.network_bench import FULL, Network, NetworkBench, without_ohms

WIRE_OHM = 0.04
METER = replace(FULL, sense_ohm=None, clear_ohm=None, diode=False)
SMALL_METER = replace(METER, ohms=(0.0, 20e3))
"""A meter that does not reach the loom's megohm."""

BENCHES = {"digital": without_ohms(), "meter": METER, "small meter": SMALL_METER, "both": FULL}


@dataclass(frozen=True)
class Case:
    """A loom, what really is there, and the fault: an open wire, a path, or a part that is missing."""

    loom: Loom
    network: Network
    opened: str = ""
    path: tuple[End, End, float] | None = None
    diode: bool = False


def case(seed: int) -> Case:
    rng = random.Random(f"claims {seed}")
    loom = random_loom(rng, rng.choice((6, 10, 16)), sizes=(2, 3, 4, 6))
    nets = described(loom)
    parts = []
    for k in range(rng.choice((0, 0, 1, 2, 3))):
        a, b = rng.sample(loom.cavities, 2)
        if nx.has_path(nets, a, b):
            continue
        if rng.random() < 0.4:
            parts.append(Component(f"D{k}", ComponentKind.DIODE, (("A", a), ("K", b)), forward_v=0.6))
        else:
            ohm = float(rng.choice((15, 220, 1000, 4700)))
            ends = (("1", a), ("2", b))
            parts.append(
                Component(f"R{k}", ComponentKind.RESISTOR, ends, resistance_ohm=ohm, tolerance_pct=5)
            )
    loom = replace(loom, components=(*loom.components, *parts))
    network = Network(
        {wire.name: (wire.a, wire.b, WIRE_OHM) for wire in loom.wires}
        | {p.name: (*p.ends, p.resistance_ohm or 0.01) for p in loom.components if len(p.ends) == 2},
        {p.name: (p.ends[0], p.ends[1]) for p in loom.components if p.kind is ComponentKind.DIODE},
    )
    for name in network.diodes:
        del network.ohms[name]
    kind = rng.choice(("open", "path", "path", "path", "diode", "missing"))
    if kind == "missing" and parts:
        gone = rng.choice(parts).name
        network.ohms.pop(gone, None)
        network.diodes.pop(gone, None)
        return Case(loom, network)
    if kind == "open" and loom.wires:
        opened = rng.choice(loom.wires).name
        del network.ohms[opened]
        return Case(loom, network, opened=opened)
    a, b = rng.sample(loom.cavities, 2)
    ohm = 10 ** rng.uniform(-1.5, 6.5)
    if kind == "diode":
        network.diodes["fault"] = (a, b)
        return Case(loom, network, path=(a, b, 0.0), diode=True)
    network.ohms["fault"] = (a, b, ohm)
    return Case(loom, network, path=(a, b, ohm))


def described(loom: Loom) -> nx.Graph[End]:
    """The conductors of the description: wires, fuses and links."""
    graph: nx.Graph[End] = nx.Graph()
    graph.add_nodes_from(loom.cavities)
    graph.add_edges_from((wire.a, wire.b) for wire in loom.wires)
    joining = (ComponentKind.FUSE, ComponentKind.LINK)
    graph.add_edges_from(pairwise_ends(loom, joining))
    return graph


def pairwise_ends(loom: Loom, kinds: tuple[ComponentKind, ...]) -> list[tuple[End, End]]:
    return [(part.ends[0], part.ends[1]) for part in loom.components if part.kind in kinds]


def with_parts(loom: Loom) -> nx.Graph[End]:
    """The same with everything that parts join, whichever way they conduct."""
    graph = described(loom)
    graph.add_edges_from(pairwise_ends(loom, tuple(ComponentKind)))
    return graph


def real(network: Network) -> nx.Graph[End]:
    """What really is there, in ohms; diodes left out."""
    graph: nx.Graph[End] = nx.Graph()
    for a, b, ohm in network.ohms.values():
        siemens = 1 / ohm + (graph[a][b]["siemens"] if graph.has_edge(a, b) else 0.0)
        graph.add_edge(a, b, siemens=siemens)
    return graph


def proved(case: Case, able: Capabilities) -> tuple[Plan, Measured, tuple[ClaimEntry, ...]]:
    point_of = dict(in_order(case.loom.cavities).point_of)
    bench = NetworkBench(case.network, point_of, able)
    expectation = expect(case.loom)
    meter = Meter(able.accuracy, None, able.ohms, {}) if able.ohms and able.accuracy else None
    plan = plan_proof(expectation, point_of, able, meter, isolation_ohm=1e6)
    measured = finish(run_plan(plan, expectation, bench, cleared(case.loom, bench)))
    return plan, measured, claims_of(plan, measured, able, expectation)


def passes(measured: Measured, claims: tuple[ClaimEntry, ...]) -> bool:
    decisions = {*(r.decision for r in measured.judged), *(d.decision for d in measured.diodes)}
    return (
        measured.sound and decisions <= {Decision.PASS} and all(c.decision is Decision.PASS for c in claims)
    )


@pytest.mark.parametrize("seed", [*range(120), 276])
@pytest.mark.parametrize("kind", BENCHES)
def test_a_pass_covers_nothing_that_its_claims_exclude(kind: str, seed: int) -> None:
    made = case(seed)
    plan, measured, claims = proved(made, BENCHES[kind])
    if not passes(measured, claims):
        return
    assert not made.opened or made.opened in plan.hidden, f"{made.opened} is open and nobody says it may be"
    graph = real(made.network)
    joined_by_parts = with_parts(made.loom)
    for claim in claims:
        if claim.kind == "continuity":
            assert claim.threshold_ohm is not None
            assert_joined(graph, list(claim.cavities), claim.threshold_ohm)
        elif claim.kind == "resistance":
            assert claim.limit_ohm is not None
            a, b = claim.cavities
            assert between(graph, a, b) <= claim.limit_ohm
        elif claim.kind == "component":
            assert claim.subject in made.network.ohms or claim.subject in made.network.diodes
            if claim.measured_ohm is None and claim.threshold_ohm is not None:
                assert_joined(graph, list(claim.cavities), claim.threshold_ohm)
        elif claim.kind == "isolation" and made.path is not None:
            assert claim.threshold_ohm is not None
            a, b, ohm = made.path
            ends = set(claim.cavities) or {a, b}
            if ends & {a, b} and not nx.has_path(joined_by_parts, a, b):
                assert ohm >= claim.threshold_ohm * 0.99, f"{ohm} under {claim.statement}"
                assert not made.diode, "a path one way only is a path"


def between(graph: nx.Graph[End], a: End, b: End) -> float:
    if not (graph.has_node(a) and graph.has_node(b) and nx.has_path(graph, a, b)):
        return float("inf")
    part = graph.subgraph(nx.node_connected_component(graph, a))
    ohm = nx.resistance_distance(part, a, b, weight="siemens", invert_weight=False)
    assert isinstance(ohm, float)
    return ohm


def assert_joined(graph: nx.Graph[End], ends: list[End], limit_ohm: float) -> None:
    for end in ends[1:]:
        assert between(graph, ends[0], end) < limit_ohm, f"{ends[0]} and {end} are not joined"


@pytest.mark.parametrize("kind", BENCHES)
def test_some_faults_pass_and_most_do_not(kind: str) -> None:
    """The property above is worth something only where both happen."""
    ends = [
        passes(measured, claims)
        for _, measured, claims in (proved(case(s), BENCHES[kind]) for s in range(40))
    ]
    assert 0 < sum(ends) < 30
