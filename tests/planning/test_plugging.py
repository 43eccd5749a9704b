"""Hook-ups: what must meet, what is refused, which points are given out, and what is added afterwards."""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence

import pytest

from loomproof.errors import Do, InputError, Todo, UsageError
from loomproof.loom.model import Connector, ConnectorKind, End, Loom
from loomproof.planning.hookup_follow_ups import with_follow_ups
from loomproof.planning.hookup_plan import HookUp, HookUpPlan, Unit, hook_ups_plain, read_hook_ups
from loomproof.planning.hookup_points import hooked
from loomproof.planning.hookup_problem import open_cuts, proves, rows_of
from loomproof.planning.hookup_search import (
    Constraints,
    NotPossibleError,
    plan_hook_ups,
    signatures_of,
)
from tests.planning.test_covering import members, met


def small(sizes: Sequence[int], housings: Sequence[str] = ()) -> tuple[Loom, list[list[End]]]:
    """Plugs of these sizes, each cavity a net of its own, and a splice that nobody can plug."""
    plugs = tuple(
        Connector(
            f"C{k}",
            ConnectorKind.PLUG,
            (tuple(str(c + 1) for c in range(size)),),
            housing=housings[k] if housings else "",
        )
        for k, size in enumerate(sizes)
    )
    loom = Loom("small", connectors=(*plugs, Connector("S", ConnectorKind.SPLICE)))
    return loom, [[end] for end in loom.cavities]


def hang_together(sets: Sequence[int], signature: int) -> bool:
    """Whether the units of a net are one after sharing sets, and each is plugged at all."""
    parts = [{u} for u in members(signature)]
    for one in sets:
        joined = [part for part in parts if part & members(one)]
        parts = [part for part in parts if not part & members(one)] + (
            [set().union(*joined)] if joined else []
        )
    return len(parts) == 1 and any(members(one) & members(signature) for one in sets)


@pytest.mark.parametrize("seed", range(150))
def test_sets_prove_where_nets_meet_and_each_hangs_together(seed: int) -> None:
    rng = random.Random(seed)
    signatures = tuple({rng.randrange(1, 32) for _ in range(rng.randint(1, 4))})
    rows = rows_of(signatures)
    for _ in range(12):
        sets = [rng.randrange(1, 32) | rng.randrange(32) for _ in range(rng.randint(1, 4))]
        whole = all(hang_together(sets, one) for one in signatures) and all(
            met(sets, pair) for pair in itertools.combinations(signatures, 2)
        )
        assert proves(sets, signatures) == whole
        assert all(met(sets, row) for row in rows) == whole
        for one in signatures:
            cuts = open_cuts(sets, one)
            assert bool(cuts) == (not hang_together(sets, one) and len(members(one)) > 1)
            assert all(a | b == one and not a & b and not met(sets, (a, b)) for a, b in cuts)


def test_cuts_of_a_net_on_up_to_six_units_are_all_asked_for() -> None:
    assert len(rows_of([0b111111])) == 31
    assert rows_of([0b1111111]) == ((0b1111111, 0b1111111),)
    assert rows_of([0b100]) == ((0b100, 0b100),)
    assert rows_of([0b1, 0b110]) == ((0b10, 0b100), (0b1, 0b110))


def test_nets_on_the_same_units_count_once() -> None:
    loom, _ = small([2, 2])
    units = tuple(Unit(c.name, c.name, c.ends) for c in loom.connectors if c.ends)
    a1, a2, b1, b2 = loom.cavities
    assert signatures_of([[a1, b1], [b2], [a2, b2], []], units) == (0b11, 0b10)


def kept_to(hook_up: HookUp) -> dict[str, list[int]]:
    return {unit.name: [hook_up.point_of[end] for end in unit.ends] for unit in hook_up.units}


@pytest.mark.parametrize("seed", range(60))
def test_points_are_given_out_lowest_first_in_one_run_where_there_is_one(seed: int) -> None:
    rng = random.Random(seed)
    sizes = [rng.randint(1, 4) for _ in range(5)]
    loom, _ = small(sizes)
    units = tuple(Unit(c.name, c.name, c.ends) for c in loom.connectors if c.ends)
    sets = [rng.randrange(1, 32) for _ in range(5)]
    points = max(sum(sizes[u] for u in members(one)) for one in sets) + rng.randrange(2)
    on: dict[str, list[int]] = {}
    for one, hook_up in zip(sets, hooked(sets, units, points), strict=True):
        names = {f"C{u}" for u in members(one)}
        assert {unit.name for unit in hook_up.units} == names
        assert set(hook_up.new) == names - set(on)
        assert set(hook_up.off) == set(on) - names
        held = kept_to(hook_up)
        assert len(set(hook_up.point_of.values())) == len(hook_up.point_of)
        expected = {name: where for name, where in on.items() if name in names}
        free = set(range(1, points + 1)) - {p for where in expected.values() for p in where}
        for name in sorted(names - set(on), key=lambda name: (-sizes[int(name[1:])], name)):
            size = sizes[int(name[1:])]
            runs = [r for k in sorted(free) if set(r := range(k, k + size)) <= free]
            expected[name] = list(runs[0]) if runs else sorted(free)[:size]
            free -= set(expected[name])
        assert held == expected
        on = held


def test_what_nobody_can_plug_so_is_refused_with_the_place() -> None:
    loom, nets = small([2, 3, 3], ["H1", "H2", "H2"])
    for wrong, said in (
        (Constraints(split=("S",)), "S: the loom has no such connector"),
        (Constraints(stay=("C00",)), "C00: the loom has no such connector"),
        (Constraints(owned={"H9": 1}), "H9: no connector has this housing"),
        (Constraints(owned={"H2": 0}), "H2: 0 adapter plugs can't be planned with"),
    ):
        with pytest.raises(UsageError, match=said):
            plan_hook_ups(loom, nets, 8, wrong)
    with pytest.raises(NotPossibleError, match=r"C1 takes 3 points of 5, .*C1 with C2") as refused:
        plan_hook_ups(loom, nets, 5)
    assert (refused.value.connector, refused.value.do) == ("C1", Do(Todo.SPLIT, "C1"))
    with pytest.raises(NotPossibleError, match="C1 should stay plugged and take 3 points of 2") as refused:
        plan_hook_ups(loom, nets, 2, Constraints(stay=("C1",)))
    assert refused.value.connector == "C1"
    with pytest.raises(
        NotPossibleError, match=r"C2 takes 3 points of 7 beside C1, which stays plugged"
    ) as refused:
        plan_hook_ups(*small([2, 3, 3]), 7, Constraints(stay=("C1",)))
    with pytest.raises(NotPossibleError, match=r"adapter plugs owned.*C1 with C2") as refused:
        plan_hook_ups(loom, nets, 8, Constraints(owned={"H2": 1}))
    assert refused.value.connector == ""
    assert len(plan_hook_ups(loom, nets, 8, Constraints(owned={"H2": 2})).hook_ups) == 1


def test_the_connector_to_blame_is_the_one_that_most_is_in_the_way_of() -> None:
    """C0 of 6 fits beside none of the others on 7 points; the others of 2 fit beside each other."""
    loom, nets = small([2, 6, 2, 2])
    with pytest.raises(NotPossibleError, match=r"^C1 takes 6 points of 7, and what must meet it") as refused:
        plan_hook_ups(loom, nets, 7)
    assert refused.value.connector == "C1"


def test_a_plug_is_split_only_where_that_saves_hook_ups() -> None:
    loom, nets = small([4, 2])
    whole = plan_hook_ups(loom, nets, 6, Constraints(split=("C0",)))
    assert [unit.name for unit in whole.units] == ["C0", "C1"]
    assert len(whole.hook_ups) == 1
    # 16 leads on 8 points: four groups of four meet two by two in six; finer ones are plugged more.
    loom, nets = small([16])
    split = plan_hook_ups(loom, nets, 8, Constraints(split=("C0",)))
    assert len(split.hook_ups) == 6
    assert {unit.name for unit in split.units} == {"C0 1 to 4", "C0 5 to 8", "C0 9 to 12", "C0 13 to 16"}
    assert {unit.connector for unit in split.units} == {"C0"}
    assert sorted(end for unit in split.units for end in unit.ends) == sorted(loom.cavities)
    with pytest.raises(NotPossibleError):
        plan_hook_ups(loom, nets, 1, Constraints(split=("C0",)))


@pytest.mark.parametrize(("size", "count"), [(16, 1), (16, 2), (16, 4), (12, 6), (16, 8), (14, 16)])
def test_a_plug_is_split_no_finer_than_saves_hook_ups(size: int, count: int) -> None:
    """Beside C1, which everything hangs on, there is room for one of so many groups of C0's leads."""
    loom, _ = small([size, 14])
    ends, others = (loom.by_name[name].ends for name in ("C0", "C1"))
    nets = [[other, *(end for k, end in enumerate(ends) if k % 14 == n)] for n, other in enumerate(others)]
    count = min(count, size)
    plan = plan_hook_ups(loom, nets, 14 + size // count, Constraints(split=("C0",)))
    groups = [unit for unit in plan.units if unit.connector == "C0"]
    assert [len(unit.ends) for unit in groups] == [size // count] * count
    assert len(plan.hook_ups) == count


def test_no_plug_is_put_on_twice_where_all_can_stay_as_long_as_they_are_needed() -> None:
    """Six plugs of 15 cavities on 10 points in three hook-ups: each is put on once."""
    loom, _ = small([1, 4, 2, 4, 1, 3])
    rows = ["01", "11 33", "12 21 31", "13 34", "14 52 53", "22 32 51", "41"]  # 12: plug C1, cavity 2
    nets = [[End(f"C{text[0]}", text[1]) for text in row.split()] for row in rows]
    plan = plan_hook_ups(loom, nets, 10)
    assert (len(plan.hook_ups), plan.plug_ins) == (3, 6)


@pytest.mark.parametrize("seed", range(25))
def test_a_plan_proves_its_loom_and_counts_its_plug_ins(seed: int) -> None:
    rng = random.Random(seed)
    loom, _ = small([rng.randint(1, 3) for _ in range(5)], ["H"] * 5)
    nets: dict[int, list[End]] = {}
    for end in loom.cavities:
        nets.setdefault(rng.randrange(5), []).append(end)
    limits = Constraints(stay=("C1",) if rng.random() < 0.5 else (), owned={"H": 3})
    try:
        plan = plan_hook_ups(loom, nets.values(), 8, limits)
    except NotPossibleError:
        return
    unit_of = {end: int(end.connector[1:]) for end in loom.cavities}
    sets = [sum(1 << int(unit.name[1:]) for unit in hook_up.units) for hook_up in plan.hook_ups]
    assert proves(sets, [sum({1 << unit_of[end] for end in net}) for net in nets.values()])
    assert plan.plug_ins == sum(len(hook_up.new) for hook_up in plan.hook_ups)
    assert plan.bound <= len(sets)
    for hook_up in plan.hook_ups:
        assert len(hook_up.units) <= 3
        assert set(limits.stay) <= {unit.name for unit in hook_up.units}
        assert len(hook_up.point_of) <= 8
    assert read_hook_ups(hook_ups_plain(plan), "it") == plan


def pair(loom: Loom, a: int, b: int) -> tuple[frozenset[End], frozenset[End]]:
    return frozenset({loom.by_name[f"C{a}"].ends[0]}), frozenset({loom.by_name[f"C{b}"].ends[-1]})


def test_pairs_that_must_be_read_together_are_met_in_hook_ups_added() -> None:
    loom, _ = small([2, 2, 2, 2])
    chain = [[loom.by_name[f"C{k}"].ends[0], loom.by_name[f"C{k + 1}"].ends[1]] for k in range(3)]
    plan = plan_hook_ups(loom, chain, 4)
    pairs = [pair(loom, 0, 3), pair(loom, 0, 2), pair(loom, 3, 0)]
    more = with_follow_ups(plan, pairs)
    assert more.hook_ups[: len(plan.hook_ups)] == plan.hook_ups
    added = more.hook_ups[len(plan.hook_ups) :]
    for a, b in pairs[:3]:
        assert any(a & set(hook_up.point_of) and b & set(hook_up.point_of) for hook_up in added)
    assert len(added) == 2
    before = plan.hook_ups[-1]
    for hook_up in added:
        assert set(hook_up.point_of.values()) <= {1, 2, 3, 4}
        names, last = {u.name for u in hook_up.units}, {u.name for u in before.units}
        assert (set(hook_up.new), set(hook_up.off)) == (names - last, last - names)
        for name in names & last:
            assert kept_to(hook_up)[name] == kept_to(before)[name]
        before = hook_up
    assert with_follow_ups(plan, []) == plan


def test_what_can_never_be_plugged_together_is_left_out_of_hook_ups_added() -> None:
    loom, _ = small([2, 2, 2], ["H1", "H2", "H2"])
    units = tuple(Unit(f"C{k}", f"C{k}", loom.by_name[f"C{k}"].ends) for k in range(3))
    hook_ups = tuple(hooked([0b11, 0b101], units, 4))
    plan = HookUpPlan(4, hook_ups, 3, 2, "", limits=((("C1", "C2"), 1),))
    assert with_follow_ups(plan, [pair(loom, 1, 2)]) == plan
    more = with_follow_ups(plan, [pair(loom, 1, 2), pair(loom, 0, 1)])
    assert [{u.name for u in h.units} for h in more.hook_ups[2:]] == [{"C0", "C1"}]
    stays = HookUpPlan(4, hook_ups, 3, 2, "", stay=("C0",))
    assert with_follow_ups(stays, [pair(loom, 1, 2)]) == stays


@pytest.mark.parametrize("wrong", [None, [], {}, {"schema": 0}, {"schema": 2}, {"schema": 1}])
def test_what_is_no_hook_up_plan_is_refused(wrong: object) -> None:
    with pytest.raises(InputError, match="it is no hook-up plan"):
        read_hook_ups(wrong, "it")
