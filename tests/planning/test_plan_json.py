"""A saved plan, value by value: what it looks like, and that nothing is misread that was changed in it."""

from __future__ import annotations

import copy
import json
import math
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomproof.bench.seam import Accuracy
from loomproof.electrics.components import ComponentReading
from loomproof.errors import Do, InputError, Todo
from loomproof.loom.model import ComponentKind, End
from loomproof.planning.bounding import BoundReading
from loomproof.planning.meter import Meter
from loomproof.planning.net_access import Scope
from loomproof.planning.plan import ConductorReading, PartReading, Plan
from loomproof.planning.plan_json import SavedPlan, read_saved
from loomproof.planning.test_vectors import Group, Vector, all_points

A1, A2, B1 = End("A", "01"), End("A", "2"), End("B", "1")
PLAN = Plan(
    Scope(
        (Group(0b101, 0b100), Group(0b10, 0b10)),
        (0, 1),
        (frozenset({1}), frozenset()),
        {A1: 1, B1: 2, A2: 3},
        {1: A1, 2: B1, 3: A2},
        (End("B", "2"),),
    ),
    (Vector(0, 0, 0b111), Vector(0b100, 0b101, 0)),
    (ConductorReading(A1, A2, 4, 0.1, 0.2, math.inf, 0.25, True, ("W1",), defaults_used=True),),
    (
        PartReading(
            ComponentReading("D1", ComponentKind.DIODE, A1, B1, None, 1.0, 2.0, math.inf, (0.2, 0.9)),
            3,
            math.inf,
        ),
    ),
    ("W9",),
    ("C1",),
    (BoundReading("C1", A1, B1, 0b1, 0b10, 5.0),),
    1e6,
    Meter(Accuracy(0.1, 0.01), None, (0.0, 1e7), {1: 0.2}),
    ("C1",),
)
SAVED = SavedPlan(plan=PLAN, loom="lamp", loom_digest="d1", adapter_digest="d2")
PART = {
    "component": "D1",
    "kind": "diode",
    "a": "A:01",
    "b": "B:1",
    "expected_ohm": None,
    "lower_ohm": 1.0,
    "upper_ohm": 2.0,
    "missing_ohm": "open",
    "forward_v": [0.2, 0.9],
    "masked_by": [],
    "defaults_used": False,
    "alike": [],
    "against": [],
    "beside": False,
    "charges": False,
}
PLAIN: dict[str, Any] = {
    "schema": 2,
    "loom": "lamp",
    "loom_digest": "d1",
    "adapter_digest": "d2",
    "plan": {
        "scope": {
            "groups": [{"points": "0x5", "head": "0x4"}, {"points": "0x2", "head": "0x2"}],
            "net_of_group": [0, 1],
            "reach": [[1], []],
            "point_of": {"A:01": 1, "B:1": 2, "A:2": 3},
            "end_of": {"1": "A:01", "2": "B:1", "3": "A:2"},
            "untested": ["B:2"],
        },
        "vectors": [
            {"drive": "0x0", "must_low": "0x0", "must_high": "0x7"},
            {"drive": "0x4", "must_low": "0x5", "must_high": "0x0"},
        ],
        "conductors": [
            {
                "a": "A:01",
                "b": "A:2",
                "wires": 4,
                "expected_ohm": 0.1,
                "sound_ohm": 0.2,
                "limit_ohm": "open",
                "shown_ohm": 0.25,
                "decided": True,
                "seen": ["W1"],
                "defaults_used": True,
            }
        ],
        "parts": [{"part": PART, "lower_ohm": 3, "upper_ohm": "open"}],
        "hidden": ["W9"],
        "unmeasured_parts": ["C1"],
        "bounds": [
            {
                "component": "C1",
                "a": "A:01",
                "b": "B:1",
                "one": 1,
                "other": 2,
                "lower_ohm": 5.0,
                "upper_ohm": "open",
                "alone": False,
                "charges": False,
            }
        ],
        "isolation_ohm": 1e6,
        "meter": {
            "two_wire": {"ohm": 0.1, "ratio": 0.01},
            "four_wire": None,
            "range_ohm": [0.0, 1e7],
            "lead_ohm": {"1": 0.2},
            "lead_u_ohm": 0.0,
            "repeatability_ohm": 0.0,
            "reproducibility_ohm": 0.0,
            "repeats": 1,
            "temperature_u_k": 0.0,
            "test_current_a": 0.02,
            "test_voltage_v": 5.0,
            "zeroed": False,
        },
        "capacitors": ["C1"],
        "by_beep": False,
    },
}


def test_what_a_saved_plan_looks_like() -> None:
    assert json.loads(json.dumps(SAVED.plain(), allow_nan=False)) == PLAIN
    assert read_saved(json.dumps(PLAIN)) == SAVED


def places(value: object, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Every place of the tree, the whole left out."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        yield (*path, key)
        yield from places(inner, (*path, key))


WRONG: tuple[object, ...] = (None, True, -1.5, "x", {})


@pytest.mark.parametrize("path", list(places(PLAIN)), ids=lambda path: ".".join(map(str, path)))
def test_what_is_changed_is_read_as_it_stands_or_refused(path: tuple[str | int, ...]) -> None:
    for wrong in WRONG:
        changed = copy.deepcopy(PLAIN)
        target: Any = changed
        for key in path[:-1]:
            target = target[key]
        target[path[-1]] = wrong
        try:
            read = read_saved(json.dumps(changed))
        except InputError:
            continue
        assert json.loads(json.dumps(read.plain())) == changed
        assert all(isinstance(end, End) for end in read.plan.scope.point_of)
        assert all(isinstance(point, int) for point in read.plan.scope.end_of)


REFUSED = [
    (("plan", "scope", "groups"), {}, "plan.scope.groups: Input should be a valid array (found {})"),
    (("plan", "scope", "groups", 0, "head"), "4", "groups.0.head: points as a hex text such as 0x1f"),
    (
        ("plan", "scope", "reach", 0, 0),
        "1",
        "plan.scope.reach.0.0: Input should be a valid integer (found '1')",
    ),
    (
        ("plan", "scope", "point_of", "A:01"),
        None,
        "point_of.A:01: Input should be a valid integer (found None)",
    ),
    (("plan", "scope", "untested", 0), "A:", "scope.untested.0: 'A:': a cavity is missing after the colon"),
    (("plan", "meter", "range_ohm"), [1.0], "plan.meter.range_ohm.1 is missing"),
    (("plan", "meter", "two_wire"), None, "plan.meter.two_wire: Input should be an object (found None)"),
    (
        ("plan", "meter", "lead_u_ohm"),
        "open",
        "meter.lead_u_ohm: Input should be a valid number (found 'open')",
    ),
    (("plan", "conductors", 0, "wires"), 3, "plan.conductors.0.wires: Input should be 2 or 4 (found 3)"),
    (
        ("plan", "conductors", 0, "limit_ohm"),
        "much",
        "limit_ohm: Input should be a valid number (found 'much')",
    ),
    (("plan", "conductors", 0, "seen"), ["W1", 2], "seen.1: Input should be a valid string (found 2)"),
    (("plan", "hidden"), None, "plan.hidden: Input should be a valid array (found None)"),
    (("plan", "vectors", 1), {"drive": "0x1"}, "plan.vectors.1.must_low is missing"),
    (("plan", "conductors", 0, "decided"), 1, "decided: Input should be a valid boolean (found 1)"),
    (
        ("plan", "parts", 0, "part", "colour"),
        1,
        "plan.parts.0.part.colour: Unexpected keyword argument (found 1)",
    ),
]


@pytest.mark.parametrize(("path", "wrong", "said"), REFUSED)
def test_where_and_what_is_wrong_is_said(path: tuple[str | int, ...], wrong: object, said: str) -> None:
    changed = copy.deepcopy(PLAIN)
    target: Any = changed
    for key in path[:-1]:
        target = target[key]
    target[path[-1]] = wrong
    with pytest.raises(InputError) as refused:
        read_saved(json.dumps(changed), "plan.json")
    told = str(refused.value)
    assert told.startswith("plan.json is no saved plan: plan.")
    assert said in told
    assert refused.value.do == Do(Todo.PLAN)


def test_a_plan_saved_before_a_field_was_there_is_read() -> None:
    changed = copy.deepcopy(PLAIN)
    del changed["plan"]["capacitors"]
    del changed["plan"]["meter"]["zeroed"]
    del changed["plan"]["conductors"][0]["seen"]
    read = read_saved(json.dumps(changed)).plan
    assert read.capacitors == ()
    assert read.conductors[0].seen == ()
    assert read.meter == PLAN.meter
    del changed["plan"]["conductors"][0]["decided"]
    with pytest.raises(InputError, match=r"conductors\.0\.decided is missing"):
        read_saved(json.dumps(changed))


@pytest.mark.parametrize("whole", [None, [], "x", 2, {}, {"schema": "2"}, {"schema": 3}])
def test_what_is_no_saved_plan_is_refused(whole: object) -> None:
    with pytest.raises(
        InputError, match=r"the plan is no saved plan: (schema: )?Input should be |loom is missing"
    ):
        read_saved(json.dumps(whole))
    for key in ("loom", "loom_digest", "adapter_digest", "plan"):
        with pytest.raises(InputError, match=f"the plan is no saved plan: {key} is missing$"):
            read_saved(json.dumps({name: value for name, value in PLAIN.items() if name != key}))
    for text in ("{x", '{"schema": 2', b"\xff", ""):
        with pytest.raises(InputError, match="the plan is no saved plan: Invalid JSON: "):
            read_saved(text)


@given(st.sets(st.integers(1, 30_000), min_size=1, max_size=6), st.data())
def test_sets_of_far_points_are_the_same_sets(points: set[int], data: st.DataObject) -> None:
    """However a group keeps its points: what it tells is what it was told."""
    mask = sum(1 << (point - 1) for point in points)
    head = 1 << (data.draw(st.sampled_from(sorted(points))) - 1)
    group = Group(mask, head)
    assert (group.points, group.head, group.size) == (mask, head, len(points))
    assert group == Group(mask, head)
    assert hash(group) == hash(Group(mask, head))
    assert eval(repr(group)) == group
    near = Group(0b1011, 0b10)
    assert all_points([group, near]) == mask | 0b1011
