"""Nets of random VEC files against a count of their own: contact points as potentials, by networkx.

What joins: a contact point is one potential; those in one cavity touch, unless conductors of one cable are on
both (VEC's own description of the contact point, and `loomproof/loom/vec/NOTES.md`). The count reads the XML
alone. Files in which a cavity holds both sorts at once are left out of it.
"""

from __future__ import annotations

import random
from itertools import combinations
from pathlib import Path

import networkx as nx
import pytest
from lxml import etree

from loomproof.electrics.expectation import expect
from loomproof.loom import vec
from tests.loom.vec_text import Vec


def made(rng: random.Random) -> Vec:
    """Random housings, splices, rings and cables; contacts of a cavity are one point or one for each wire."""
    found = Vec()
    places: list[str] = []
    for number in range(rng.randint(1, 4)):
        cavities = rng.sample(["1", "2", "01", "A", "3", "10", "b"], rng.randint(1, 6))
        found.housing(f"H{number}", *cavities)
        places += [f"H{number}.{cavity}" for cavity in cavities]
    for name, splice in (("S1", True), ("S2", True), ("R1", False)):
        if rng.random() < 0.5:
            found.terminal(name, splice=splice)
            places += [f"{name}.t"] * 2
    wires = 0
    for number in range(rng.randint(1, 6)):
        conductors = []
        for _ in range(rng.choice((1, 1, 1, 2, 3, 4))):
            wires += 1
            ends = tuple(rng.choice(places) for _ in range(rng.choice((2, 2, 2, 3))))
            conductors.append((f"W{wires}", 0.5, "BK", 1.0, "", ends))
        screen = conductors[-1][0] if len(conductors) > 1 and rng.random() < 0.5 else ""
        found.cable(f"C{number}", conductors, screen=screen)
    points = {}
    for at, (kind, on) in found.points.items():
        if kind == "c" and len(on) > 1 and rng.random() < 0.6:
            points.update({f"{at}{' ' * number}": (kind, [end]) for number, end in enumerate(on)})
        else:
            points[at] = (kind, on)
    found.points = points
    return found


def counted(content: bytes) -> list[set[str]] | None:
    """Return the wires of each net; ``None`` for a file with a cavity that holds both sorts of contacts."""
    root = etree.fromstring(content)
    wire_of: dict[str, str] = {}
    cable_of: dict[str, str] = {}
    for component in root.iter("Component"):
        used = [one for one in component.iter("WireElementReference") if one.find("WireEnd") is not None]
        for one in used:
            for end in one.iterfind("WireEnd"):
                wire_of[end.get("id", "")] = one.findtext("Identification") or ""
                cable_of[end.get("id", "")] = component.get("id", "") if len(used) > 1 else ""
    graph: nx.Graph[str] = nx.Graph()
    meeting: dict[str, list[tuple[str, set[str]]]] = {}
    for point in root.iter("ContactPoint"):
        own = f"point {point.get('id')}"
        ends = [one.text or "" for one in point.iter("ReferencedWireEnd")]
        graph.add_edges_from((f"wire {wire_of[end]}", own) for end in ends)
        graph.add_edges_from((own, f"terminal {one.text}") for one in point.iter("MountedTerminal"))
        for cavity in point.iter("EquippedCavityRef"):
            cables = {cable_of[end] for end in ends} - {""}
            meeting.setdefault((cavity.text or "").strip(), []).append((own, cables))
    for here in meeting.values():
        apart = [bool(one[1] & other[1]) for one, other in combinations(here, 2)]
        if any(apart) and not all(apart):
            return None
        if not any(apart):
            graph.add_edges_from((one[0], other[0]) for one, other in combinations(here, 2))
    nets = [{node[5:] for node in net if node.startswith("wire ")} for net in nx.connected_components(graph)]
    return [net for net in nets if net]


@pytest.mark.parametrize("first", range(0, 120, 30))
def test_random_files_have_the_nets_that_are_counted(first: int, tmp_path: Path) -> None:
    seen = 0
    for seed in range(first, first + 30):
        content = made(random.Random(seed)).bytes()
        wanted = counted(content)
        if wanted is None:
            continue
        (tmp_path / "loom.vec").write_bytes(content)
        loom = vec.read(tmp_path / "loom.vec").loom
        net_of = {end: number for number, net in enumerate(expect(loom).nets) for end in net.ends}
        found: dict[int, set[str]] = {}
        for wire in loom.wires:
            found.setdefault(net_of[wire.a], set()).add(wire.name.split(".")[0])
        read = set().union(*found.values())
        # A wire of which every run ends where it starts is no wire of the loom, and stays said.
        lost = set().union(*wanted) - read
        assert all(any(f"wire {name}" in told for told in loom.left_out) for name in lost), seed
        assert sorted(map(sorted, found.values())) == sorted(
            sorted(net & read) for net in wanted if net & read
        ), seed
        seen += 1
    assert seen > 10
