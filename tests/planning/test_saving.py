"""A plan saved and read again is the same plan, and asks the same."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.seam import Accuracy, Capabilities
from loomproof.electrics.expectation import expect
from loomproof.errors import InputError
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
    return SavedPlan(plan, loom.name, loom.digest, adapter.digest)


def through_json(saved: SavedPlan) -> object:
    return json.loads(json.dumps(saved.plain(), allow_nan=False))


def test_round_trip(fixtures: Path) -> None:
    saved = demo_plan(fixtures)
    assert saved.plan.conductors
    assert saved.plan.parts
    assert read_saved(through_json(saved)) == saved


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


@pytest.mark.parametrize(
    ("path", "value", "told"),
    [
        ((), [], "schema 2"),
        (("schema",), 1, "schema 2"),
        (("loom_digest",), 7, "must be texts"),
        (("plan", "vectors", 0, "drive"), 5, r"plan.vectors\[0\].drive"),
        (("plan", "vectors", 0, "drove"), "0x1", "drove is missing or unknown"),
        (("plan", "conductors", 0, "a"), "ECU-A", "plan.conductors"),
        (("plan", "conductors", 0, "wires"), 3, "one of"),
        (("plan", "conductors", 0, "limit_ohm"), "much", "limit_ohm"),
        (("plan", "isolation_ohm"), True, "isolation_ohm"),
    ],
)
def test_what_is_wrong_is_told_with_its_place(
    fixtures: Path, path: tuple[str | int, ...], value: object, told: str
) -> None:
    plain: object = through_json(demo_plan(fixtures))
    target: object = plain
    for key in path[:-1]:
        target = target[key]  # type: ignore[index]  # the path is the test's own
    if path and path[-1] == "a":
        value = 12
    if path:
        target[path[-1]] = value  # type: ignore[index]  # the path is the test's own
    else:
        plain = value
    with pytest.raises(InputError, match=told):
        read_saved(plain)
