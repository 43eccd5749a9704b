"""Watching all nets while the loom is moved: over the link to a simulated scanner, on a held clock."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.interface import Bench
from loomproof.bench.scanner import ScannerBench
from loomproof.bench.seam import WatchEvent
from loomproof.electrics.expectation import expect
from loomproof.errors import LinkError, LostEventError, UnfitError
from loomproof.loom.model import End, Loom
from loomproof.loom.reading import load
from loomproof.measuring.events import Event, Prompt
from loomproof.measuring.wiggle import FRUITLESS, Moving, WiggleLog, wiggle
from loomproof.planning.plan import plan_proof
from loomproof.results.wiggled import Change, Moved
from loomproof.virtual.scanner import Make, Scanner
from tests.bench.device import Clock
from tests.bench.simline import sim_bench
from tests.bench.torture import FIXTURES
from tests.cleared import cleared
from tests.measuring.network_bench import Network, NetworkBench, without_ohms
from tests.measuring.scanner_bench import loom_of

LAMP = load(FIXTURES / "tail_lamp").loom


@dataclass
class Seen:
    """A watch that has run: its log and its events."""

    log: WiggleLog
    events: list[Event]

    @property
    def moved(self) -> list[Moved]:
        return [each for each in self.events if isinstance(each, Moved)]


@contextmanager
def on_scanner(loom: Loom, *faults: str) -> Iterator[tuple[ScannerBench, Clock]]:
    clock = Clock()
    scanner = Scanner(loom, Make(max(len(loom.cavities), 16)), faults=faults, seed=1)
    with sim_bench(scanner, clock=clock) as bench:
        yield bench, clock


def run(
    loom: Loom, bench: Bench, clock: Callable[[], float], seconds: float, moving: Moving | None = None
) -> Seen:
    adapter = in_order(loom.cavities)
    plan = plan_proof(expect(loom), adapter.point_of, bench.capabilities(), None, isolation_ohm=None)
    seen = Seen(WiggleLog(seconds, moving or Moving()), [])
    for event in wiggle(plan, bench, cleared(loom, bench, adapter, meter_v=0.0), seen.log, clock):
        seen.events.append(event)
    return seen


def test_a_quiet_watch_says_what_was_watched_and_how_short_an_event_it_surely_sees() -> None:
    with on_scanner(LAMP) as (bench, clock):
        seen = run(LAMP, bench, clock, 4.0)
    result = seen.log.result()
    assert (result.seen, result.lost, result.unwatched_s, result.as_at_rest) == ((), 0, 0.0, ())
    assert len(result.nets) == len(expect(LAMP).nets)
    assert {net.touches_s for net in result.nets} == {4.0}
    assert {net.breaks_s for net in result.nets if len(net.cavities) > 1} == {4.0}
    # The simulator's shortest cycle is 300 µs (`Make`), never less; and each set takes its settling time.
    assert result.shortest_us is not None
    assert result.shortest_us >= 300


def test_a_contact_that_lets_go_is_told_as_it_begins_and_with_its_length() -> None:
    with on_scanner(LAMP, "loose LAMP:2 4 Hz") as (bench, clock):
        seen = run(LAMP, bench, clock, 4.0)
    ended = [each for each in seen.log.seen if each.length_us is not None]
    # 4 Hz for 4 s, open for a tenth of each period: 25 ms, true to one cycle.
    assert len(ended) in (15, 16)
    shortest = seen.log.result().shortest_us
    assert shortest is not None
    assert all(abs((each.length_us or 0) - 25_000) <= shortest for each in ended)
    assert {each.change for each in ended} == {Change.BREAK}
    nets = seen.log.nets
    assert {End("LAMP", "2") in nets[each.nets[0]] for each in ended} == {True}
    begun = [each for each in seen.moved if each.length_us is None]
    assert len(begun) >= len(ended)
    assert seen.moved[0].length_us is None
    assert seen.moved[1].length_us is not None


def test_what_the_person_moves_is_kept_with_each_event() -> None:
    said = iter(("LAMP", "BODY", "LAMP"))
    moving = Moving(lambda: next(said, ""), lambda: {"LAMP": 3.0, "BODY": 1.0})
    with on_scanner(LAMP, "loose LAMP:2 4 Hz") as (bench, clock):
        seen = run(LAMP, bench, clock, 0.9, moving)
    assert [each.place for each in seen.log.result().seen][:3] == ["LAMP", "BODY", "LAMP"]
    assert seen.log.result().moved_s == {"LAMP": 3.0, "BODY": 1.0}


class Touching(NetworkBench):
    """Nets A1 and A2 touch in the middle of the watch, as each set that drives one of them shows."""

    def _watch(self, sets: Sequence[int]) -> Iterator[WatchEvent]:
        rest = [self._low(drive) for drive in sets]
        number = len(sets)
        yield from (WatchEvent(k, 0, k, low) for k, low in enumerate(rest))
        one, two = self._low(1), self._low(2)
        changed = [
            (k, low | (two if low & one and not low & two else one if low & two and not low & one else 0))
            for k, low in enumerate(rest)
        ]
        for at_us, lows in ((5_000, changed), (9_000, list(enumerate(rest)))):
            for k, low in lows:
                if changed[k][1] != rest[k]:
                    yield WatchEvent(number, at_us + k, k, low)
                    number += 1


def network(loom: Loom, kind: type[NetworkBench] = NetworkBench) -> NetworkBench:
    wires = {wire.name: (wire.a, wire.b, 0.05) for wire in loom.wires}
    return kind(Network(wires), dict(in_order(loom.cavities).point_of), without_ohms())


class NeverCarried(NetworkBench):
    """Every watch loses its first event."""

    def _watch(self, sets: Sequence[int]) -> Iterator[WatchEvent]:
        yield from ()
        raise LostEventError("watch event 0 was lost on the line")


class LosesOne(NetworkBench):
    """The first watch loses an event 1.5 s after it began; later ones go well."""

    watches = 0

    def _watch(self, sets: Sequence[int]) -> Iterator[WatchEvent]:
        type(self).watches += 1
        yield from super()._watch(sets)
        if type(self).watches == 1:
            yield WatchEvent(len(sets), 1_500_000, 0, self._low(sets[0]) & ~1)
            raise LostEventError("watch event 9 was lost on the line")


def test_a_lost_event_is_counted_and_the_time_that_it_covers_is_not_claimed() -> None:
    loom = loom_of("1 2 3")
    LosesOne.watches = 0
    bench = network(loom, LosesOne)
    moments = iter((0.0, 4.0))  # by the host's clock the loss was told 4 s after the watch began
    seen = run(loom, bench, lambda: next(moments, 4.0), 10.0)
    result = seen.log.result()
    assert result.lost == 1
    assert result.unwatched_s == pytest.approx(2.5)
    assert result.watched_s == pytest.approx(7.5)
    assert [(each.change, each.length_us) for each in result.seen] == [(Change.BREAK, None)]
    assert result.shortest_us is None  # this bench does not say how often it looked


def test_a_line_that_carries_no_watch_at_all_ends_it() -> None:
    loom = loom_of("1 2")
    bench = network(loom, NeverCarried)
    log = WiggleLog(10.0)
    plan = plan_proof(expect(loom), bench.point_of, bench.able, None, isolation_ohm=None)
    with pytest.raises(LostEventError):
        list(wiggle(plan, bench, cleared(loom, bench), log, lambda: 0.0))
    assert log.lost == FRUITLESS
    assert log.result().watched_s == 0.0


class Mute(NetworkBench):
    """It says that it watches and reports nothing."""

    def _watch(self, sets: Sequence[int]) -> Iterator[WatchEvent]:
        yield from ()


def test_a_bench_that_reports_nothing_has_not_watched() -> None:
    loom = loom_of("1 2")
    with pytest.raises(LinkError, match="has not watched"):
        run(loom, network(loom, Mute), lambda: 0.0, 2.0)


def test_two_nets_that_touch_are_both_named() -> None:
    loom = loom_of("1 2 3")
    seen = run(loom, network(loom, Touching), lambda: 0.0, 2.0)
    (touch,) = seen.log.result().seen
    assert touch.change is Change.TOUCH
    assert [str(end) for end in touch.cavities] == ["A:1", "A:2", "B:1", "B:2"]
    assert len(touch.nets) == 2
    assert touch.length_us is not None
    assert 3_900 <= touch.length_us <= 4_100


def test_a_bench_that_cannot_watch_is_refused_with_a_cure() -> None:
    loom = loom_of("1 2")
    bench = network(loom)
    bench.able = replace(bench.able, watch_us=None)
    with pytest.raises(UnfitError, match="cannot watch") as refused:
        run(loom, bench, lambda: 0.0, 2.0)
    assert refused.value.cure


class Narrow(NetworkBench):
    """No more than three sets fit one line; it watches as long as it is asked to."""

    def _watch(self, sets: Sequence[int]) -> Iterator[WatchEvent]:
        if len(sets) > 3:
            raise UnfitError("too many sets")
        yield from super()._watch(sets)


def test_sets_that_do_not_fit_a_line_take_turns_and_each_has_its_own_time() -> None:
    loom = loom_of("1 2 3 4 5 6 7 8 9")
    seen = run(loom, network(loom, Narrow), lambda: 0.0, 24.0)
    times = seen.log.set_s
    assert len(times) > 4
    assert times[0] == pytest.approx(24.0)
    # Two at a time besides the heads, for 24 s in all: that is what there is to share out.
    assert sum(times[1:]) <= 2 * 24.0
    assert min(times[1:]) >= 2.0
    result = seen.log.result()
    assert result.watched_s == pytest.approx(24.0)
    assert result.touches_s == min(times[1:])


def test_what_is_open_at_rest_is_told_before_anything_is_moved() -> None:
    with on_scanner(LAMP, "open W2") as (bench, clock):
        seen = run(LAMP, bench, clock, 1.0)
    assert seen.log.as_at_rest
    told = next(each.text for each in seen.events if isinstance(each, Prompt))
    assert str(seen.log.as_at_rest[0]) in told
    assert "otherwise than described" in told


def test_a_watch_that_is_broken_off_keeps_what_it_saw_and_claims_the_time_that_the_bench_confirmed() -> None:
    adapter = in_order(LAMP.cavities)
    with on_scanner(LAMP, "loose LAMP:2 4 Hz") as (bench, clock):
        plan = plan_proof(expect(LAMP), adapter.point_of, bench.capabilities(), None, isolation_ohm=None)
        log = WiggleLog(60.0)
        job = wiggle(plan, bench, cleared(LAMP, bench, adapter, meter_v=0.0), log, clock)
        began = clock.now
        next(event for event in job if isinstance(event, Moved) and event.began_s > 1.0)
        with pytest.raises(KeyboardInterrupt):
            job.throw(KeyboardInterrupt())
        took = clock.now - began
    result = log.result()
    assert bench.released
    assert len(result.seen) >= 4
    assert 1.0 < result.watched_s <= took
    assert result.asked_s == 60.0


def test_a_bench_that_goes_away_keeps_what_was_seen_and_claims_no_more_than_its_last_event() -> None:
    class GoesAway(NetworkBench):
        def _watch(self, sets: Sequence[int]) -> Iterator[WatchEvent]:
            yield from super()._watch(sets)
            yield WatchEvent(len(sets), 2_000_000, 0, self._low(sets[0]) & ~2)
            raise LinkError("nothing answers any more")

    loom = loom_of("1 2 3")
    bench = network(loom, GoesAway)
    plan = plan_proof(expect(loom), bench.point_of, bench.able, None, isolation_ohm=None)
    log = WiggleLog(60.0)
    with pytest.raises(LinkError, match="nothing answers"):
        list(wiggle(plan, bench, cleared(loom, bench), log, lambda: 0.0))
    assert log.result().watched_s == pytest.approx(2.0)
    assert len(log.result().seen) == 1
