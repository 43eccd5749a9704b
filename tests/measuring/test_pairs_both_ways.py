"""Pairs read both ways round, nets told apart by ohms alone, ends touched with a probe: by hand."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest

from loomproof.bench.seam import singles
from loomproof.electrics.components import ComponentReading
from loomproof.loom.model import ComponentKind, End
from loomproof.measuring.nets_by_resistance import low_pair, points_of_low_parts, split_nets
from loomproof.measuring.probe_ends import Touch, _group_of
from loomproof.measuring.reciprocal import (
    _one_way,
    refuse_blind_diode_test,
    refuse_one_way_resistors,
    refuse_rectifying_metal,
    suspects,
)
from loomproof.planning.bounding import BoundReading
from loomproof.planning.plan import PartReading, Plan
from loomproof.results.measured import Decision, JudgedDiode, Path
from tests.measuring.scripted import (
    Scripted,
    between,
    judged,
    meter,
    ohmmeter_of,
    one_after_the_other,
    part,
    refused,
)
from tests.planning.test_meter_and_reach import component, scope_of_sizes

INF = math.inf
SCOPE = scope_of_sizes([2] * 6)
PLAN = Plan(SCOPE, ())


@pytest.mark.parametrize(
    ("forward", "backward", "found"),
    [
        (1.0, INF, (1, 2)),
        (INF, 1.0, (2, 1)),
        (1.0, 1.0, None),
        (1.0, 1.35, None),  # ±0.1 Ω each: by more than twice both together
        (1.0, 1.45, (1, 2)),
        (7.35, INF, (1, 2)),  # 0.15 V at 20 mA are 7.5 Ω: more may be a diode
        (7.45, INF, None),
        (INF, INF, None),
    ],
)
def test_metal_conducts_both_ways(forward: float, backward: float, found: tuple[int, int] | None) -> None:
    asker = Scripted(between({(1, 2): forward, (2, 1): backward}))
    seen = _one_way(ohmmeter_of(asker, SCOPE), 1, 2)
    assert (seen and seen[:2]) == found
    if seen:
        assert seen[2:] == (min(forward, backward), max(forward, backward))
        said = refused(refuse_rectifying_metal, ohmmeter_of(asker, SCOPE), [(1, 2)])
        assert "times of" in said
        assert "so few ohms conduct both ways in any loom" in said
    else:
        assert not refused(refuse_rectifying_metal, ohmmeter_of(asker, SCOPE), [(1, 2)])


def test_a_way_that_turns_or_is_met_once_is_no_relay() -> None:
    turning = Scripted(one_after_the_other([1.0, INF, INF, 1.0] * 9))
    assert _one_way(ohmmeter_of(turning, SCOPE), 1, 2) is None
    once = Scripted(one_after_the_other([1.0, INF, 1.0, 1.0]))
    assert _one_way(ohmmeter_of(once, SCOPE), 1, 2) is None


def test_a_small_meter_current_knows_fewer_ohms_for_metal() -> None:
    """At 50 mA the 0.15 V are 3 Ω."""
    for ohm, found in ((2.8, True), (3.0, False)):
        asker = Scripted(between({(1, 2): ohm}))
        made = ohmmeter_of(asker, SCOPE, meter(test_current_a=0.05))
        assert bool(_one_way(made, 1, 2)) is found


def diode(forward: float, unit: str = "V", decision: Decision = Decision.FAIL) -> JudgedDiode:
    return JudgedDiode("D1", End("0", "1"), End("1", "1"), forward, INF, unit, decision, reversed=False)


@pytest.mark.parametrize(
    ("there", "back", "volts", "blind"),
    [
        # 5 V and 20 mA: across 125 Ω half of the voltage is left, and a diode may be read as up to 250 Ω.
        (124.0, 124.0, INF, True),
        (126.0, 126.0, INF, False),
        (249.0, INF, INF, True),
        (251.0, INF, INF, False),
        (249.0, 249.0, INF, False),
        (100.0, INF, 0.6, False),
        (INF, INF, INF, False),
    ],
)
def test_a_diode_test_that_finds_no_current_where_ohms_find_a_diode(
    there: float, back: float, volts: float, blind: bool
) -> None:
    asker = Scripted(between({(1, 4): there, (4, 1): back}), volt=lambda _a, _b: volts)
    made = ohmmeter_of(asker, SCOPE)
    assert bool(refused(refuse_blind_diode_test, made, [diode(INF)])) is blind
    for other in (diode(0.6), diode(INF, "ohm"), diode(INF, decision=Decision.PASS)):
        assert not refused(refuse_blind_diode_test, made, [other])
    assert bool(refused(refuse_blind_diode_test, made, [diode(0.6), diode(INF)])) is blind


def read_parts(charges: bool = False, upper: float = 110.0) -> Plan:
    reading = ComponentReading(
        "R1", ComponentKind.RESISTOR, End("0", "1"), End("1", "1"), 100.0, 90.0, upper, INF, charges=charges
    )
    return Plan(SCOPE, (), parts=(PartReading(reading, 90.0, upper),))


def test_a_part_read_right_one_way_and_open_the_other_is_a_relay_where_metal_beside_it_is_too() -> None:
    opened = judged("0:1", "1:1", INF, 100.0, 110.0, Decision.FAIL, lower=90.0, part="R1")
    stuck = {(1, 4): INF, (4, 1): 100.0, (1, 2): 0.5, (2, 1): INF, (4, 8): 0.5, (8, 4): 0.5}
    assert refused(
        refuse_one_way_resistors, read_parts(), ohmmeter_of(Scripted(between(stuck)), SCOPE), [opened]
    )
    sound = stuck | {(2, 1): 0.5}
    for plan, ohm, reading in (
        (read_parts(), sound, opened),
        (read_parts(charges=True), stuck, opened),
        (read_parts(upper=INF), stuck, opened),
        (read_parts(), stuck, replace(opened, component="R2")),
        (read_parts(), stuck, replace(opened, measured_ohm=300.0)),
        (read_parts(), stuck | {(1, 4): 300.0}, opened),
        (read_parts(), stuck | {(4, 1): 89.8}, opened),
        (read_parts(), stuck | {(4, 1): 110.2}, opened),
    ):
        assert not refused(
            refuse_one_way_resistors, plan, ohmmeter_of(Scripted(between(ohm)), SCOPE), [reading]
        )
    for edge in (89.95, 110.05):
        asker = Scripted(between(stuck | {(4, 1): edge}))
        assert refused(refuse_one_way_resistors, read_parts(), ohmmeter_of(asker, SCOPE), [opened])
    far = stuck | {(2, 1): 0.5, (8, 4): INF}
    assert refused(
        refuse_one_way_resistors, read_parts(), ohmmeter_of(Scripted(between(far)), SCOPE), [opened]
    )


def test_what_would_be_blamed_is_read_both_ways_and_not_where_a_capacitor_lies() -> None:
    bound = BoundReading("C1", End("4", "1"), End("5", "1"), 1, 4, 5.0, charges=True)
    plan = Plan(SCOPE, (), bounds=(bound,))
    bad = part("R1", 0, 1, 100.0, 500.0)
    there = [
        bad,
        replace(bad, decision=Decision.PASS),
        judged("2:1", "2:2", INF, 1.0, 2.0, Decision.FAIL),
        judged("2:1", "2:2", 5.0, 1.0, 2.0, Decision.FAIL),
        part("R4", 4, 1, 100.0, 500.0),
        judged("4:1", "4:2", INF, 1.0, 2.0, Decision.FAIL),
    ]
    diodes = [
        diode(INF),
        replace(diode(INF, decision=Decision.PASS), anode=End("3", "1")),
        replace(diode(INF), cathode=End("5", "2")),
    ]
    leaks = [Path(End("0", "2"), End("2", "1"), 5.0, 0.1), Path(End("0", "2"), End("4", "2"), 5.0, 0.1)]
    ways = [(1, 4), (1, 1 << 8), (1 << 10, 4)]
    found = list(suspects(plan, there, diodes, ways, leaks))
    bits = {"0:1": 1, "1:1": 4, "2:1": 16, "2:2": 32, "0:2": 2, "4:1": 256, "4:2": 512}
    assert found == [
        (1, 4),
        (bits["0:1"], bits["1:1"]),
        (bits["2:1"], bits["2:2"]),
        (bits["4:1"], bits["4:2"]),
        (bits["0:1"], bits["1:1"]),
        (bits["0:2"], bits["2:1"]),
    ]


@pytest.mark.parametrize("seed", range(60))
def test_a_pair_that_reads_low_is_found_by_halving(seed: int) -> None:
    rng = random.Random(seed)
    count = rng.randint(1, 12)
    low = {tuple(rng.sample(range(count), 2)) for _ in range(rng.randint(0, 2))} if count > 1 else set()
    asked = 0

    def reads_low(a: int, b: int) -> bool:
        nonlocal asked
        asked += 1
        assert not a & b
        return any((a >> i & 1 and b >> j & 1) or (a >> j & 1 and b >> i & 1) for i, j in low)

    found = low_pair(reads_low, [1 << k for k in range(count)])
    rounds = (count - 1).bit_length()
    assert (found is None) == (not low)
    if found is None:
        assert asked == rounds
    else:
        assert tuple(found) in {*low, *(pair[::-1] for pair in low)}
        assert asked <= 3 * rounds


@pytest.mark.parametrize("seed", range(60))
def test_nets_are_told_apart_by_what_reads_low(seed: int) -> None:
    """Conductors of a bench without sense: opens by the readings along them, shorts by halving."""
    rng = random.Random(seed)
    points = [1 << k for k in range(12)]
    home = {p: k // 2 for k, p in enumerate(points)}  # as described: two points each
    real = dict(home)
    for net in rng.sample(range(6), rng.randint(0, 2)):
        real[1 << 2 * net] = 10 + net  # an open: its first point is on its own
    for _ in range(rng.randint(0, 2)):
        a, b = rng.sample(points, 2)
        joined = real[b]
        real = {p: real[a] if k == joined else k for p, k in real.items()}

    def ohm(a: int, b: int, _wires: int) -> float:
        nets = [{real[p] for p in singles(side)} for side in (a, b)]
        return 0.5 if nets[0] & nets[1] else INF

    read = [
        judged(f"{k}:1", f"{k}:2", ohm(1 << 2 * k, 2 << 2 * k, 2), 0.5, 1.0, Decision.PASS) for k in range(6)
    ]
    split = split_nets(PLAN, ohmmeter_of(Scripted(ohm), SCOPE), read)
    expected: dict[int, int] = {}
    for p, k in real.items():
        expected[k] = expected.get(k, 0) | p
    assert sorted(split.clusters) == sorted(expected.values())
    assert list(split.clusters) == sorted(split.clusters, key=lambda p: p & -p)
    unread = split_nets(PLAN, ohmmeter_of(Scripted(lambda *_: INF), SCOPE), [])
    assert sorted(unread.clusters) == sorted(group.points for group in SCOPE.groups)


@pytest.mark.parametrize(("ohm", "one"), [(46.9, True), (47.0, False), (100.0, False)])
def test_below_47_ohms_two_are_one_conductor(ohm: float, one: bool) -> None:
    read = [judged(f"{k}:1", f"{k}:2", 0.5, 0.5, 1.0) for k in range(6)]

    def reads(a: int, b: int, _wires: int) -> float:
        left = {k // 2 for k in range(12) if a >> k & 1}
        right = {k // 2 for k in range(12) if b >> k & 1}
        return ohm if (0 in left and 1 in right) or (1 in left and 0 in right) else INF

    split = split_nets(PLAN, ohmmeter_of(Scripted(reads), SCOPE), read)
    assert (0b1111 in split.clusters) is one


def test_nets_that_a_part_couples_are_told_apart_by_the_part() -> None:
    """A resistor of 100 Ω between nets 0 and 1: shorted it reads nothing, and the two are one conductor."""
    coupled = scope_of_sizes([2] * 3, {0: {1}, 1: {0}})
    plan = Plan(coupled, (), parts=(component("R1", 0, 1, 95.0, 105.0),))
    read = [judged(f"{k}:1", f"{k}:2", 0.5, 0.5, 1.0) for k in range(3)]

    def reading(ohm: float) -> Scripted:
        def reads(a: int, b: int, _wires: int) -> float:
            sides = [{k // 2 for k in range(6) if side >> k & 1} for side in (a, b)]
            if sides[0] & sides[1]:
                return 0.5
            return ohm if {0, 1} <= sides[0] | sides[1] and 2 not in sides[0] & sides[1] else INF

        return Scripted(reads)

    for ohm, low, clusters in ((100.0, False, 3), (0.3, True, 2), (0.3, False, 3)):
        decision = Decision.FAIL if low else Decision.PASS
        own = judged("0:1", "1:1", ohm, 100.0, 105.0, decision, lower=95.0, part="R1")
        split = split_nets(plan, ohmmeter_of(reading(ohm), coupled), [*read, own])
        assert len(split.clusters) == clusters, (ohm, low)
    unbuilt = judged("0:1", "1:1", 300.0, 100.0, 105.0, Decision.FAIL, lower=95.0, part="R1")
    assert points_of_low_parts(plan, [unbuilt], []) == 0
    assert points_of_low_parts(plan, [replace(unbuilt, measured_ohm=3.0)], []) == 0b101
    assert points_of_low_parts(plan, [replace(unbuilt, measured_ohm=3.0, component="")], []) == 0
    assert points_of_low_parts(plan, [replace(unbuilt, measured_ohm=95.0)], []) == 0
    both = replace(diode(0.6), backward=0.6)
    assert points_of_low_parts(plan, [], [diode(0.6), diode(INF)]) == 0
    assert points_of_low_parts(plan, [], [both]) == 0b101


def touch(end: str, low: int) -> Touch:
    return Touch(End(*end.split(":")), low)


def test_which_conductor_a_probe_touched() -> None:
    scope = scope_of_sizes([2, 2, 3, 1], {0: {1}, 1: {0}})
    groups = [scope.ends(group.points) for group in scope.groups]
    loose = End("X", "1")

    def found(net: str, low: int) -> tuple[int | None, bool]:
        home = set(groups[int(net)]) | {loose} if net else {loose}
        return _group_of(Touch(loose, low), frozenset(home), groups, scope)

    assert found("0", 0) == (None, True)
    assert found("0", 0b11) == (0, True)
    assert found("0", 0b01) == (0, False), "a point of it that did not read low"
    assert found("0", 0b1111) == (0, True), "the other one is pulled low through the part"
    assert found("1", 0b1111) == (1, True)
    assert found("0", 0b1110000) == (2, True), "another conductor: fits, and is not its own"
    assert found("0", 0b1110011) == (0, False), "what no part couples reads low with it"
    assert found("", 0b1111) == (0, True), "of no net of its own: the first of the largest"
    assert found("", 0b1110011) == (2, False)
    assert found("", 0b1111100) == (2, False)
