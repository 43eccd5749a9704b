"""A bench that measures and cannot sense: the same findings, in a stated number of readings."""

from __future__ import annotations

import random
from dataclasses import dataclass, field, replace

import networkx as nx
import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.questions import Answer, Question, Resistance
from loomproof.electrics.expectation import expect
from loomproof.jobs.prove import prove
from loomproof.judgement.conclude import Outcome
from loomproof.loom.model import Loom
from loomproof.measuring.events import finish
from loomproof.measuring.nets_by_resistance import low_pair
from loomproof.measuring.run import run_plan
from loomproof.planning.meter import Meter
from loomproof.planning.plan import Plan, plan_proof
from loomproof.planning.request import Request
from loomproof.results.document import Verdict
from tests.bench.torture import loom_of
from tests.cleared import cleared
from tests.diagnosis.injector import Bench, random_faults, random_loom
from tests.measuring.meter_bench import METER_ONLY, MeterBench, meter_bench


def proved(loom: Loom, *faults: str) -> tuple[Outcome, int]:
    """Prove a loom with faults; returns the outcome and the readings asked of the bench."""
    bench = meter_bench(loom, *faults)
    request = Request(loom, in_order(loom.cavities), "run", "2031-05-04T00:00:00Z")
    outcome = finish(prove(request, bench, cleared(loom, bench, meter_v=0.0)))
    assert isinstance(outcome, Outcome)
    return outcome, bench.readings


KINDS = (
    ("hillclimb_engine", ("open W45",), {("broken_wire", "W45")}),
    (
        "hillclimb_engine",
        ("short ECU-A:3 ECU-A:4",),
        {("added_wire", "ECU-A:3")},
    ),  # ECU-A:3 is a spare cavity
    ("hillclimb_engine", ("swap ECU-A:5 ECU-A:6",), {("crossed", "ECU-A:5")}),
    ("hillclimb_engine", ("high 4.7 W12",), {("resistive_wire", "W12")}),
    ("hillclimb_engine", ("high 4.7k W12",), {("resistive_wire", "W12")}),
    ("hillclimb_engine", ("leak 22k ECU-A:3 ECU-A:4",), {("leak", "ECU-A:4")}),
    ("hillclimb_engine", ("part 330 ECU-A:3 ECU-A:4",), {("added_part", "ECU-A:4")}),
    ("hillclimb_engine", ("value 4.7k R1",), {("wrong_value", "R1")}),
    ("hillclimb_engine", ("missing R1",), {("missing_part", "R1")}),
    ("hillclimb_engine", ("reversed D1",), {("reversed_diode", "D1")}),
    ("hillclimb_engine", ("missing D1",), {("missing_part", "D1")}),
    ("hillclimb_engine", ("exchange COIL1 COIL2",), {("exchanged", "COIL2:1")}),
    ("hillclimb_engine", ("open W1", "open W2", "open W3"), {("open_splice", "W1")}),
    (
        "hillclimb_engine",
        ("missing R1", "swap ECU-A:5 ECU-A:6", "open W45"),
        {("missing_part", "R1"), ("crossed", "ECU-A:6"), ("broken_wire", "W45")},
    ),
    (
        "hillclimb_engine",
        ("open W45", "leak 22k ECU-A:3 ECU-A:4", "high 4.7 W12"),
        {("broken_wire", "W45"), ("leak", "ECU-A:3"), ("resistive_wire", "W12")},
    ),
    ("tail_lamp", ("open W2", "open W3"), {("broken_wire", "W2"), ("broken_wire", "W3")}),
    ("tail_lamp", ("swap LAMP:1 LAMP:2",), {("crossed", "LAMP:1")}),
    ("hillclimb_engine", ("move ECU-A:1 ECU-A:3",), {("moved_to_spare", "ECU-A:3")}),
    (
        "tail_lamp",
        ("open W6", "swap LAMP:1 LAMP:2", "short BODY:4 BODY:5"),
        {("broken_wire", "W6"), ("crossed", "LAMP:2"), ("touching", "BODY:4")},
    ),
)


@pytest.mark.parametrize(
    ("name", "faults", "told"), KINDS, ids=[f"{name}: {', '.join(faults)}" for name, faults, _ in KINDS]
)
def test_every_kind_of_fault_is_told_with_its_place(
    name: str, faults: tuple[str, ...], told: set[tuple[str, str]]
) -> None:
    outcome, _ = proved(loom_of(name), *faults)
    assert outcome.document.verdict is Verdict.FAIL
    seen = {
        (finding.cause, name)
        for finding in outcome.findings
        for name in (*map(str, finding.cavities), *finding.wires, *finding.components)
    }
    assert told <= seen
    assert len(outcome.findings) == len(told), "one finding a fault, and none beside"
    assert all(finding.places and finding.repair for finding in outcome.findings)
    assert not [reason for reason in outcome.document.reasons if "no finding" in reason]


@pytest.mark.parametrize("name", ["hillclimb_engine", "tail_lamp"])
def test_a_sound_loom_passes_in_the_stated_number_of_readings(name: str) -> None:
    loom = loom_of(name)
    outcome, readings = proved(loom)
    assert outcome.document.verdict is Verdict.PASS
    assert outcome.measured.complete
    plan = outcome.plan
    bundles = isolated_conductors(plan)
    # One search for what is joined, isolation both ways round, and each part both ways round.
    # Four wires are held against two.
    conductors = sum(2 if reading.wires == 4 else 1 for reading in plan.conductors)
    planned = conductors + 2 * len(plan.parts) + 3 * (bundles - 1).bit_length()
    assert planned < readings <= planned + plan.control_readings
    assert plan.control_readings <= 8, "four nets again, by two wires and four"
    assert plan.isolation_readings == 3 * (bundles - 1).bit_length()


def isolated_conductors(plan: Plan) -> int:
    """The conductors that isolation is read between: those that components couple count as one."""
    graph: nx.Graph[int] = nx.Graph()
    graph.add_nodes_from(range(len(plan.scope.groups)))
    graph.add_edges_from((i, j) for i, others in enumerate(plan.scope.reach) for j in others)
    return nx.number_connected_components(graph)


@pytest.mark.parametrize("seed", range(200))
def test_halving_finds_a_pair_that_is_joined_in_the_stated_number_of_readings(seed: int) -> None:
    rng = random.Random(f"low pair {seed}")
    count = rng.choice((2, 3, 5, 8, 17, 64, 205))
    joined = {tuple(sorted(rng.sample(range(count), 2))) for _ in range(rng.choice((0, 0, 1, 1, 2, 5)))}
    asked = 0

    def low(a: int, b: int) -> bool:
        nonlocal asked
        asked += 1
        assert a & b == 0
        return any((a >> i & b >> j | a >> j & b >> i) & 1 for i, j in joined)

    rounds = (count - 1).bit_length()
    found = low_pair(low, [1 << k for k in range(count)])
    if not joined:
        assert found is None
        assert asked == rounds
    else:
        assert found is not None
        assert tuple(sorted(found)) in joined
        assert asked <= 3 * rounds


@dataclass
class GraphBench(MeterBench):
    """A meter on a graph: what hangs together (networkx) reads 0.03 Ω, all else is open."""

    home: dict[int, int] = field(default_factory=dict)

    def _answer(self, question: Question) -> Answer:
        if not isinstance(question, Resistance):
            return super()._answer(question)
        self.readings += 1
        a, b = (
            {self.home[p] for p in range(points.bit_length()) if points >> p & 1}
            for points in (question.a, question.b)
        )
        return 0.03 if a & b else float("inf")


@pytest.mark.parametrize("seed", range(150))
def test_nets_as_found_are_the_connected_parts_of_the_graph(seed: int) -> None:
    rng = random.Random(f"by ohms {seed}")
    loom = random_loom(rng, rng.choice((8, 20, 60)))
    faults = random_faults(rng, loom, rng.choice((0, 1, 1, 2, 4)))
    true = Bench(loom).build(faults)
    point_of = dict(in_order(loom.cavities).point_of)
    home = {point_of[end] - 1: k for k, net in enumerate(true) for end in net}
    bench = GraphBench(meter_bench(loom).scanner, replace(METER_ONLY, points=len(point_of)), home=home)
    meter = Meter(METER_ONLY.accuracy, None, (0.0, 1e8), {}) if METER_ONLY.accuracy else None
    expectation = expect(loom)
    plan = plan_proof(expectation, point_of, bench.able, meter, isolation_ohm=1e6)
    found = finish(run_plan(plan, expectation, bench, cleared(loom, bench)))
    assert set(found.groups) == set(true)
    if set(true) != {frozenset(net.cavities) for net in expectation.nets if net.cavities}:
        assert not found.sound
