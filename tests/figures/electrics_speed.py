"""Time the expected values of a big loom, and all pairs of one net against networkx in the same run.

    python -m tests.figures electrics_speed [--short] [--seed 1]

Exits with 1 where values differ or a figure that must be reached is missed.
Oracle: networkx `resistance_distance`, one call for all pairs.
"""

from __future__ import annotations

import argparse
import random
import sys
import time
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Any

import networkx as nx
import numpy as np

from loomproof.electrics.components import component_reading
from loomproof.electrics.expectation import expect
from loomproof.electrics.network import Network
from loomproof.electrics.readings import readings_of
from loomproof.loom.model import Component, ComponentKind, Connector, ConnectorKind, End, Loom, Wire
from tests.results import table_file

MOST_S = 0.5
LEAST_TIMES = 50.0


def big_loom(rng: random.Random, cavities: int = 2000, nets: int = 800) -> Loom:
    """A loom as looms are: a third of the nets single cavities, two big earths, splices, some loops."""
    names = [End(f"C{k // 50 + 1}", str(k % 50 + 1)) for k in range(cavities)]
    rng.shuffle(names)
    single = int(0.3 * nets)
    sizes = [1] * single + [2] * (nets - single - 2) + [cavities // 12, cavities // 24]
    while sum(sizes) < cavities:
        sizes[rng.randrange(single, nets - 2)] += 1
    connectors = [
        Connector(f"C{c + 1}", ConnectorKind.PLUG, (tuple(str(k + 1) for k in range(50)),))
        for c in range(-(-cavities // 50))
    ]
    wires: list[Wire] = []
    first = []

    def wire(a: End, b: End) -> None:
        csa, length = rng.choice([0.35, 0.5, 0.75, 1.0, 1.5, 2.5]), round(rng.uniform(0.2, 5.0), 2)
        wires.append(Wire(f"W{len(wires) + 1}", a, b, csa_mm2=csa, length_m=length))

    for number, size in enumerate(sizes):
        group = [names.pop() for _ in range(size)]
        first.append(group[0])
        if size == 2:
            wire(*group)
            continue
        splices = [End(f"S{number}_{k}") for k in range(-(-size // 8) if size > 2 else 0)]
        connectors += [Connector(splice.connector, ConnectorKind.SPLICE) for splice in splices]
        for a, b in pairwise(splices):
            wire(a, b)
        if len(splices) > 2:
            wire(splices[0], splices[-1])
        for end in group if size > 2 else []:
            wire(end, rng.choice(splices))
    parts = []
    for k in range(nets // 20):
        a, b = rng.sample(first, 2)
        ohm = round(10 ** rng.uniform(1, 4), 1)
        parts.append(Component(f"R{k + 1}", ComponentKind.RESISTOR, (("1", a), ("2", b)), resistance_ohm=ohm))
    return Loom("big", connectors=tuple(connectors), wires=tuple(wires), components=tuple(parts))


def values(loom: Loom) -> tuple[int, int]:
    """Expected values and limits of all needed pairs; returns how many pairs and hidden wires."""
    expectation = expect(loom)
    readings = [readings_of(expectation, net.index) for net in expectation.nets]
    found = expectation.between_all([pair for reading in readings for pair in reading.pairs])
    for coupling in expectation.couplings:
        component_reading(expectation, coupling)
    return len(found), sum(len(reading.hidden) for reading in readings)


def random_net(rng: random.Random, nodes: int) -> tuple[list[int], list[int], list[float]]:
    """A connected net: a random tree and half as many loops again."""
    tails, heads, ohms = [], [], []
    for k in range(1, nodes + nodes // 2):
        a, b = (k, rng.randrange(k)) if k < nodes else rng.sample(range(nodes), 2)
        tails.append(a)
        heads.append(b)
        ohms.append(rng.uniform(0.005, 0.5))
    return tails, heads, ohms


def best(call: Callable[[], object], times: int) -> float:
    """The shortest of several runs, s."""
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        spent.append(time.perf_counter() - start)
    return min(spent)


def main(argv: Sequence[str] | None = None) -> int:
    """Measure, show the table, and say whether the figures are reached."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--short", action="store_true", help="fewer repeats")
    options = parser.parse_args(argv)
    begun = time.monotonic()
    repeats = 5 if options.short else 9
    rng = random.Random(options.seed)

    loom = big_loom(rng)
    values(loom)
    pairs, hidden = values(loom)
    whole_s = best(lambda: values(loom), repeats)

    nodes = 200
    tails, heads, ohms = random_net(rng, nodes)
    graph: nx.MultiGraph[int] = nx.MultiGraph()
    graph.add_nodes_from(range(nodes))
    for a, b, ohm in zip(tails, heads, ohms, strict=True):
        graph.add_edge(a, b, ohm=ohm)
    theirs: Any = nx.resistance_distance(graph, weight="ohm")
    matrix = np.array([[theirs[a][b] for b in range(nodes)] for a in range(nodes)])
    every = np.indices((nodes, nodes))
    worst = float(np.max(np.abs(Network(nodes, tails, heads, ohms).resistances(*every) - matrix)))
    ours_s = best(lambda: Network(nodes, tails, heads, ohms).resistances(*every), 20 * repeats)
    theirs_s = best(lambda: nx.resistance_distance(graph, weight="ohm"), repeats)
    ratio = theirs_s / ours_s
    rows = [
        f"Seed {options.seed}; the shortest of {repeats} runs each. Pairs are those that show every wire;",
        "each gets its expected and greatest sound values, its limit and the reading with each wire open.",
        "",
        "| what | measured | must reach |",
        "| --- | --- | --- |",
        f"| {len(loom.cavities)} cavities, {len(expect(loom).nets)} nets, {len(loom.wires)} wires: "
        f"{pairs} pairs, {hidden} wires hidden | {whole_s:.3f} s | < {MOST_S} s |",
        f"| all pairs of one net of {nodes} nodes | {ours_s * 1e3:.2f} ms | |",
        f"| the same, networkx `resistance_distance` | {theirs_s * 1e3:.1f} ms | |",
        f"| how many times faster | {ratio:.0f} | at least {LEAST_TIMES:.0f} |",
        f"| largest difference of the two | {worst:.1e} Ω | < 1e-9 Ω |",
    ]
    table_file("figures", "electrics_speed", rows, time.monotonic() - begun, short=options.short)
    return 0 if whole_s < MOST_S and ratio >= LEAST_TIMES and worst < 1e-9 else 1


if __name__ == "__main__":
    sys.exit(main())
