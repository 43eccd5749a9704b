"""When the meter is refused and when the loom is blamed: each rule at its edges, followed by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from loomproof.bench.seam import Capabilities
from loomproof.electrics.components import ComponentReading
from loomproof.loom.model import ComponentKind, End
from loomproof.measuring.doubting import refuse_one_cause, refuse_silence
from loomproof.measuring.one_factor import refuse_ceiling, refuse_common_factor
from loomproof.measuring.shared_cause import refuse_common_offset, refuse_leaking_board
from loomproof.planning.bounding import BoundReading
from loomproof.planning.plan import PartReading, Plan
from loomproof.planning.test_vectors import Vector
from loomproof.results.measured import Decision, Judged, Path
from tests.measuring.scripted import (
    Scripted,
    between,
    judged,
    meter,
    ohmmeter_of,
    one_after_the_other,
    part,
    refused,
    wire,
)
from tests.planning.test_meter_and_reach import component, scope_of_sizes

FAIL, PASS = Decision.FAIL, Decision.PASS
SCOPE = scope_of_sizes([2] * 8)
PLAN = Plan(SCOPE, (Vector(0, 0, 0),))


FACTORS = [
    ([(10.0, 20.0), (100.0, 200.0)], True),
    ([(10.0, 20.0)], False),
    ([(10.0, 20.0), (12.0, 24.0)], False),
    ([(10.0, 20.0), (12.1, 24.2)], True),
    ([(10.0, 20.0), (100.0, 230.0)], True),
    ([(10.0, 20.0), (100.0, 231.0)], False),
    ([(10.0, 0.49), (100.0, 0.0)], True),
    ([(10.0, 0.51), (100.0, 0.0)], False),
    ([(10.0, math.inf), (100.0, math.inf)], False),
    ([(10.0, 20.0), (100.0, math.inf)], False),
    ([(10.0, 20.0), (100.0, 200.0), (50.0, 100.0)], True),
    ([(10.0, 20.0), (100.0, 200.0), (50.0, 300.0)], False),
]


@pytest.mark.parametrize(("parts", "off"), FACTORS)
def test_parts_of_different_values_that_are_off_alike(parts: list[tuple[float, float]], off: bool) -> None:
    read = [part(f"R{k}", k, k + 4, value, ohm) for k, (value, ohm) in enumerate(parts)]
    assert bool(refused(refuse_common_factor, PLAN, read)) is off
    # One that is within its limits, one without limits or of unknown ohms, or one beside a capacitor.
    if off:
        assert not refused(refuse_common_factor, PLAN, [*read, part("R9", 3, 7, 33.0, 33.0, PASS)])
        assert refused(refuse_common_factor, PLAN, [*read, replace(read[0], lower_ohm=0.0, measured_ohm=7.0)])
        assert refused(refuse_common_factor, PLAN, [*read, replace(read[0], expected_ohm=math.inf)])
        charged = PartReading(
            ComponentReading(
                "R0", ComponentKind.RESISTOR, read[0].a, read[0].b, 10.0, 9.0, 11.0, math.inf, charges=True
            ),
            9.0,
            11.0,
        )
        left = refused(refuse_common_factor, replace(PLAN, parts=(charged,)), read)
        assert bool(left) is (len(parts) > 2)


def test_what_is_said_of_one_factor() -> None:
    read = [part("R1", 0, 4, 10.0, 20.0), part("R2", 1, 5, 100.0, 210.0)]
    assert "all 2 parts of known ohms, from 10.0 Ω to 100 Ω, read 2 to 2.1 times what they should" in refused(
        refuse_common_factor, PLAN, read
    )
    nothing = [part("R1", 0, 4, 10.0, 0.0), part("R2", 1, 5, 100.0, 0.1)]
    assert "read next to nothing" in refused(refuse_common_factor, PLAN, nothing)


@pytest.mark.parametrize(
    ("one", "other", "off"),
    [
        # 10 Ω reads 15 (9 to 11), 20 Ω reads 25 (18 to 22): 5 Ω in the shared net explain both.
        ((10.0, 15.0), (20.0, 25.0), False),
        ((20.0, 25.0), (22.5, 27.9), False),
        ((10.0, 20.0), (100.0, 200.0), True),
        # Least that is needed: 4.0 and 3.0; most that is allowed: 6.0 and 7.0.
        ((10.0, 15.0), (12.1, 18.0), False),
        ((10.0, 6.0), (20.0, 12.0), True),
    ],
)
def test_one_bad_joint_that_they_share_explains_parts(
    one: tuple[float, float], other: tuple[float, float], off: bool
) -> None:
    shared = [part("R1", 0, 4, *one), part("R2", 5, 0, *other)]
    assert bool(refused(refuse_common_factor, PLAN, shared)) is off


WIRES = [
    # Two parts read twice too much: so would wires, whose limit is 2 Ω and which read 1 Ω when sound.
    ({"measured": 8.1, "u": 0.1}, True),  # up to 2 · 2 · 2 Ω + 2 · 0.1 Ω
    ({"measured": 8.19, "u": 0.1}, True),
    ({"measured": 8.0, "u": 0.0}, True),
    ({"measured": 1.0, "u": 0.0}, True),
    ({"measured": 8.3, "u": 0.1}, False),
    ({"measured": 0.81, "u": 0.1}, True),  # from 2 · 1 Ω / 2 - 2 · 0.1 Ω
    ({"measured": 0.79, "u": 0.1}, False),
    ({"measured": 0.2, "u": 0.2}, True),  # read to ±0.2 of 1 Ω: too coarse to tell
    ({"measured": 0.2, "u": 0.19}, False),
    ({"measured": math.inf, "u": 0.0}, True),
]


@pytest.mark.parametrize(("said", "off"), WIRES)
def test_a_conductor_read_closely_may_say_otherwise(said: dict[str, float], off: bool) -> None:
    read = [part("R1", 0, 4, 10.0, 20.0), part("R2", 1, 5, 100.0, 200.0)]
    assert bool(refused(refuse_common_factor, PLAN, [*read, wire(2, **said)])) is off


CEILINGS = [
    ([50.0, 50.0, 50.0, 49.9], [60.0, 70.0, 80.0, 49.9], True),
    ([50.0, 50.0, 49.9], [60.0, 70.0, 49.9], False),
    ([50.0, 50.0, 50.0], [60.0, 70.0, 80.0], False),  # nothing shows that it has more digits
    ([50.0, 50.0, 50.0, 49.0], [60.0, 70.0, 80.0, 49.0], True),
    ([50.0, 50.0, 50.0, 48.9], [60.0, 70.0, 80.0, 48.9], False),
    ([50.0, 50.0, 50.0, 20.0, 19.1], [60.0, 70.0, 80.0, 20.0, 19.1], True),
    ([50.0, 50.0, 50.0, 49.9], [60.0, 65.0, 72.0, 49.9], False),
    ([50.0, 50.0, 50.0, 49.9], [60.0, 65.0, 72.1, 49.9], True),
    ([50.0, 50.0, 50.0, 51.0], [60.0, 70.0, 80.0, 51.0], False),
    ([0.0, 0.0, 0.0], [60.0, 70.0, 80.0], False),
    ([50.0, 50.0, 50.0, 49.9, math.inf], [60.0, 70.0, 80.0, 49.9, 1.0], True),
]


@pytest.mark.parametrize(("read", "expected", "off"), CEILINGS)
def test_a_ceiling_that_different_nets_read_to_the_last_digit(
    read: list[float], expected: list[float], off: bool
) -> None:
    found = [wire(k, ohm, e, 2 * e) for k, (ohm, e) in enumerate(zip(read, expected, strict=True))]
    assert bool(refused(refuse_ceiling, PLAN, found)) is off
    if off:
        same_net = [replace(r, a=End("0", "1"), b=End("0", "2")) for r in found]
        assert not refused(refuse_ceiling, PLAN, same_net)


GROUPS = tuple(SCOPE.ends(group.points) for group in SCOPE.groups)


def side_by_side(offset: float, wires: int, ohm: float = 1.0) -> Scripted:
    """Conductors of so many ohms, and so much more in every reading."""

    def read(a: int, _b: int, _wires: int) -> float:
        return ohm / a.bit_count() + offset

    return Scripted(read)


@pytest.mark.parametrize(
    ("offset", "off"),
    # ±0.1 Ω: two readings of 1 + d each; side by side 0.5 + d, where half of each would be 0.5 + d / 2.
    # The doubt is that of the reading and a quarter of both: 0.1 + 2 · 0.25 · 0.1 = 0.15, so d / 2 > 0.15.
    [(0.0, False), (0.29, False), (0.31, True), (1.0, True)],
)
def test_an_offset_in_every_reading_shows_side_by_side(offset: float, off: bool) -> None:
    read = [wire(k, 1 + offset, limit=0.9) for k in range(2)]
    assert (
        bool(refused(refuse_common_offset, PLAN, ohmmeter_of(side_by_side(offset, 2)), GROUPS, read)) is off
    )


def test_leads_that_were_learned_are_the_benchs_own() -> None:
    read = [wire(k, 2.0, limit=0.9) for k in range(2)]
    for leads, off in ((0.2, True), (0.36, False)):  # 0.5 - 0.15 Ω are left
        made = meter(lead_ohm={1: leads / 2, 2: leads / 2})
        said = refused(refuse_common_offset, PLAN, ohmmeter_of(side_by_side(1.0, 2), made=made), GROUPS, read)
        assert bool(said) is off
    said = refused(refuse_common_offset, PLAN, ohmmeter_of(side_by_side(1.0, 2)), GROUPS, read)
    assert "2 conductors of as many nets read 1.50 Ω side by side, and by what each reads alone" in said
    assert "it would be 1.00 Ω: 0.500 Ω or more of every reading is the bench's own" in said


def test_an_offset_is_looked_for_only_where_a_conductor_is_blamed_in_nets_as_described() -> None:
    bad = [wire(k, 2.0, limit=0.9) for k in range(2)]
    asked = side_by_side(1.0, 2)
    for read, groups in (
        ([wire(k, 0.2, limit=0.9) for k in range(2)], GROUPS),
        ([replace(r, measured_ohm=math.inf) for r in bad], GROUPS),
        ([replace(r, component="R") for r in bad], GROUPS),
        (bad[:1], GROUPS),
        (bad, GROUPS[1:]),
    ):
        assert not refused(refuse_common_offset, PLAN, ohmmeter_of(asked), groups, read)
    assert refused(refuse_common_offset, PLAN, ohmmeter_of(side_by_side(1.0, 2)), GROUPS, [*bad, bad[0]])
    assert not refused(refuse_common_offset, PLAN, ohmmeter_of(Scripted(between({}))), GROUPS, bad)
    below = Scripted(lambda a, _b, _w: 5.0 if a.bit_count() > 1 else 0.0)
    assert not refused(refuse_common_offset, PLAN, ohmmeter_of(below), GROUPS, bad)
    # Once the same as expected is enough: a contact that comes and goes is no offset.
    values = [2.0, 2.0, 1.5, 2.0, 2.0, 1.0]
    assert not refused(
        refuse_common_offset, PLAN, ohmmeter_of(Scripted(one_after_the_other(values))), GROUPS, bad
    )


def test_a_conductor_beside_a_part_of_a_few_ohms_has_no_say() -> None:
    """More than a twentieth of the part may lead through it."""
    bad = [wire(k, 2.0, limit=0.9) for k in range(2)]
    for lower, off in ((39.0, False), (41.0, True)):
        plan = replace(PLAN, parts=(component("R1", 0, 1, lower, 99.0),))
        assert (
            bool(refused(refuse_common_offset, plan, ohmmeter_of(side_by_side(1.0, 2)), GROUPS, bad)) is off
        )
        by_bound = replace(PLAN, bounds=(BoundReading("C1", End("0", "1"), End("1", "1"), 1, 4, lower),))
        assert (
            bool(refused(refuse_common_offset, by_bound, ohmmeter_of(side_by_side(1.0, 2)), GROUPS, bad))
            is off
        )
    diode = replace(
        PLAN, parts=(component("D1", 0, 1, 1.0, 99.0, diode=True), component("R", 0, 1, 0.0, 9.0))
    )
    assert refused(refuse_common_offset, diode, ohmmeter_of(side_by_side(1.0, 2)), GROUPS, bad)


HEADS = [group.head for group in SCOPE.groups]
BOARD = [(HEADS[0], HEADS[1]), (HEADS[2], HEADS[3]), (HEADS[0] | HEADS[2], HEADS[1] | HEADS[3])]


@pytest.mark.parametrize(
    ("third", "off"), [(1000.0, True), (1000.19, True), (1000.21, False), (500.0, False), (math.inf, False)]
)
def test_a_leak_that_is_the_same_one_by_one_and_side_by_side_is_the_boards(third: float, off: bool) -> None:
    """±0.1 Ω: two leaks of a loom side by side read half of one."""
    asker = Scripted(between({BOARD[0]: 1000.0, BOARD[1]: 1000.0, BOARD[2]: third}))
    said = refused(refuse_leaking_board, PLAN, ohmmeter_of(asker, SCOPE))
    assert bool(said) is off
    if off:
        assert [(a, b) for a, b, _ in asker.asked] == BOARD * 3
        assert "conductors that share nothing, one pair, another, and both side by side, read 1" in said


def test_a_board_is_tried_on_bundles_that_share_nothing_or_on_a_free_point() -> None:
    coupled = scope_of_sizes([1, 1, 1, 1, 1], {0: {1}, 3: {2}})
    # Three bundles are too few for two pairs: a point without a lead is tried, if there is one.
    leak = Scripted(lambda _a, _b, _w: 1000.0, able=Capabilities(6))
    said = refused(refuse_leaking_board, Plan(coupled, ()), ohmmeter_of(leak, coupled))
    assert said.startswith("point 6, which no lead goes to, and 0:1 read 1")
    assert {(a, b) for a, b, _ in leak.asked} == {(1, 0b100000)}
    full = Scripted(lambda _a, _b, _w: 1000.0, able=Capabilities(5))
    assert not refused(refuse_leaking_board, Plan(coupled, ()), ohmmeter_of(full, coupled))
    assert full.asked == []
    five = scope_of_sizes([1] * 5, {0: {1}})
    enough = Scripted(lambda _a, _b, _w: 1000.0, able=Capabilities(6))
    assert refused(refuse_leaking_board, Plan(five, ()), ohmmeter_of(enough, five))
    assert enough.asked[0][:2] == (0b1, 0b100)
    once = Scripted(one_after_the_other([1000.0] * 8 + [math.inf]))
    assert not refused(refuse_leaking_board, PLAN, ohmmeter_of(once, SCOPE))


NET_OF = {End(str(k), c): k for k in range(8) for c in "12"}


def blamed(excess: list[float], nets: int, u: float = 0.05, expected: float = 1.0) -> list[Judged]:
    found = []
    for k, more in enumerate(excess):
        decision = FAIL if expected + more - u > 1.2 else Decision.UNDECIDED
        one = judged(f"{k % nets}:1", f"{k % nets}:2", expected + more, expected, 1.2, decision, u=u)
        found.append(one)
    return found


@pytest.mark.parametrize(
    ("excess", "nets", "off"),
    [
        ([0.5, 1.9, 3.0, 0.5, 0.7, 5.0, 0.9, 2.0], 4, True),  # eight in four nets, whatever they read
        ([0.5, 1.9, 3.0, 0.5, 0.7, 5.0, 0.9], 4, False),
        ([0.5, 1.9, 3.0, 0.5, 0.7, 5.0, 0.9, 2.0], 3, False),
        ([0.5, 0.6, 0.7, 0.5], 3, True),  # four in three nets, alike
        ([0.5, 0.6, 0.7, 0.5], 2, False),
        ([0.5, 0.6, 0.7], 3, False),
        ([0.5, 0.6, 0.7, 1.54], 4, True),  # alike to within U and what is expected: 1.05 Ω
        ([0.5, 0.6, 0.7, 1.56], 4, False),
        ([0.5, 0.6, 0.7, 0.1], 4, False),  # one is within its limit
        ([0.21, 0.22, 0.23, 0.22], 4, False),  # none is surely beyond
        ([0.21, 0.22, 0.23, 0.5], 4, True),
        ([0.21, 1.9, 3.0, 0.5, 0.7, 5.0, 0.9, 2.0], 4, False),
    ],
)
def test_one_thing_in_every_reading(excess: list[float], nets: int, off: bool) -> None:
    found = blamed(excess, nets)
    assert bool(refused(refuse_one_cause, found, NET_OF)) is off
    opened = [replace(found[0], measured_ohm=math.inf)] * len(found)
    assert bool(refused(refuse_one_cause, [*found, *opened], NET_OF)) is off
    assert not refused(refuse_one_cause, [*found, *opened, opened[0]], NET_OF)
    parts = [replace(r, component="R") for r in found]
    assert not refused(refuse_one_cause, parts, NET_OF)


def test_what_is_said_of_one_thing_in_every_reading() -> None:
    said = refused(refuse_one_cause, blamed([0.5, 0.6, 0.7, 0.5], 4), NET_OF)
    assert "not one of 4 conductors in 4 nets is within its limit: each reads 0.500 Ω to 0.700 Ω more" in said


def test_a_loom_of_which_nothing_conducts_is_not_plugged_in() -> None:
    dead = [judged(f"{k % 4}:1", f"{k % 4}:2", math.inf, 1.0, 2.0, FAIL) for k in range(8)]
    alone = [frozenset({End("0", "1")})]
    leak = Path(End("0", "1"), End("1", "1"), 5.0, 0.1)
    assert refused(refuse_silence, dead, NET_OF, alone, ())
    for changed in (
        (dead[:7], NET_OF, alone, ()),
        ([judged(f"{k % 3}:1", f"{k % 3}:2", math.inf, 1.0, 2.0, FAIL) for k in range(8)], NET_OF, alone, ()),
        (dead, NET_OF, alone, (leak,)),
        (dead, NET_OF, [frozenset({End("0", "1"), End("0", "2")})], ()),
        ([*dead, replace(dead[0], measured_ohm=1.0)], NET_OF, alone, ()),
        ([*dead, replace(dead[0], measured_ohm=1.0, component="R")], NET_OF, alone, ()),
        ([replace(r, component="R") for r in dead], NET_OF, alone, ()),
    ):
        assert not refused(refuse_silence, *changed)
