"""What a watch can claim, figure by figure, and readings of several hook-ups as one."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import cast

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.seam import Capabilities, WatchEvent, WatchSummary
from loomproof.electrics.expectation import expect
from loomproof.errors import AdapterError, LinkError, LostEventError, UnfitError
from loomproof.loom.model import ComponentKind, End
from loomproof.measuring.by_hand import _pieces, _Sweeps
from loomproof.measuring.counting_bench import Asker
from loomproof.measuring.doubting import SENSE_V, _sensed_only
from loomproof.measuring.events import finish
from loomproof.measuring.insulation_test import clean
from loomproof.measuring.measure import measure
from loomproof.measuring.merge_hookups import _watches
from loomproof.measuring.steadiness import _counted, _Share, _watched
from loomproof.measuring.trace import Seen, Traced, contradictions, together
from loomproof.measuring.traced_loom import _hidden_diode
from loomproof.measuring.traced_parts import (
    LEAST_FARAD,
    Read,
    TracedPart,
    capacitors_between,
    parts_between,
)
from loomproof.measuring.traced_readings import reader
from loomproof.measuring.undriven import meter_words
from loomproof.measuring.wiggle import WiggleLog, shortest_seen_us
from loomproof.planning.conductors import Conductors
from loomproof.planning.plan import plan_proof
from loomproof.planning.request import Request
from loomproof.planning.touches import Step
from loomproof.results.measured import Measured
from loomproof.results.wiggled import NetWatched, Wiggled
from tests.cleared import cleared, cleared_for_points
from tests.electrics.looms import loom_of, part
from tests.measuring.scripted import meter
from tests.memory_bench import MemoryBench
from tests.planning.test_touches import scope_with


@pytest.mark.parametrize(
    ("cycles", "sets", "watch_us", "shortest_us"),
    [(1000, 4, None, 12_500), (1000, 1, None, 20_000), (1000, 4, 40_000, 50_000), (1000, 3, 10_000, 13_334)],
)
def test_the_shortest_change_that_is_surely_seen_is_a_cycle_and_one_set_of_it(
    cycles: int, sets: int, watch_us: int | None, shortest_us: int
) -> None:
    """10 s in 1 000 cycles are 10 ms each, or what the bench states where that is more."""
    assert shortest_seen_us(WatchSummary(cycles, 0, 0), 10.0, sets, watch_us) == shortest_us


def test_a_watch_that_does_not_say_how_often_it_looked_claims_no_shortest_change() -> None:
    assert shortest_seen_us(None, 10.0, 4, 100) is None
    assert shortest_seen_us(WatchSummary(0, 0, 0), 10.0, 4, 100) is None


@dataclass
class Watching:
    """Stands in for an `Asker` that watches: so many sets at a time; what is seen, and what ends it."""

    events: Sequence[WatchEvent]
    ends: Exception | None = None
    most: int = 9
    watched: None = None
    asked: list[tuple[list[int], float]] = field(default_factory=list)

    @property
    def bench(self) -> Watching:
        return self

    def watch(self, sets: Sequence[int], seconds: float) -> Iterator[WatchEvent]:
        self.asked.append((list(sets), seconds))
        if len(sets) > self.most:
            raise UnfitError("too many sets for a line")
        yield from (event for event in self.events if event.index < len(sets))
        if self.ends:
            raise self.ends


BEFORE = ((0b11, 0b11), (0b01, 0b01), (0b10, 0b10))
AT_REST = [WatchEvent(k, 0, k, low) for k, (_, low) in enumerate(BEFORE)]


def watched(asker: Watching, seconds: float = 10.0) -> tuple[list[WatchEvent], list[_Share]]:
    done: list[_Share] = []
    return list(_watched(cast(Asker, asker), BEFORE, seconds, done)), done


def test_a_watch_that_saw_every_set_claims_its_whole_time() -> None:
    changed = WatchEvent(3, 4_000_000, 1, 0b11)
    seen, done = watched(Watching([*AT_REST, changed]))
    assert [event.low for event in seen] == [0, 0, 0, 0b10]
    assert done == [_Share(3, 10.0, 10.0, 0, None)]
    with pytest.raises(LinkError, match="reported 2 of its 3 sets"):
        watched(Watching(AT_REST[:2]))


@pytest.mark.parametrize(("at_us", "lasted_s"), [(4_000_000, 4.0), (12_000_000, 10.0)])
def test_a_watch_that_lost_an_event_lasted_to_the_last_one_before(at_us: int, lasted_s: float) -> None:
    changed = WatchEvent(3, at_us, 1, 0b11)
    _, done = watched(Watching([*AT_REST, changed], LostEventError("lost")))
    assert done == [_Share(3, 10.0, lasted_s, 1, None)]
    with pytest.raises(LostEventError):  # that nothing changed is not known
        watched(Watching(AT_REST, LostEventError("lost")))


def test_sets_that_a_line_does_not_carry_together_share_the_time() -> None:
    asker = Watching(AT_REST, most=2)
    _, done = watched(asker)
    assert asker.asked == [([3, 1, 2], 10.0), ([3, 1], 5.0), ([3, 2], 5.0)]
    assert done == [_Share(2, 5.0, 5.0, 0, None)] * 2
    alone = Watching(AT_REST, most=1)
    _, done = watched(alone)
    assert [share.sets for share in done] == [1, 1]


A1, A2, B1, B2, C1 = (End(text[0], text[1]) for text in ("A1", "A2", "B1", "B2", "C1"))


def test_hook_ups_laid_together_are_one_loom_with_all_that_was_asked() -> None:
    one = Seen(((A1, B1), (A2,)), (Read(A1, B1, 0.2, 0.1),), questions=("Why?",), sense_vectors=3)
    other = Seen(((B1, C1), (B2,)), (Read(B1, C1, None),), confirmed=False, questions=("Why?", "How?"))
    assert (
        together([replace(one, test_current_a=0.01), replace(other, test_current_a=0.02)]).test_current_a
        == 0.02
    )
    found = together([one, other])
    assert found.nets == ((A1, B1, C1), (A2,), (B2,))
    assert found.ohms == {(A1, B1): (0.2, 0.1), (B1, C1): (math.inf, 0.0)}
    assert (found.confirmed, found.questions) == (False, ("Why?", "How?"))
    assert (found.sense_vectors, found.resistance_readings, found.test_current_a) == (3, 0, 0.0)
    assert together([one, other], [C1, B2, B1, A2, A1]).nets == ((C1, B1, A1), (B2,), (A2,))
    assert together([one]).confirmed
    assert together([]) == Traced((), {}, (), confirmed=True)


def test_a_path_seen_one_way_from_two_cavities_of_a_net_is_one() -> None:
    seen = Seen(((A1, A2), (B1,)), one_way=((A1, B1), (A2, B1), (A1, A2)))
    (part,) = together([seen]).parts
    assert isinstance(part, TracedPart)
    assert part.one_way
    assert (part.a in (A1, A2), part.b) == (True, B1)


def test_what_is_one_conductor_here_and_apart_there_is_asked_about_once() -> None:
    apart = Seen(((A1,), (B1,), (A2,)))
    joined = Seen(((A1, B1), (A2,)))
    (said,) = contradictions([apart, joined, apart])
    assert said.startswith("A:1 and B:1 are apart in hook-up 1, and one conductor by what the others show")
    (said,) = contradictions([joined, apart])
    assert "apart in hook-up 2" in said
    assert contradictions([joined, joined]) == []


def test_a_pair_that_no_hook_up_read_is_the_shortest_way_over_those_that_were() -> None:
    """A:1 to B:1 to C:1 over 0.2 and 0.3 Ω; A:1 to C:1 itself reads 0.9 Ω with a worn plug between."""
    seen = [
        Seen(((A1, B1, C1), (A2,), (B2,)), (Read(A1, B1, 0.2, 0.01), Read(A1, C1, 0.9, 0.1))),
        Seen(((B1, C1),), (Read(C1, B1, 0.3, 0.02), Read(B1, C1, None))),
        Seen(((A2,), (B2,), (C1,)), between=(Read(A2, B2, 90.0, 1.0), Read(B2, A2, 110.0, 2.0))),
        Seen(((A2,), (C1,)), between=(Read(A2, C1, None), Read(C1, A2, 50.0, 1.0))),
    ]
    read = reader(seen)
    assert read(A1, C1) == pytest.approx((0.5, 0.03))
    assert read(C1, A1) == pytest.approx((0.5, 0.03))
    assert read(A1, A1) == (0.0, 0.0)
    assert read(A2, B2) == read(B2, A2) == (100.0, 2.0)
    assert math.isinf(read(A2, A1)[0]), "open one way"
    assert read(B2, C1) == (math.inf, math.inf), "nobody read it"


@pytest.mark.parametrize(
    ("ohm", "said"), [(0.0, False), (0.1, True), (0.69, True), (0.7, False), (2.0, False)]
)
def test_a_diode_may_hide_where_the_meter_stays_under_its_voltage(ohm: float, said: bool) -> None:
    """At one ampere ohms are volts, and a silicon diode drops 0.7 V (common practice)."""
    traced = together([Seen(((A1,),), test_current_a=1.0)])
    assert bool(_hidden_diode(traced, ohm)) is said


def test_a_ring_of_resistors_is_worked_out_as_a_whole() -> None:
    """Three of 300 Ω in a ring: each pair reads 300 ∥ 600 = 200 Ω, and no part of 200 Ω is there."""
    ends = [A1, B1, C1]
    reads = [Read(a, b, 200.0, 0.1) for a in ends for b in ends if a != b]
    found, _ = parts_between([(end,) for end in ends], reads, [])
    assert [part.ohm for part in found] == pytest.approx([300.0] * 3)


def test_a_part_is_as_uncertain_as_the_worse_of_its_two_readings() -> None:
    ends = [(A1,), (B1,)]
    for there_u, back_u in ((0.1, 0.5), (0.5, 0.1)):
        reads = [Read(A1, B1, 100.0, there_u), Read(B1, A1, 100.0, back_u)]
        (found,), _ = parts_between(ends, reads, [])
        assert found.u == pytest.approx(0.5)


def watch_of(shortest_us: int | None, lost: int, net: End) -> Measured:
    watch = Wiggled(10.0, (NetWatched((net,), 0.0, 5.0),), shortest_us, lost, 0.5)
    return Measured((), (), complete=True, watch=watch)


def test_watches_of_several_hook_ups_claim_what_each_of_them_saw() -> None:
    found = _watches([watch_of(400, 1, A1), watch_of(300, 2, B1)])
    assert found is not None
    assert (found.shortest_us, found.lost, found.unwatched_s) == (400, 3, 1.0)
    assert [watched.cavities for watched in found.nets] == [(A1,), (B1,)]
    found = _watches([watch_of(400, 0, A1), watch_of(None, 0, B1)])
    assert found is not None
    assert found.shortest_us is None, "one of them does not know"
    assert _watches([watch_of(400, 0, A1), Measured((), (), complete=True)]) is None
    assert _watches([]) is None
    alone = watch_of(400, 1, A1)
    assert _watches([alone]) == alone.watch


@pytest.mark.parametrize(
    ("earths", "feeds", "said"),
    [
        ((0,), (1,), "black lead on each earth in turn (E0), red lead on each feed (E1)."),
        ((0, 1), (2,), "(E0, E1), red lead on each feed (E2) and on each other earth."),
        ((0,), (1, 2), "red lead on each feed (E1, E2); then from each feed to each other."),
        ((0,), (0,), "one lead on each of E0, the other on every other thick wire."),
        ((), (1,), "one lead on each of E1, the other on every other thick wire."),
        ((), (), "between the thickest wires, each against each."),
    ],
)
def test_where_a_person_holds_a_voltmeter(earths: tuple[int, ...], feeds: tuple[int, ...], said: str) -> None:
    given = Conductors((1, 2, 4), earths, feeds, spots=("E0", "E1", "E2"))
    assert said in meter_words(given)


def test_changes_are_counted_in_words() -> None:
    assert [_counted(n) for n in range(3)] == ["nothing changed", "one change", "2 changes"]


def test_what_may_be_sensed_and_not_read_is_a_charge_or_a_junction_of_a_weak_meter() -> None:
    """A capacitor beside a resistor holds a charge; a diode passes sense, and not a meter of 1 V."""

    def sensed_only(kind: ComponentKind | None, volts: float) -> bool:
        parts = [part(ComponentKind.RESISTOR, "R1", "A:1", "B:1", 1e3)]
        parts += [part(kind, "P1", "A:1", "B:1")] if kind else []
        expectation = expect(loom_of("", tuple(parts), extra="C:1"))
        able = Capabilities(8, ohms=(0.0, 1e6))
        made = meter(test_voltage_v=volts)
        plan = plan_proof(expectation, in_order(expectation.loom.cavities).point_of, able, made)
        ends = expectation.loom.cavities
        assert not _sensed_only(plan, expectation, ends[0], ends[2]), "no part joins these two"
        return _sensed_only(plan, expectation, ends[0], ends[1])

    assert sensed_only(ComponentKind.CAPACITOR, 5.0)
    assert sensed_only(ComponentKind.DIODE, 1.0)
    assert not sensed_only(ComponentKind.DIODE, SENSE_V)
    assert not sensed_only(None, 1.0)


def test_of_touches_a_watch_claims_the_time_of_the_set_that_was_watched_least() -> None:
    log = WiggleLog(20.0, nets=((A1, B1), (C1,)), set_s=[10.0, 3.0, 5.0])
    pair, single = log.result().nets
    assert (pair.breaks_s, pair.touches_s) == (10.0, 3.0)
    assert (single.breaks_s, single.touches_s) == (0.0, 3.0)


@pytest.mark.parametrize(
    ("isolation_ohm", "pass_ohm", "put_under_voltage"),
    [(None, None, True), (2e6, 1e6, True), (1e6, 1e6, False), (5e5, 1e6, False), (1.0, None, True)],
)
def test_nothing_is_put_under_voltage_that_leaks_already(
    isolation_ohm: float | None, pass_ohm: float | None, put_under_voltage: bool
) -> None:
    net = (frozenset({A1, B1}),)
    found = Measured(net, net, complete=True, isolation_ohm=isolation_ohm, isolation_pass_ohm=pass_ohm)
    assert clean(found) is put_under_voltage


def test_without_an_insulation_test_no_volts_are_confirmed() -> None:
    bench = MemoryBench(Capabilities(8))
    assert cleared_for_points(bench, meter_v=0.0).insulation_v == 0.0


@pytest.mark.parametrize(
    ("waived", "says"), [("Z9", "the loom has no such cavity"), ("A1", "point 1 goes to it")]
)
def test_a_cavity_that_is_left_to_the_probe_is_one_of_the_loom_without_a_point(
    waived: str, says: str
) -> None:
    loom = loom_of("W1 A:1 B:1 1.0m 0.5mm2")
    bench = MemoryBench(Capabilities(8))
    adapter = in_order(loom.cavities)
    request = Request(loom, adapter, "it", "2031-01-01T00:00:00Z", waived=(End(waived[0], waived[1]),))
    with pytest.raises(AdapterError, match=says):
        finish(measure(request, bench, cleared(loom, bench, adapter, meter_v=0.0)))


class Beeping:
    """Stands in for `_Sweeps`: each question is noted, and beeps at all but what is said."""

    def __init__(self, silent: int) -> None:
        self.silent = silent
        self.touches = 0
        self.asked: list[Step] = []

    def ask(self, step: Step) -> int:
        self.asked.append(step)
        return step.red_points & ~self.silent

    def beeps(self, black: int, red: int, *, said: bool) -> bool:
        assert red & self.silent, "what beeped as it should is not touched again"
        return False


def test_nets_that_rest_on_the_proof_before_are_whole_and_not_asked() -> None:
    """Net 0 of three cavities rests; net 1 of three is asked, and its last cavity is silent."""
    person = Beeping(0b100000)
    found = finish(_pieces(scope_with((3, 3)), cast(_Sweeps, person), frozenset({0}), 9))
    assert sorted(found) == [0b111, 0b011000, 0b100000]
    assert person.asked == [Step(0b001000, (0b010000, 0b100000), whole=True)]
    everything = finish(_pieces(scope_with((3, 3)), cast(_Sweeps, Beeping(0)), frozenset(), 9))
    assert sorted(everything) == [0b111, 0b111000]


def test_a_capacitor_is_as_uncertain_as_its_reading() -> None:
    (found,) = capacitors_between([(A1,), (B1,)], [Read(A1, B1, 1e-6, 2e-8)])
    assert found.farad == pytest.approx(1e-6)
    assert found.u == pytest.approx(2e-8)
    assert not list(capacitors_between([(A1,), (B1,)], [Read(A1, B1, 0.9 * LEAST_FARAD, 1e-10)]))
