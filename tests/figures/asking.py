"""How few questions prove, learn and complete a loom, against the bounds; hook-ups; peers in the same run.

    python -m tests.figures asking [--short] [--seed 1]

Writes its table to tests/figures/results/asking.md; exits with 1 where a figure is missed.
"""

from __future__ import annotations

import argparse
import math
import os
import random
import shlex
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import networkx as nx

from loomproof.bench.adapter import in_order
from loomproof.bench.questions import Answer, Question, Resistance, Sense
from loomproof.bench.seam import Accuracy, Capabilities
from loomproof.electrics.expectation import expect
from loomproof.measuring.events import finish
from loomproof.measuring.isolation_search import Isolation, measure_isolation
from loomproof.measuring.resolve_nets import complete, learn
from loomproof.measuring.run import run_plan
from loomproof.planning.drive_codes import antichain_length
from loomproof.planning.meter import Meter
from loomproof.planning.plan import plan_proof
from loomproof.planning.test_vectors import Group, empty_vector, sense_vectors
from tests.cleared import cleared
from tests.figures.asking_hookups import designs, hook_up_sets
from tests.figures.electrics_speed import big_loom
from tests.memory_bench import MemoryBench
from tests.planning.toggling import toggling_vectors

SIZES = (128, 512, 2048)
PROVE = {128: 6, 512: 8, 2048: 10}
ONE_WAY = {128: 8, 512: 10, 2048: 12}
LEARN = {128: 7, 512: 9, 2048: 11}
ISOLATION = {128: (6, 11), 512: (8, 15), 2048: (10, 19)}
HOST_MS = {128: 20.0, 512: 60.0, 2048: 300.0}
COMPLETE = {128: (0.64, 2.18, 4.07), 512: (0.90, 2.55, 4.13), 2048: (0.67, 2.67, 4.25)}
"""Mean extra vectors after 1, 5 and 20 faults with the plain code: a throw-away prototype's figures."""


def random_nets(rng: random.Random, points: int) -> list[int]:
    """0.4 N nets: 30 % single cavities, two big grounds of N/12 and N/24 points, the rest by chance."""
    nets = round(0.4 * points)
    single = int(0.3 * nets)
    sizes = [1] * single + [2] * (nets - single - 2) + [points // 12, points // 24]
    while sum(sizes) < points:
        sizes[rng.randrange(single, nets - 2)] += 1
    order = rng.sample(range(points), points)
    masks = []
    for size in sizes:
        masks.append(sum(1 << order.pop() for _ in range(size)))
    rng.shuffle(masks)
    return masks


def bits(mask: int) -> list[int]:
    return [p for p in range(mask.bit_length()) if mask >> p & 1]


def disturbed(rng: random.Random, nets: Sequence[int], faults: int) -> list[int]:
    """40 % opens, 20 % shorts, 40 % swaps; truth by networkx."""
    graph: nx.Graph[int] = nx.Graph()
    for net in nets:
        points = bits(net)
        graph.add_nodes_from(points)
        graph.add_edges_from((points[k], points[rng.randrange(k)]) for k in range(1, len(points)))
    everyone = sorted(graph.nodes)
    for _ in range(faults):
        what = rng.random()
        if what < 0.4:
            graph.remove_edge(*rng.choice(list(graph.edges)))
        elif what < 0.6:
            graph.add_edge(*rng.sample(everyone, 2))
        else:
            a, b = rng.sample(everyone, 2)
            graph = nx.relabel_nodes(graph, {a: b, b: a})
    return [sum(1 << p for p in part) for part in nx.connected_components(graph)]


class Bench:
    """Answers from a partition; its own time is kept apart from the host's."""

    def __init__(self, nets: Sequence[int]) -> None:
        self.nets = nets
        self.asked = 0
        self.spent_s = 0.0

    def sense(self, drives: Sequence[int]) -> list[int]:
        begun = time.process_time()
        self.asked += len(drives)
        answers = [sum(net for net in self.nets if net & drive) for drive in drives]
        self.spent_s += time.process_time() - begun
        return answers


def leaking(nets: Sequence[int], leak: tuple[int, int] | None) -> tuple[Isolation, int]:
    """Measure isolation with at most one leak of 22 kΩ; count also the readings with evidence of it."""

    def measure(a: int, b: int) -> float:
        if leak is None:
            return math.inf
        i, j = (nets[k] for k in leak)
        return 22e3 if (a & i and b & j) or (a & j and b & i) else math.inf

    found = measure_isolation(measure, nets, 1e6)
    return found, found.measured + sum(not one.read for one in found.leaks)


def counts(points: int, rng: random.Random, runs: int) -> tuple[list[str], bool]:
    """One line for each figure of this size, and whether all are reached."""
    lines, good = [], True

    def line(what: str, value: str, must: str, reached: bool) -> None:
        nonlocal good
        good &= reached
        lines.append(f"| {points} | {what} | {value} | {must} | {'yes' if reached else '**no**'} |")

    nets = random_nets(rng, points)
    groups = [Group.of(net) for net in nets]
    plain, both = toggling_vectors(groups), sense_vectors(groups)
    line("prove, vectors", str(len(plain)), str(PROVE[points]), len(plain) <= PROVE[points])
    line("prove, one-way excluded", str(len(both)), str(ONE_WAY[points]), len(both) <= ONE_WAY[points])
    bench = Bench(nets)
    assert sorted(learn(bench.sense, (1 << points) - 1)) == sorted(nets)
    line("learn, vectors", str(bench.asked), str(LEARN[points]), bench.asked <= LEARN[points])
    none = leaking(nets, None)[0].measured
    totals = []
    with_evidence = []
    for _ in range(runs):
        pair = tuple(sorted(rng.sample(range(len(nets)), 2)))
        found, evidence = leaking(nets, (pair[0], pair[1]))
        assert [(leak.i, leak.j) for leak in found.leaks] == [pair]
        totals.append(found.measured)
        with_evidence.append(evidence)
    must = ISOLATION[points]
    line(
        "isolation, no leak / one leak in all (worst)",
        f"{none} / {max(totals)}",
        f"{must[0]} / {must[1]}",
        none <= must[0] and max(totals) <= must[1],
    )
    line(
        "the same with a reading of the leaking pair as evidence",
        f"{none} / mean {statistics.mean(with_evidence):.1f}, worst {max(with_evidence)}",
        "told, no bound",
        True,
    )
    for faults, reference in zip((1, 5, 20), COMPLETE[points], strict=True):
        extra = []
        for _ in range(runs):
            nets = random_nets(rng, points)
            groups = [Group.of(net) for net in nets]
            actual = disturbed(rng, nets, faults)
            bench = Bench(actual)
            vectors = toggling_vectors(groups)
            lows = bench.sense([vector.drive for vector in vectors])
            if not any(v.wrong(low) for v, low in zip(vectors, lows, strict=True)):
                assert sorted(actual) == sorted(nets)
                continue
            completed = complete(bench.sense, groups, vectors, lows)
            assert sorted(completed.groups) == sorted(actual), "the picture must be complete and right"
            extra.append(completed.vectors - completed.confirming)
        mean = statistics.mean(extra)
        line(
            f"completing after {faults} faults, mean extra vectors (max)",
            f"{mean:.2f} ({max(extra)})",
            f"{reference} + 20 %",
            mean <= 1.2 * reference,
        )
    whole = min(whole_ms(points) for _ in range(3))
    line(
        "host, the same with every expected resistance and limit, and a run with an open, best of 3",
        f"{whole:.1f} ms",
        "told, no bound",
        True,
    )
    host = min(host_ms(points, random.Random(points)) for _ in range(3))
    line(
        "host, plan and compare, all phases, best of 3",
        f"{host:.1f} ms",
        f"{HOST_MS[points]:g} ms",
        host < HOST_MS[points],
    )
    return lines, good


def host_ms(points: int, rng: random.Random) -> float:
    """Host time of plan, compare, completing 20 faults, confirming, learning and a leak search, ms."""
    nets = random_nets(rng, points)
    groups = [Group.of(net) for net in nets]
    bench = Bench(disturbed(rng, nets, 20))
    begun = time.process_time()
    vectors = (empty_vector(groups), *toggling_vectors(groups))
    sense_vectors(groups)
    lows = bench.sense([vector.drive for vector in vectors])
    assert any(v.wrong(low) for v, low in zip(vectors, lows, strict=True))
    complete(bench.sense, groups, vectors[1:], lows[1:])
    learn(bench.sense, (1 << points) - 1)
    leaking(nets, (3, 7))
    return (time.process_time() - begun - bench.spent_s) * 1e3


class OhmBench(MemoryBench):
    """A bench of ideal wires: what is one conductor reads 60 mΩ, all else is open."""

    model = "ideal wires"

    def __init__(self, nets: Sequence[int]) -> None:
        super().__init__(able=Capabilities(4096, ohms=(0.0, 1e8), accuracy=Accuracy(0.1, 0.01)))
        self.inside = Bench(nets)

    def _answer(self, question: Question) -> Answer:
        match question:
            case Sense(drives):
                return self.inside.sense(drives)
            case Resistance(a, b):
                begun = time.process_time()
                joined = any(net & a and net & b for net in self.inside.nets)
                self.inside.spent_s += time.process_time() - begun
                return 0.06 if joined else math.inf
        return super()._answer(question)


def whole_ms(points: int) -> float:
    """Host time from a description to what was measured: nets, limits, plan, run with one net opened, ms."""
    loom = big_loom(random.Random(points), points, round(0.4 * points))
    point_of = in_order(loom.cavities).point_of
    begun = time.process_time()
    expectation = expect(loom)
    meter = Meter(Accuracy(0.1, 0.01), None, (0.0, 1e8), {})
    plan = plan_proof(expectation, point_of, OhmBench(()).able, meter, isolation_ohm=1e6)
    nets = [group.points for group in plan.scope.groups]
    broken = max(nets, key=int.bit_count)
    nets.remove(broken)
    bench = OhmBench([*nets, broken & -broken, broken & (broken - 1)])
    found = finish(run_plan(plan, expectation, bench, cleared(loom, bench)))
    assert not found.sound
    return (time.process_time() - begun - bench.inside.spent_s) * 1e3


def peers(points: int) -> list[str]:
    """Wall time over the simulated scanner at its own pace and line rate: ours, point by point, all pairs."""
    from loomproof.bench.opening import open_bench
    from loomproof.bench.simulation import Simulation
    from loomproof.loom.model import Connector, ConnectorKind, Hazard, Loom, Wire
    from loomproof.loom.writing import write_folder
    from loomproof.planning.net_access import scope_of

    connector = Connector(
        "C", ConnectorKind.PLUG, (tuple(str(c + 1) for c in range(points)),), hazard=Hazard.NONE
    )
    splices: list[Connector] = []
    wires: list[Wire] = []
    for net in random_nets(random.Random(points), points):
        ends = [connector.ends[p] for p in bits(net)]
        joins = list(pairwise(ends))
        if len(ends) > 2:
            splices.append(Connector(f"S{len(splices) + 1}", ConnectorKind.SPLICE))
            joins = [(end, splices[-1].ends[0]) for end in ends]
        wires += [
            Wire(f"W{len(wires) + k}", a, b, length_m=1, csa_mm2=0.5) for k, (a, b) in enumerate(joins, 1)
        ]
    loom = Loom("peers", connectors=(connector, *splices), wires=tuple(wires))
    lines = [f"| way, {points} points, 115200 Bd | questions | s | ratio |", "|---|---|---|---|"]
    with tempfile.TemporaryDirectory() as folder:
        write_folder(loom, Path(folder) / "loom")
        simulation = Simulation(Path(folder) / "loom", ["--paced"])
        try:
            with open_bench(simulation.address) as bench:
                scope = scope_of(expect(loom), in_order(loom.cavities).point_of)
                vectors = (empty_vector(scope.groups), *sense_vectors(scope.groups))
                bench.set_settle(1000)

                def ours() -> int:
                    lows = bench.sense([vector.drive for vector in vectors])
                    assert not any(v.wrong(low) for v, low in zip(vectors, lows, strict=True))
                    return len(vectors)

                def point_by_point() -> int:
                    for p in range(points):
                        bench.sense([1 << p])
                    return points

                def all_pairs_one_by_one() -> int:
                    for p in range(points):
                        for _ in range(p):
                            bench.sense([1 << p])
                    return points * (points - 1) // 2

                first = 0.0
                ways: list[tuple[str, Callable[[], int]]] = [
                    ("ours: one batch, one-way couplings excluded", ours),
                    ("one point at a time", point_by_point),
                    ("every pair by command", all_pairs_one_by_one),
                ]
                for what, ask in ways:
                    begun = time.perf_counter()
                    asked = ask()
                    spent = time.perf_counter() - begun
                    first = first or spent
                    lines.append(f"| {what} | {asked} | {spent:.3f} | {spent / first:.0f} |")
        finally:
            simulation.end()
    return lines


def main(argv: Sequence[str] | None = None) -> int:
    """Measure, write the table, and say whether the figures are reached."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--short", action="store_true", help="fewer runs")
    options = parser.parse_args(argv)
    rng = random.Random(options.seed)
    text = ["| N | figure | measured | must | reached |", "|---|---|---|---|---|"]
    good = True
    for points in SIZES:
        assert antichain_length(round(0.4 * points)) == ONE_WAY[points]
        lines, reached = counts(points, rng, 10 if options.short else 60 if points < 2048 else 40)
        text += lines
        good &= reached
    text += ["", "Hook-ups", ""]
    for lines, reached in (designs(), hook_up_sets(rng, 7 if options.short else 42)):
        text += ["", *lines]
        good &= reached
    text += ["", "Peers, in the same run", "", *peers(32 if options.short else 128)]
    flags = " ".join(shlex.quote(word) for word in (argv if argv is not None else sys.argv[1:]))
    head = [
        "# Asking: counts, times, hook-ups",
        "",
        f"{datetime.now(UTC):%Y-%m-%d}, `python -m tests.figures asking {flags}`, seed {options.seed}, "
        f"{os.cpu_count()} cores, shared: host times are processor times, peers wall times.",
        "No hardware was measured.",
        "",
    ]
    print("\n".join(head + text))
    if not options.short:
        target = Path(__file__).parent / "results" / "asking.md"
        target.parent.mkdir(exist_ok=True)
        target.write_text("\n".join(head + text) + "\n", encoding="utf-8")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
