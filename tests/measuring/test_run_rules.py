"""Steps of a run one by one: what is read closer, searched, taken up of a sweep, and refused at the end."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from contextlib import nullcontext
from dataclasses import dataclass, field, replace
from typing import cast

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.questions import Answer, Question, Resistance, Sense
from loomproof.bench.seam import Accuracy, Capabilities, WatchEvent
from loomproof.electrics.expectation import Expectation, expect
from loomproof.errors import LostEventError, UnfitError
from loomproof.loom.model import ComponentKind, End
from loomproof.measuring.by_hand import _Sweeps, _take
from loomproof.measuring.component_presence import sensible_parts
from loomproof.measuring.doubting import refuse_contradictions
from loomproof.measuring.events import finish
from loomproof.measuring.resolve_nets import one_at_a_time
from loomproof.measuring.run import _closer, _isolation, _leaks, run_plan
from loomproof.measuring.undriven import _odd_pairs
from loomproof.measuring.wiggle import FRUITLESS, Moving, WiggleLog, _Seen, wiggle
from loomproof.planning.conductors import Conductors
from loomproof.planning.meter import Meter
from loomproof.planning.plan import Plan, plan_proof
from loomproof.planning.test_vectors import Group
from loomproof.planning.touches import Step
from loomproof.results.measured import Decision
from loomproof.results.wiggled import Change, Moved
from tests.cleared import cleared
from tests.electrics.looms import loom_of, part
from tests.measuring.network_bench import FULL, NetworkBench, without_ohms
from tests.measuring.scripted import Scripted, between, judged, meter, ohmmeter_of
from tests.measuring.test_run import the_loom, the_network
from tests.planning.test_meter_and_reach import scope_of_sizes
from tests.planning.test_touch_rules import pairs, pieces

FAIL = Decision.FAIL

STAR = expect(loom_of("W1 A:1 S 1.0m 0.5mm2\nW2 B:1 S 1.0m 0.5mm2\nW3 C:1 S 1.0m 0.5mm2"))
A, B, C = STAR.loom.cavities


def closer(groups: Sequence[set[End]], *, apart: bool, component: str = "") -> list[tuple[End, End]]:
    """What is read after A to B read 500 Ω."""
    plan = plan_proof(STAR, in_order(STAR.loom.cavities).point_of, Capabilities(8), meter())
    bad = [judged("A:1", "B:1", 500.0, 0.1, 0.2, FAIL, part=component)]
    bad += [judged("A:1", "B:1", math.inf, 0.1, 0.2, FAIL)]
    made = ohmmeter_of(Scripted(between({}, 7.0)), plan.scope)
    found = _closer(plan, STAR, made, map(frozenset, groups), bad, apart=apart)
    return [(reading.a, reading.b) for reading in found]


def test_where_a_bad_reading_found_some_way_between_pieces_all_pairs_of_the_net_are_read() -> None:
    assert closer([{A, B, C}], apart=False) == [(A, C), (B, C)]
    assert closer([{A}, {B, C}], apart=False) == [(B, C)]
    assert closer([{A}, {B, C}], apart=True) == [(A, C), (B, C)]
    assert closer([{A}, {B, C}], apart=True, component="R1") == [], "a part's own reading is no conductor's"


def test_a_short_may_read_as_far_below_nothing_as_chance_takes_it() -> None:
    """A meter of ±1 Ω: -1.9 Ω is a short, -2.1 Ω is nothing that a loom does."""
    made = ohmmeter_of(Scripted(between({}, -1.9)), scope_of_sizes([1, 1]), meter(1.0))
    found, lowest_ohm = _leaks(1e6, made, [1, 2], turned=False)
    assert found == {(0, 1)}
    assert lowest_ohm < 1.0
    made = ohmmeter_of(Scripted(between({}, -2.1)), scope_of_sizes([1, 1]), meter(1.0))
    with pytest.raises(UnfitError, match="less than nothing"):
        _leaks(1e6, made, [1, 2], turned=False)


@dataclass
class SensesApart(Scripted):
    """Sense parts all that it is asked of."""

    def sense(self, drives: Sequence[int]) -> list[int]:
        return list(drives)


@pytest.mark.parametrize(("ohm", "refused"), [(9_850.0, True), (9_950.0, False)])
def test_a_reading_contradicts_sense_where_all_that_it_may_be_is_surely_sensed(
    ohm: float, refused: bool
) -> None:
    """Two points behind a path, SENSE 20 kΩ: they surely read low under 10 kΩ; the meter is within 100 Ω."""
    able = Capabilities(64, sense_ohm=20e3, clear_ohm=200e3, ohms=(0.0, 1e6))
    scope = scope_of_sizes([2])
    asker = SensesApart(between({}, ohm), able=able)
    apart = (frozenset({End("0", "1")}), frozenset({End("0", "2")}))
    reading = [judged("0:1", "0:2", ohm, 0.5, 1.0, FAIL, u=100.0)]
    plan, made = Plan(scope, ()), ohmmeter_of(asker, scope)
    nobody = cast(Expectation, None)  # no part is asked for
    with pytest.raises(UnfitError, match="the bench contradicts itself") if refused else nullcontext():
        refuse_contradictions(plan, nobody, made, apart, reading, [])


@dataclass
class SensesJoined(Scripted):
    """Sense joins all that it is asked of."""

    def sense(self, drives: Sequence[int]) -> list[int]:
        return [0b11 for _ in drives]


@pytest.mark.parametrize(("range_ohm", "refused"), [(1e6, True), (200e3, False), (50e3, False)])
def test_an_open_reading_contradicts_sense_where_the_meter_reads_what_sense_lets_pass(
    range_ohm: float, refused: bool
) -> None:
    """A path that surely reads high has 200 kΩ: a meter that ends below may read one under it as open."""
    able = Capabilities(64, sense_ohm=20e3, clear_ohm=200e3, ohms=(0.0, range_ohm))
    scope = scope_of_sizes([2])
    asker = SensesJoined(between({}), able=able)
    reading = [judged("0:1", "0:2", math.inf, 0.5, 1.0, FAIL)]
    whole = (scope.ends(0b11),)
    nobody = expect(loom_of("", extra="0:1 0:2"))
    with pytest.raises(UnfitError, match="the bench contradicts itself") if refused else nullcontext():
        refuse_contradictions(Plan(scope, ()), nobody, ohmmeter_of(asker, scope), whole, reading, [])


def test_a_point_that_followed_its_head_and_does_not_any_more_is_asked_itself() -> None:
    """Point 2 was of the first group: now nothing joins it to point 1, and point 3 does."""

    def ask(drives: Sequence[int]) -> list[int]:
        return [drive | {2: 4, 4: 2}.get(drive, 0) for drive in drives]

    found = one_at_a_time(ask, [Group(0b11, 0b1), Group.of(0b100), Group(0b11000, 0b1000)], 0b11000)
    assert set(found.groups) == {0b1, 0b110, 0b1000, 0b10000}
    assert found.one_way == ()
    whole = one_at_a_time(lambda drives: [0b11 for _ in drives], [Group(0b11, 0b1)], 0)
    assert whole.groups == (0b11,)


@dataclass
class Swept:
    """A person's answers: where it beeps, pair by pair; ``asked`` are the sweeps."""

    beeps_at: set[frozenset[int]]
    asked: list[Step] = field(default_factory=list)
    unsteady: int = 0

    def ask(self, step: Step) -> int:
        self.asked.append(step)
        black = step.black
        beeped = 0
        for red in step.red:
            at = {frozenset({1 << k, red}) for k in range(8) if black >> k & 1}
            if at & self.beeps_at:
                beeped |= red
            elif step.chained:
                black |= red
        return beeped

    def beeps(self, black: int, red: int, *, said: bool) -> bool:
        self.asked.append(Step(black, (red,)))
        return frozenset({black, red}) in self.beeps_at


def test_a_beep_of_two_probes_comes_from_the_cavity_under_black() -> None:
    picture = pieces(4)
    person = Swept({frozenset({1, 8})})
    step = Step(1, (2, 4, 8))
    _take(picture, cast(_Sweeps, person), step)
    assert person.asked == [step, Step(1, (8,))]
    assert picture.points == {0: 0b1001, 1: 2, 2: 4}
    assert picture.apart == pairs("01", "02")


def test_a_beep_of_a_chain_is_followed_over_all_that_was_clipped_by_then() -> None:
    picture = pieces(4)
    person = Swept({frozenset({2, 8})})
    step = Step(1, (2, 4, 8), chained=True)
    _take(picture, cast(_Sweeps, person), step)
    assert person.asked == [step, Step(8, (1, 2, 4))]
    assert picture.points == {0: 1, 1: 0b1010, 2: 4}
    assert picture.apart == pairs("01", "02", "12")
    assert person.unsteady == 0


def test_a_beep_that_none_of_a_bunch_owns_to_is_unsteady() -> None:
    class Fickle(Swept):
        def ask(self, step: Step) -> int:
            self.asked.append(step)
            return 0 if len(step.red) == 3 and not step.chained else 8

    picture = pieces(4)
    person = Fickle(set())
    step = Step(1, (2, 4, 8), chained=True)
    _take(picture, cast(_Sweeps, person), step)
    assert person.asked == [step, Step(8, (1, 2, 4)), Step(0b111, (8,))]
    assert person.unsteady == 8


def test_a_part_to_a_net_without_a_point_is_not_sensed() -> None:
    """R1 leads to a cavity without a point, D1 is a diode; two points share a threshold of 25 kΩ, so that
    R3 of 20 kΩ need not read low, and R4 of 10 kΩ does."""
    parts = (
        part(ComponentKind.RESISTOR, "R1", "A:1", "B:1", 100.0),
        part(ComponentKind.RESISTOR, "R2", "A:2", "B:2", 100.0),
        part(ComponentKind.DIODE, "D1", "A:3", "B:3"),
        part(ComponentKind.RESISTOR, "R3", "A:4", "B:4", 20e3),
        part(ComponentKind.RESISTOR, "R4", "A:5", "B:5", 10e3),
    )
    expectation = expect(loom_of("", parts))
    able = Capabilities(16)
    point_of = {e: k for k, e in enumerate(expectation.loom.cavities, 1) if e != End("B", "1")}
    plan = plan_proof(expectation, point_of, able, None)
    found = [(coupling.component, i, j) for coupling, i, j in sensible_parts(plan, expectation, able)]
    at = {str(e): k for e, k in plan.scope.group_of.items()}
    assert found == [("R2", at["A:2"], at["B:2"]), ("R4", at["A:5"], at["B:5"])]


def test_which_points_pull_others_low_that_they_should_not() -> None:
    """Points 1 and 2 are one conductor, which pulls 3 low through a part; 4 and 5 are by themselves."""
    nets = (0b11, 0b100, 0b1000, 0b10000)
    given = Conductors(nets, reach=(frozenset(), frozenset({0}), frozenset(), frozenset()))
    alone = {1: 0b11, 2: 0b11, 3: 0b100, 4: 0b1000, 5: 0b10000}
    assert _odd_pairs(given, alone) == {}
    assert _odd_pairs(given, alone | {1: 0b111}) == {}, "through the part"
    assert _odd_pairs(given, alone | {3: 0b101}) == {(3, 1): False}, "the part conducts the other way only"
    assert _odd_pairs(given, alone | {4: 0b11000}) == {(4, 5): False}
    assert _odd_pairs(given, alone | {4: 0b11000, 5: 0b11000}) == {(4, 5): True}
    both = alone | {1: 0b1011, 2: 0b1011, 4: 0b1011}
    assert _odd_pairs(given, both) == {(1, 4): True}, "once for two conductors"
    assert _odd_pairs(given, alone | {4: 0b101000}) == {}, "a point of no conductor"


def test_nets_that_touch_are_named_and_no_others() -> None:
    """Set 1 drives net 2 and is touched by net 1; net 0 has nothing to do with it."""
    scope = scope_of_sizes([1, 1, 1])
    log = WiggleLog(10.0, Moving())
    seen = _Seen(scope, [0b000, 0b100], [0b111, 0b011], log)
    (begun,) = list(seen.take(1, 0b110, 0.0, 5_000))
    assert (begun.change, begun.nets, begun.cavities) == (Change.TOUCH, (1,), (End("1", "1"),))
    (ended,) = list(seen.take(1, 0b100, 0.0, 7_000))
    assert ended == Moved(begun.began_s, Change.TOUCH, (1,), (End("1", "1"),), 2_000, begun.place)
    assert log.seen == [ended]
    assert list(seen.take(1, 0b100, 0.0, 8_000)) == []


@dataclass
class Drifting(NetworkBench):
    """Reads half an ohm more from its second look at the loom on: the last sense of a run."""

    looks: int = 0
    read_since: bool = False
    more_ohm: float = 0.5

    def _answer(self, question: Question) -> Answer:
        if isinstance(question, Sense):
            self.looks += self.read_since
            self.read_since = False
        answer = super()._answer(question)
        if isinstance(question, Resistance):
            self.read_since = True
            assert isinstance(answer, float)
            return answer + (self.more_ohm if self.looks else 0.0)
        return answer


@dataclass
class Late(NetworkBench):
    """A meter that answers the question before."""

    last: float = math.inf

    def _answer(self, question: Question) -> Answer:
        answer = super()._answer(question)
        if isinstance(question, Resistance):
            assert isinstance(answer, float)
            answer, self.last = self.last, answer
        return answer


def proof_on(kind: type[NetworkBench], **given: object) -> None:
    loom = the_loom()
    able = replace(FULL, diode=False)
    bench = kind(the_network(loom), dict(in_order(loom.cavities).point_of), able, **given)  # type: ignore[arg-type]  # fields by name
    assert able.ohms is not None
    made = Meter(Accuracy(0.02, 0.005), None, able.ohms, {}, 0.001)
    expectation = expect(loom)
    plan = plan_proof(expectation, bench.point_of, able, made)
    finish(run_plan(plan, expectation, bench, cleared(loom, bench)))


def test_a_meter_that_has_moved_by_the_end_is_refused() -> None:
    proof_on(Drifting, more_ohm=0.0)
    with pytest.raises(UnfitError, match="and then"):
        proof_on(Drifting)


def test_a_meter_that_answers_the_question_before_is_refused_before_a_conductor_is_judged() -> None:
    with pytest.raises(UnfitError, match="its answers belong to other questions"):
        proof_on(Late)


def test_every_conductor_off_alike_is_the_leads_and_refused_before_parts_are_read() -> None:
    with pytest.raises(UnfitError, match=r"not one of \d+ conductors in \d+ nets is within its limit"):
        proof_on(NetworkBench, lead_ohm=0.5)


@pytest.mark.parametrize(("ohm", "leaks"), [(0.95e6, 0), (0.85e6, 1)])
def test_a_leak_is_one_that_is_surely_under_the_limit(ohm: float, leaks: int) -> None:
    """A limit of 1 MΩ and a meter within 100 kΩ: what is nearer to it stays undecided."""
    scope = scope_of_sizes([1, 1])
    plan = Plan(scope, (), isolation_ohm=1e6, meter=meter(1e5))
    made = ohmmeter_of(Scripted(between({}, ohm)), scope, meter(1e5))
    found, one_way, lowest_ohm = _isolation(plan, made, [scope.ends(1), scope.ends(2)], [])
    assert (len(found), one_way, lowest_ohm) == (leaks, [], ohm)


@dataclass
class Crowded(NetworkBench):
    """Reads one point low wherever three others are driven, and none where fewer are."""

    wrong: int = 0

    def _low(self, drive: int) -> int:
        low = super()._low(drive)
        return low | self.wrong if (drive & ~self.wrong).bit_count() > 2 else low


def test_a_point_that_reads_wrongly_only_among_many_is_told_though_every_net_is_found() -> None:
    loom = the_loom()
    spare = End("C1", "8")
    point_of = dict(in_order(loom.cavities).point_of)
    wrong = 1 << (point_of[spare] - 1)
    bench = Crowded(the_network(loom), point_of, FULL, wrong=wrong)
    assert FULL.accuracy
    made = Meter(FULL.accuracy, None, (0.0, 20e6), {}, 0.001)
    expectation = expect(loom)
    plan = plan_proof(expectation, point_of, FULL, made, isolation_ohm=1e6)
    found = finish(run_plan(plan, expectation, bench, cleared(loom, bench)))
    assert set(found.groups) == set(found.expected)
    assert spare in found.unstable
    assert not found.sound


class CarriedOnce(NetworkBench):
    """The first watch loses an event after 1.5 s, and all others lose theirs at once."""

    watches = 0

    def _watch(self, sets: Sequence[int]) -> Iterator[WatchEvent]:
        type(self).watches += 1
        assert type(self).watches < 50, "it watches on and on"
        if type(self).watches == 1:
            yield from super()._watch(sets)
            yield WatchEvent(len(sets), 1_500_000, 0, self._low(sets[0]) & ~1)
        raise LostEventError("watch event 9 was lost on the line")


def test_a_line_that_carries_no_more_watches_ends_it_with_what_was_seen() -> None:
    loom = the_loom()
    CarriedOnce.watches = 0
    bench = CarriedOnce(the_network(loom), dict(in_order(loom.cavities).point_of), without_ohms())
    plan = plan_proof(expect(loom), bench.point_of, bench.able, None, isolation_ohm=None)
    log = WiggleLog(10.0)
    with pytest.raises(LostEventError):
        list(wiggle(plan, bench, cleared(loom, bench), log, lambda: 0.0))
    assert CarriedOnce.watches == 1 + FRUITLESS
    assert log.lost == 1 + FRUITLESS
