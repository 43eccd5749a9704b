"""How many equals a finding may list: what the symmetry of the wiring explains, counted by networkx.

Wires in wrong places that an automorphism maps on one another read the same. The graph holds the nets that a
finding speaks of (cavities, wires, splices, parts) and the conductors as found; its automorphisms keep these
kinds. Besides, cavities of one conductor as found may change places, and nothing shows. Of opens and of
joints that read high there can be as many equals as joints in series. What joins two conductors may sit
anywhere along them, and behind each part that is built in beside it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import islice

import networkx as nx
from networkx.algorithms.isomorphism import GraphMatcher

from loomproof.loom.model import End, Loom
from loomproof.results.findings import Alternative, Finding, Kind
from tests.diagnosis.injector import Partition


def too_many(loom: Loom, finding: Finding, expected: Partition, found: Partition) -> bool:
    """Whether a finding lists more equals than the automorphisms of what it speaks of."""
    # The places of one touch, at either end or on the way, are one short told by where to look.
    others = [one for one in finding.alternatives if one.cause != "touching"]
    each: list[Finding | Alternative] = [finding, *others]
    # One place under several names (crossed, or the adapter's leads are) is one change to the network.
    listed = len({frozenset(one.cavities) for one in each})
    if listed < 2:
        return False
    spoken = {end for one in each for end in one.cavities}
    spoken |= {
        end
        for one in each
        for name in one.wires
        if name in loom.wire_by_name
        for end in loom.wire_by_name[name].ends
    }
    nets = [net for net in expected if net & spoken]
    cavities = frozenset[End]().union(*nets)
    graph = _graph(loom, cavities, found)
    if finding.kind in (Kind.OPEN, Kind.HIGH_RESISTANCE, Kind.INTERMITTENT):
        return listed > _count(graph, "wire", "splice", "cavity")
    if finding.kind is not Kind.MISWIRE:
        joined = {frozenset(net for net in expected if net.intersection(one.cavities)) for one in each}
        return len(joined) > (1 + len(loom.components)) ** 2  # either end may be behind any part
    matcher = GraphMatcher(graph, graph, node_match=lambda one, other: one["kind"] == other["kind"])
    told = frozenset[End]().union(*(one.cavities for one in each))
    unseen = math.prod(math.factorial(len(group & told)) for group in found)
    return unseen * sum(1 for _ in islice(matcher.isomorphisms_iter(), listed)) < listed


def _count(graph: nx.Graph[tuple[str, str]], *kinds: str) -> int:
    return sum(data["kind"] in kinds for _, data in graph.nodes(data=True))


def _graph(
    loom: Loom, cavities: frozenset[End], found: Sequence[frozenset[End]]
) -> nx.Graph[tuple[str, str]]:
    graph: nx.Graph[tuple[str, str]] = nx.Graph()
    inner = set(cavities)
    for end in cavities:
        graph.add_node(("end", str(end)), kind="cavity")
    grown = True
    wires: set[str] = set()
    while grown:
        grown = False
        for wire in loom.wires:
            if wire.name not in wires and inner.intersection(wire.ends):
                wires.add(wire.name)
                inner.update(wire.ends)
                grown = True
    for name in wires:
        graph.add_node(("wire", name), kind="wire")
        for end in loom.wire_by_name[name].ends:
            graph.add_node(("end", str(end)), kind="cavity" if end.cavity else "splice")
            graph.add_edge(("wire", name), ("end", str(end)))
    for part in loom.components:
        if inner.intersection(part.ends):
            graph.add_node(("part", part.name), kind=part.kind.value)
            for end in part.ends:
                graph.add_node(("end", str(end)), kind="cavity")
                graph.add_edge(("part", part.name), ("end", str(end)))
    for number, group in enumerate(found):
        inside = group & cavities
        if inside:
            graph.add_node(("group", str(number)), kind="group")
            graph.add_edges_from((("group", str(number)), ("end", str(end))) for end in inside)
    return graph
