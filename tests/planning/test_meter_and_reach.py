"""What a meter's reading is worth, and which grade a bench reaches, calculated by hand."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest

from loomproof.bench.seam import Accuracy, Wires
from loomproof.electrics.components import ComponentReading
from loomproof.errors import Do, Todo
from loomproof.loom.model import ComponentKind, End
from loomproof.planning.bounding import BoundReading
from loomproof.planning.meter import Meter
from loomproof.planning.net_access import Scope
from loomproof.planning.plan import ConductorReading, PartReading, Plan
from loomproof.planning.reach import Advice, Reach, reach_of
from loomproof.planning.test_vectors import Group, Vector
from loomproof.results.grade import Grade

PLAIN = Meter(Accuracy(0.02, 0.01), Accuracy(0.001, 0.002), (0.0, 1e6), {})


def expanded(*standard: float) -> float:
    """U = 2 √Σu² (GUM 5.1.2, k = 2)."""
    return 2 * math.sqrt(sum(u * u for u in standard))


@pytest.mark.parametrize("reading", [0.0, 0.3, 5.0, 2000.0])
@pytest.mark.parametrize("wires", [2, 4])
@pytest.mark.parametrize("zeroed", [False, True])
@pytest.mark.parametrize("has_four", [False, True])
def test_what_a_reading_is_worth(reading: float, wires: Wires, zeroed: bool, has_four: bool) -> None:
    """Limits of error count as rectangular, a/√3 (GUM 4.3.7); zeroing takes out the fixed part."""
    meter = replace(
        PLAIN,
        four_wire=PLAIN.four_wire if has_four else None,
        zeroed=zeroed,
        lead_u_ohm=0.05,
        repeatability_ohm=0.006,
        repeats=4,
        temperature_u_k=2.0,
    )
    four = wires == 4 and has_four
    fixed, ratio = (0.001, 0.002) if four else (0.0 if zeroed else 0.02, 0.01)
    leads = 0.0 if wires == 4 else math.hypot(0.05, 0.05)
    # Copper: 0.00393 /K (IEC publication 28).
    u = expanded((fixed + ratio * reading) / math.sqrt(3), leads, 0.006 / 2, 0.00393 * 2.0 * reading)
    assert meter.uncertainty_ohm(reading, wires) == pytest.approx(u)
    assert meter.most_ohm(reading, wires) is None


def test_below_its_range_a_meter_says_only_that_it_is_below() -> None:
    meter = replace(PLAIN, range_ohm=(0.5, 1e6))
    at_the_end = expanded((0.02 + 0.01 * 0.5) / math.sqrt(3))
    assert meter.uncertainty_ohm(0.5, 2) == pytest.approx(at_the_end)
    assert meter.uncertainty_ohm(0.1, 2) == 0.5
    assert meter.most_ohm(0.1, 2) == pytest.approx(0.5 + at_the_end)
    assert meter.most_ohm(0.5, 2) is None
    coarse = replace(meter, two_wire=Accuracy(3.0, 0.0))
    assert coarse.uncertainty_ohm(0.1, 2) == pytest.approx(expanded(3.0 / math.sqrt(3)))


def test_leads_are_those_of_both_points_and_none_of_four_wires() -> None:
    meter = replace(PLAIN, lead_ohm={1: 0.2, 3: 0.05})
    assert meter.leads_ohm(1, 3, 2) == pytest.approx(0.25)
    assert meter.leads_ohm(1, 2, 2) == meter.leads_ohm(2, 1, 2) == 0.2
    assert meter.leads_ohm(2, 4, 2) == 0.0
    assert meter.leads_ohm(1, 3, 4) == 0.0


@pytest.mark.parametrize(
    ("top", "ohm", "ratio", "most"),
    [
        (1e6, 0.0, 0.0, 1e6),
        (1e6, 0.0, 0.05 * math.sqrt(3) / 2, 950e3),
        (1.2345e7, 0.0, 0.0, 1.2e7),
        (129.0, 0.0, 0.0, 120.0),
        (10.0, 10.0 * math.sqrt(3), 0.0, 0.0),
        (10.0, 5.0 * math.sqrt(3), 0.0, 0.0),
        (math.inf, 0.0, 0.0, math.inf),
    ],
)
def test_the_highest_isolation_limit_is_what_a_reading_over_range_is_above(
    top: float, ohm: float, ratio: float, most: float
) -> None:
    """Top less U = 2 (a + r·top)/√3, rounded down to two figures; leads and copper have no part in it."""
    meter = Meter(Accuracy(ohm, ratio), None, (0.0, top), {}, lead_u_ohm=1e5, temperature_u_k=50.0)
    if math.isfinite(top):
        assert meter.isolation_u_ohm(top) == pytest.approx(2 * (ohm + ratio * top) / math.sqrt(3))
        assert meter.over_range_ohm == pytest.approx(top - 2 * (ohm + ratio * top) / math.sqrt(3), abs=1e-6)
        assert meter.isolation_most_ohm == pytest.approx(most)


def scope_of_sizes(sizes: list[int], reach: dict[int, set[int]] | None = None) -> Scope:
    """Cavities ``N:1``, ``N:2`` … of group N, on points one after the other."""
    groups, point_of, point = [], {}, 1
    for number, size in enumerate(sizes):
        points = 0
        for k in range(size):
            point_of[End(str(number), str(k + 1))] = point
            points |= 1 << (point - 1)
            point += 1
        groups.append(Group.of(points))
    reached = tuple(frozenset((reach or {}).get(k, ())) for k in range(len(sizes)))
    ends = {point: end for end, point in point_of.items()}
    return Scope(tuple(groups), tuple(range(len(sizes))), reached, point_of, ends, ())


def conductor(net: int, sound: float, limit: float, wires: Wires = 2, shown: float = 0.0) -> ConductorReading:
    a, b = End(str(net), "1"), End(str(net), "2")
    return ConductorReading(
        a, b, wires, sound, sound, limit, shown, decided=False, seen=(), defaults_used=False
    )


def component(name: str, a: int, b: int, lower: float, upper: float, diode: bool = False) -> PartReading:
    one, other = End(str(a), "1"), End(str(b), "1")
    kind = ComponentKind.DIODE if diode else ComponentKind.RESISTOR
    volts = (0.2, 0.9) if diode else None
    return PartReading(
        ComponentReading(name, kind, one, other, None, lower, upper, math.inf, volts), lower, upper
    )


@pytest.mark.parametrize("seed", range(60))
def test_below_what_two_points_are_one_conductor(seed: int) -> None:
    """47 Ω; or half of the smallest part that leads from one of their nets to another; but what the wires may
    read counts as wire, up to eight tenths of that part; of a part without ohms half of its least."""
    rng = random.Random(seed)
    scope = scope_of_sizes([2, 2, 2, 2])
    parts = tuple(
        component(f"R{k}", rng.randrange(4), rng.randrange(4), rng.choice([0.0, 1.0, 8.0, 60.0]), 99.0, diode)
        for k, diode in enumerate([False, False, rng.random() < 0.5])
    )
    conductors = tuple(
        conductor(k, 0.1, rng.choice([0.2, 5.0, 7.0]), shown=rng.choice([0.1, 6.0])) for k in range(4)
    )
    bounds = tuple(
        BoundReading(
            rng.choice(["C1", ""]), End(str(a), "1"), End(str(b), "1"), 1, 2, rng.choice([4.0, 30.0])
        )
        for a, b in [(rng.randrange(4), rng.randrange(4))]
    )
    plan = Plan(scope, (), conductors, parts, bounds=bounds)
    for points in (0b1, 0b1100, 0b110000 | 0b1, 0b11110000):
        nets = {str(p // 2) for p in range(8) if points >> p & 1}
        smallest = math.inf
        for one in parts:
            ends = {one.part.a.connector, one.part.b.connector}
            if one.part.forward_v is None and len(ends) == 2 and ends & nets and one.lower_ohm > 0:
                smallest = min(smallest, one.lower_ohm)
        wire = max(max(r.limit_ohm, r.shown_ohm) for r in conductors if r.a.connector in nets)
        expected = 47.0
        if smallest < math.inf:
            expected = min(expected, max(smallest / 2, min(wire, 0.8 * smallest)))
        for bound in bounds:
            if bound.component and bound.a.connector in nets:
                expected = min(expected, max(bound.lower_ohm / 2, wire))
        assert plan.apart_ohm(points) == pytest.approx(expected)
    assert Plan(scope, (), parts=(component("R", 0, 1, 8.0, 9.0),)).apart_ohm(1) == 4.0


ASKED = (Vector(0, 0, 0),)


@pytest.mark.parametrize(
    ("bundles", "rounds"), [(0, 0), (1, 0), (2, 1), (3, 2), (4, 2), (5, 3), (8, 3), (9, 4)]
)
def test_so_many_readings_tell_that_no_two_conductors_are_joined(bundles: int, rounds: int) -> None:
    """Each two of n differ in one of ⌈log₂ n⌉ bits; isolation is read both ways."""
    scope = scope_of_sizes([1] * bundles)
    for vectors, alone in ((ASKED, 0), ((), rounds)):
        assert Plan(scope, vectors, meter=PLAIN, isolation_ohm=1e6).isolation_readings == 2 * rounds + alone
        assert Plan(scope, vectors, meter=PLAIN).isolation_readings == alone
        assert Plan(scope, vectors, isolation_ohm=1e6).isolation_readings == 0
    if bundles > 2:
        coupled = scope_of_sizes([1] * bundles, {0: {1}})
        assert Plan(coupled, (), meter=PLAIN).isolation_readings == (bundles - 2).bit_length()


def test_so_many_readings_are_taken_again() -> None:
    """Of each net the first reading as often as it is repeated, of four wires two once besides; the four
    longest of all; a bench that senses reads a joined pair five times as well, and one that is apart three
    times more."""
    scope = scope_of_sizes([2] * 6)
    ohms = [conductor(0, 0.1, 1.0, 4), conductor(0, 0.1, 1.0), conductor(1, 0.1, 1.0), conductor(2, 0.1, 1.0)]
    parts = (component("R1", 3, 4, 1.0, 2.0), component("R2", 0, 5, 1.0, 2.0))
    meter = replace(PLAIN, repeats=3)
    few = Plan(scope, ASKED, (ohms[1],), meter=meter)
    assert few.control_readings == 3 + 8
    assert replace(few, vectors=()).control_readings == 3
    assert replace(few, meter=None).control_readings == 0
    assert replace(few, conductors=(), parts=parts[:1]).control_readings == 3 + 8
    assert replace(few, conductors=tuple(ohms[:1])).control_readings == 4 + 8
    many = Plan(scope, (), tuple(ohms), parts, meter=meter)
    assert many.control_readings == 4 + 3 + 3 + 3
    assert replace(many, conductors=tuple(ohms[:3])).control_readings == 4 + 3 + 3


def test_the_guard_band_of_isolation() -> None:
    scope = scope_of_sizes([1, 1])
    assert Plan(scope, (), meter=PLAIN, isolation_ohm=1e6).isolation_u_ohm == pytest.approx(
        2 * (0.02 + 0.01 * 1e6) / math.sqrt(3)
    )
    assert Plan(scope, (), meter=PLAIN).isolation_u_ohm == 0.0
    assert Plan(scope, (), isolation_ohm=1e6).isolation_u_ohm == 0.0


MEASURED = Plan(
    scope_of_sizes([2] * 4),
    (),
    (conductor(0, 0.1, 0.2), conductor(1, 0.1, 0.5), conductor(2, 0.1, 2.0)),
    (component("R1", 0, 1, 90.0, 110.0), component("D1", 1, 2, 0.0, 1.0, diode=True)),
    meter=Meter(Accuracy(0.0, 0.0), None, (0.0, 1e6), {}),
)


def fixed(u_ohm: float) -> Accuracy:
    """Limits of error that give this expanded uncertainty alone: a = U √3 / 2."""
    return Accuracy(u_ohm * math.sqrt(3) / 2, 0.0)


def test_a_bench_without_ohms_proves_connections() -> None:
    reach = reach_of(replace(MEASURED, meter=None))
    assert reach == Reach(
        Grade.CONNECTIONS, 0, 0, 0.0, (Advice("A bench that measures ohms says how good the joints are."),)
    )


def test_a_person_who_goes_by_the_beep_proves_connections_and_is_told_to_read_wires_too() -> None:
    wires = Advice(
        "Read every wire in ohms as well: that says how good the joints are.",
        Do(Todo.OHMS),
    )
    by_beep = replace(MEASURED, by_beep=True, conductors=())
    assert reach_of(by_beep) == Reach(Grade.CONNECTIONS, 0, 0, 0.0, (wires,))
    assert reach_of(replace(by_beep, unmeasured_parts=("F1",))).advice[1:] == (wires,)


@pytest.mark.parametrize(
    ("u_ohm", "decided"),
    [(0.0, 4), (0.0499, 4), (0.0501, 3), (0.1999, 3), (0.2001, 2), (0.9501, 1), (5.1, 0)],
)
def test_a_limit_is_decided_where_two_uncertainties_are_between(u_ohm: float, decided: int) -> None:
    """Limits 0.2, 0.5 and 2 Ω over 0.1 Ω, and a resistor of 100 ± 10 Ω: a diode has no limit in ohms."""
    meter = replace(MEASURED.meter, two_wire=fixed(u_ohm), zeroed=False) if MEASURED.meter else None
    reach = reach_of(replace(MEASURED, meter=meter))
    assert (reach.decided, reach.total) == (decided, 4)
    assert reach.grade is (Grade.WIRE if decided == 4 else Grade.BENCH)
    assert reach.shown_ohm == pytest.approx(0.1 + 2 * u_ohm)
    assert bool(reach.advice) == (decided < 4)


def test_what_would_decide_more_is_advised_the_cheapest_first() -> None:
    """±√3/2 of half of the least room: (0.2 - 0.1) / 2 Ω between a sound conductor and its limit."""
    assert MEASURED.meter
    last = "Four wires, or a meter, within ±0.043 Ω at these readings decides every limit."
    leads = replace(MEASURED.meter, lead_u_ohm=0.1 / math.sqrt(2))  # U = 0.2 Ω
    said = reach_of(replace(MEASURED, meter=leads)).advice
    zero = "Zero the leads with this meter: up to 4 of 4 limits are then decided."
    assert said == (Advice(zero, Do(Todo.ZERO)), Advice(last))
    scattered = replace(MEASURED.meter, repeatability_ohm=0.07, zeroed=True)  # U = 0.14 Ω, of ten 0.044 Ω
    said = reach_of(replace(MEASURED, meter=scattered)).advice
    repeat = "Read each resistance 10 times: 4 of 4 limits are then decided."
    assert said == (Advice(repeat, Do(Todo.REPEATS, "10")), Advice(last))
    often = replace(scattered, repeatability_ohm=0.2, repeats=10)
    assert [one.do for one in reach_of(replace(MEASURED, meter=often)).advice] == [None]
    nine = replace(scattered, repeatability_ohm=0.078, repeats=9)  # U = 0.052 Ω, of ten 0.0493 Ω
    assert [one.do for one in reach_of(replace(MEASURED, meter=nine)).advice] == [
        Do(Todo.REPEATS, "10"),
        None,
    ]
    coarse = replace(MEASURED.meter, two_wire=Accuracy(0.0, 1.2), four_wire=fixed(0.1), zeroed=True)
    said = reach_of(replace(MEASURED, meter=coarse)).advice
    assert said == (Advice(last.replace("Four wires, or a meter,", "A meter")),)
    # Nothing that helps nothing is advised: the fixed error of this meter goes, and its slope stays.
    steep = replace(MEASURED.meter, two_wire=Accuracy(0.0, 5.0), repeatability_ohm=0.001)
    assert [one.do for one in reach_of(replace(MEASURED, meter=steep)).advice] == [None]


def test_a_part_can_ask_for_the_best_meter() -> None:
    """A resistor of 100 ± 0.01 Ω leaves 0.01 Ω to either side, two uncertainties of 0.005 Ω."""
    assert MEASURED.meter
    close = (component("R1", 0, 1, 99.99, 100.01), MEASURED.parts[1])
    plan = replace(MEASURED, parts=close, meter=replace(MEASURED.meter, two_wire=fixed(0.006)))
    reach = reach_of(plan)
    assert (reach.decided, reach.total) == (3, 4)
    assert reach.advice[-1].text.startswith("Four wires, or a meter, within ±0.0043 Ω")
    assert reach_of(replace(plan, meter=replace(MEASURED.meter, two_wire=fixed(0.0049)))).decided == 4


def test_a_limit_without_room_needs_a_meter_without_error() -> None:
    assert MEASURED.meter
    plan = replace(MEASURED, conductors=(conductor(0, 0.3, 0.2),), parts=())
    reach = reach_of(replace(plan, meter=replace(MEASURED.meter, two_wire=fixed(1.0))))
    assert (reach.decided, reach.total) == (0, 1)
    assert "within ±0 Ω" in reach.advice[-1].text


def test_parts_that_no_reading_tells_are_named_with_what_to_do() -> None:
    def said(*names: str) -> list[str]:
        plan = replace(MEASURED, unmeasured_parts=names, capacitors=("C1", "C2"))
        reach = reach_of(plan)
        assert reach.grade is Grade.CONNECTIONS
        assert (reach.decided, reach.total) == (4, 4)
        assert reach.shown_ohm == pytest.approx(0.1)
        return [advice.text for advice in reach.advice]

    assert said("F1") == [
        "State the resistance of F1 where none is stated, or take it out and say so: it can't be told from a "
        "fault."
    ]
    assert said("F1", "C2", "R9") == [
        "State the resistance of F1, R9 where none is stated, or take them out and say so: they can't be "
        "told from a fault.",
        "Read C2 with a capacitance meter, or take it out and say so: to this bench a charged capacitor "
        "reads as one that is missing.",
    ]
    assert said("C1", "C2")[0].startswith("Read C1, C2 with a capacitance meter, or take them out")
