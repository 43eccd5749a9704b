"""Sense readings against networkx's connected components, which share no code with the simulator."""

from __future__ import annotations

import random

import pytest

from loomproof.virtual.scanner import Scanner
from tests.virtual.looms import expected_low, groups, random_loom, small_loom, wire_graph


@pytest.mark.parametrize("seed", range(40))
def test_random_looms_read_as_their_connected_components(seed: int) -> None:
    rng = random.Random(seed)
    loom = random_loom(rng, rng.randint(2, 300))
    scanner = Scanner(loom, seed=seed)
    parts = groups(loom)
    for _ in range(10):
        drive = rng.getrandbits(len(loom.cavities))
        assert scanner.sense(drive, 0.0) == expected_low(parts, drive)


@pytest.mark.parametrize("seed", range(40))
def test_random_faults_read_as_the_components_of_the_faulted_graph(seed: int) -> None:
    rng = random.Random(1000 + seed)
    loom = random_loom(rng, rng.randint(20, 200))
    graph = wire_graph(loom)
    faults = []
    for wire in rng.sample(loom.wires, 3):
        others = [w for w in loom.wires if w is not wire and set(w.ends) == set(wire.ends)]
        if not others:
            graph.remove_edge(*wire.ends)
        faults.append(f"open {wire.name}")
    for _ in range(2):
        a, b = rng.sample(loom.cavities, 2)
        graph.add_edge(a, b)
        faults.append(f"short {a} {b}")
    scanner = Scanner(loom, faults=faults, seed=seed)
    parts = groups(loom, graph)
    for _ in range(10):
        drive = rng.getrandbits(len(loom.cavities))
        assert scanner.sense(drive, 0.0) == expected_low(parts, drive)


def test_nothing_driven_reads_nothing_low_and_unplugged_points_stand_alone() -> None:
    scanner = Scanner(small_loom())
    assert scanner.sense(0, 0.0) == 0
    assert scanner.sense(0b1, 0.0) == 0b10001
    scanner.plug(False)
    assert scanner.sense(0b1, 0.0) == 0b1
