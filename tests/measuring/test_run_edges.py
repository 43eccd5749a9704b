"""Edges of a run and of its searches: what each step adds, what it counts, and where its limits lie."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.journal import JournaledBench, ReplayBench
from loomproof.bench.seam import WatchEvent
from loomproof.electrics.expectation import expect
from loomproof.errors import LostEventError, UnfitError
from loomproof.loom.model import Component, ComponentKind, End, Loom
from loomproof.measuring.clearance import clear_replay
from loomproof.measuring.events import finish
from loomproof.measuring.resolve_nets import complete
from loomproof.measuring.run import _leaks, run_plan
from loomproof.measuring.shared_cause import _one_a_net
from loomproof.measuring.traced_parts import LEAST_FARAD, Read, capacitors_between, parts_between
from loomproof.measuring.wiggle import FRUITLESS, WiggleLog, wiggle
from loomproof.planning.bounding import BoundReading
from loomproof.planning.meter import Meter
from loomproof.planning.plan import plan_proof
from loomproof.planning.test_vectors import Group, sense_vectors
from loomproof.results.measured import Decision, Measured
from tests.cleared import cleared
from tests.electrics.looms import loom_of
from tests.measuring.network_bench import FULL, NetworkBench, without_ohms
from tests.measuring.scripted import Scripted, ohmmeter_of, wire
from tests.measuring.test_meter_suspicions import GROUPS, PLAN
from tests.measuring.test_run import the_loom, the_network
from tests.measuring.test_run_rules import Crowded
from tests.planning.test_meter_and_reach import scope_of_sizes


@pytest.mark.parametrize(("off", "alone"), [(0.008, 0), (0.012, 1)])
def test_readings_of_one_leak_are_alike_to_a_hundredth_and_twice_the_meters_ratio(
    off: float, alone: int
) -> None:
    """Points 3 and 4 of eight leak 100 kΩ. What reads otherwise with fewer on the buses is read by itself;
    whichever it is, each leak is read both ways in the end."""
    everyone = 0b11111111

    def ohm(a: int, b: int, _wires: int) -> float:
        if not ((a & 4 and b & 8) or (a & 8 and b & 4)):
            return float("inf")
        return 100e3 * (1.0 if a | b == everyone else 1.0 + off)

    asker = Scripted(ohm)
    found, _ = _leaks(
        1e6, ohmmeter_of(asker, scope_of_sizes([1] * 8)), [1 << k for k in range(8)], turned=False
    )
    assert found == {(2, 3)}
    assert [(a, b) for a, b, _ in asker.asked].count((4, 8)) == 1 + alone


def run_on(
    bench: NetworkBench, loom: Loom, isolation_ohm: float | None = 1e6, *, beside: bool = True
) -> Measured:
    assert FULL.accuracy
    expectation = expect(loom)
    made = Meter(FULL.accuracy, None, (0.0, 20e6), {}, 0.001)
    plan = plan_proof(expectation, bench.point_of, FULL, made, isolation_ohm=isolation_ohm)
    clearance = cleared(loom, bench)
    object.__setattr__(clearance, "beside", beside)  # as for a journal from before it was asked
    return finish(run_plan(plan, expectation, bench, clearance))


def test_one_bad_diode_of_two_accounts_for_a_point_that_read_wrongly() -> None:
    more = Component("D2", ComponentKind.DIODE, (("A", End("C1", "7")), ("K", End("C1", "4"))), forward_v=0.6)
    loom = replace(the_loom(), components=(*the_loom().components, more))
    spare = End("C1", "8")
    point_of = dict(in_order(loom.cavities).point_of)
    for gone in ((), ("D1",)):
        network = the_network(loom)
        for name in gone:
            del network.diodes[name]
        found = run_on(Crowded(network, point_of, FULL, wrong=1 << (point_of[spare] - 1)), loom)
        decisions = {diode.decision is Decision.PASS for diode in found.diodes}
        assert decisions == ({True, False} if gone else {True})
        assert (spare in found.unstable) is not bool(gone)


def test_a_diode_with_a_resistor_across_it_that_sense_takes_for_a_wire_is_told_by_ohms() -> None:
    """5 kΩ pull an input low both ways; 1 mA through the diode shows 0.6 V, and the other way 5 V."""
    loom = the_loom()
    a, b = End("C1", "7"), End("C1", "8")
    network = the_network(loom)
    network.ohms["stray"] = (a, b, 5e3)
    network.diodes["stray"] = (a, b)
    found = run_on(NetworkBench(network, dict(in_order(loom.cavities).point_of), FULL), loom, None)
    assert [(way.source, way.sink) for way in found.one_way] in ([(a, b)], [(b, a)])
    assert found.paths == found.leaks == ()


@pytest.mark.parametrize("beside", [False, True])
def test_ways_found_by_isolation_stand_in_the_order_of_the_run_that_is_replayed(beside: bool) -> None:
    """Diodes behind 200 kΩ and 100 kΩ: no input is pulled low, and isolation finds both."""
    loom = the_loom()
    network = the_network(loom)
    pairs = ((End("C1", "3"), End("C1", "4"), 200e3), (End("C1", "7"), End("C1", "8"), 100e3))
    for k, (a, b, ohm) in enumerate(pairs):
        network.ohms[f"stray {k}"] = (a, End("between", f"{k}"), ohm)
        network.diodes[f"stray {k}"] = (End("between", f"{k}"), b)
    bench = NetworkBench(network, dict(in_order(loom.cavities).point_of), FULL)
    found = run_on(bench, loom, beside=beside)
    assert len(found.one_way) == 2
    first = {found.one_way[0].source, found.one_way[0].sink}
    assert (End("C1", "8") in first) is beside, "the lowest first, where paths beside parts are asked for"


def test_completing_a_picture_counts_what_it_asks() -> None:
    """Points 1 and 2 should be one conductor, 3 and 4 another: 2 and 3 changed places."""
    groups = [Group.of(0b0011), Group.of(0b1100)]
    asked: list[int] = []

    def ask(drives: Sequence[int]) -> list[int]:
        asked.extend(drives)
        return [sum(net for net in (0b0101, 0b1010) if net & drive) for drive in drives]

    vectors = sense_vectors(groups)
    lows = ask([vector.drive for vector in vectors])
    asked.clear()
    found = complete(ask, groups, vectors, lows)
    assert set(found.groups) == {0b0101, 0b1010}
    assert found.vectors == len(asked) > 0
    assert 0 < found.confirming <= found.vectors


class HeadsOnly(NetworkBench):
    """The line carries the watch of one set and no more."""

    def _watch(self, sets: Sequence[int]) -> Iterator[WatchEvent]:
        if len(sets) > 1:
            raise UnfitError("too many sets")
        yield from super()._watch(sets)


class Short(NetworkBench):
    """Each watch loses an event 1.2 ms after it began."""

    def _watch(self, sets: Sequence[int]) -> Iterator[WatchEvent]:
        yield from super()._watch(sets)
        yield WatchEvent(len(sets), 1_200, 0, self._low(sets[0]))
        raise LostEventError("watch event 9 was lost on the line")


def wiggled(kind: type[NetworkBench], seconds: float) -> WiggleLog:
    loom = the_loom()
    bench = kind(the_network(loom), dict(in_order(loom.cavities).point_of), without_ohms())
    plan = plan_proof(expect(loom), bench.point_of, bench.able, None, isolation_ohm=None)
    log = WiggleLog(seconds)
    list(wiggle(plan, bench, cleared(loom, bench), log, lambda: 0.0))
    return log


def test_a_line_that_carries_the_heads_alone_watches_for_breaks() -> None:
    log = wiggled(HeadsOnly, 3.0)
    assert log.set_s[0] == pytest.approx(3.0)
    assert set(log.set_s[1:]) == {0.0}
    assert log.result().touches_s == 0.0


def test_a_watch_of_more_than_a_millisecond_is_not_fruitless() -> None:
    log = wiggled(Short, 0.05)
    assert log.lost > 2 * FRUITLESS
    assert log.set_s[0] == pytest.approx(0.05, abs=0.0013)


def test_a_conductor_of_a_twentieth_of_a_part_is_still_read_side_by_side() -> None:
    """A part of 20 Ω at the least: a conductor of 1 Ω does not lead much of its current, one of more may."""
    bound = BoundReading("R1", End("6", "1"), End("7", "1"), 1, 2, 20.0, 22.0)
    plan = replace(PLAN, bounds=(bound,))
    for ohm, count in ((1.0, 2), (1.000001, 0)):
        assert len(_one_a_net(plan, GROUPS, [wire(k, ohm) for k in range(2)])) == count


def test_what_reads_as_the_least_capacitor_is_one() -> None:
    """10 nF, in a chain of which the outer pair was not read; what is a hair less is wires side by side."""
    ends = [End("A", f"{k}") for k in range(3)]
    conductors = [[end] for end in ends]
    for farad, count in ((LEAST_FARAD, 2), (LEAST_FARAD * (1 - 1e-6), 1)):
        read = [Read(ends[0], ends[1], 1e-6), Read(ends[1], ends[2], farad)]
        assert len(list(capacitors_between(conductors, read))) == count


def test_of_parts_that_would_make_readings_fit_the_strongest_is_taken() -> None:
    """A ring of 609, 15, 153 and 70 Ω read within 0.8 % by a meter of ±1 %: four parts, and no fifth.

    The row of the three nearest pairs is not all; what carries most of the current of its pair is added.
    """
    ends = [End("A", f"{k}") for k in range(4)]
    ohms = {(0, 1): 171.21, (0, 2): 163.32, (0, 3): 63.9, (1, 2): 14.72, (1, 3): 134.08, (2, 3): 125.27}
    read = [
        Read(ends[x], ends[y], ohm, 0.0101 * ohm) for (i, j), ohm in ohms.items() for x, y in ((i, j), (j, i))
    ]
    parts, _ = parts_between([[end] for end in ends], read, [])
    assert [(part.a.cavity, part.b.cavity) for part in parts] == [
        ("0", "1"),
        ("0", "3"),
        ("1", "2"),
        ("2", "3"),
    ]
    assert [part.ohm for part in parts] == pytest.approx([609.0, 70.0, 15.0, 153.0], rel=0.1)


@pytest.mark.parametrize("ohm", [0.0, -0.02])
def test_conductors_that_read_as_nothing_to_each_other_are_joined_by_a_part_of_nothing(ohm: float) -> None:
    """Sense held them apart, and the meter, its leads taken off, reads no ohms or less: that is told."""
    ends = [End("A", f"{k}") for k in range(3)]
    ohms = {(0, 1): ohm, (1, 2): 100.0, (0, 2): 100.0}
    read = [Read(ends[x], ends[y], value, 0.1) for (i, j), value in ohms.items() for x, y in ((i, j), (j, i))]
    parts, _ = parts_between([[end] for end in ends], read, [])
    nothing = next(each for each in parts if {each.a, each.b} == {*ends[:2]})
    assert nothing.ohm == pytest.approx(0.0, abs=0.1)
    assert nothing.u == pytest.approx(0.1, rel=0.5)
    assert any(each.ohm == pytest.approx(100.0, abs=0.2) for each in parts)


def test_a_journal_is_worked_out_as_a_run_of_today_where_its_header_does_not_say_otherwise(
    tmp_path: Path,
) -> None:
    loom = loom_of("W1 A:1 B:1 1.0m 0.5mm2")
    bench = NetworkBench(the_network(loom), dict(in_order(loom.cavities).point_of), FULL)
    path = tmp_path / "run.jsonl"
    JournaledBench(bench, path).close()
    clearance = clear_replay(loom, ReplayBench(path), in_order(loom.cavities))
    assert clearance.controls
    assert clearance.beside
