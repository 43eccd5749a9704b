"""A plan saved and read again is the same plan, and asks the same."""

from __future__ import annotations

import json
from pathlib import Path

from loomproof.bench.adapter import in_order
from loomproof.bench.seam import Accuracy, Capabilities
from loomproof.electrics.expectation import expect
from loomproof.loom.reading import load
from loomproof.planning.meter import Meter
from loomproof.planning.plan import Plan, plan_proof
from loomproof.planning.plan_json import SavedPlan, questions_of, read_saved


def demo_plan(fixtures: Path, temperature_c: float = 20.0) -> SavedPlan:
    loom = load(fixtures / "hillclimb_engine").loom
    adapter = in_order(loom.cavities)
    meter = Meter(Accuracy(0.1, 0.01), Accuracy(0.001, 0.001), (0.01, 1e7), {1: 0.2})
    plan = plan_proof(
        expect(loom, temperature_c), adapter.point_of, Capabilities(200), meter, isolation_ohm=1e6
    )
    return SavedPlan(plan=plan, loom=loom.name, loom_digest=loom.digest, adapter_digest=adapter.digest)


def test_round_trip(fixtures: Path) -> None:
    saved = demo_plan(fixtures)
    assert saved.plan.conductors
    assert saved.plan.parts
    assert read_saved(json.dumps(saved.plain(), allow_nan=False)) == saved


def test_plans_at_two_temperatures_ask_the_same_and_judge_differently(fixtures: Path) -> None:
    cold, warm = demo_plan(fixtures, 5.0), demo_plan(fixtures, 35.0)
    assert cold != warm
    assert questions_of(cold.plan) == questions_of(warm.plan)


def test_a_plan_for_other_points_asks_something_else(fixtures: Path) -> None:
    loom = load(fixtures / "tail_lamp").loom
    plans: list[Plan] = [
        plan_proof(expect(loom), in_order(cavities).point_of, Capabilities(200), None)
        for cavities in (loom.cavities, loom.cavities[::-1])
    ]
    assert questions_of(plans[0]) != questions_of(plans[1])
