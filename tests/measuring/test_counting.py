"""What a run asks is counted and told, with about how long the rest takes."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.questions import Answer, Question, Resistance, Sense
from loomproof.bench.seam import Accuracy, Capabilities
from loomproof.electrics.expectation import expect
from loomproof.measuring.counting_bench import Asker
from loomproof.measuring.events import Progress, Reading
from loomproof.measuring.run import run_plan
from loomproof.planning.meter import Meter
from loomproof.planning.plan import plan_proof
from loomproof.results.measured import Measured
from tests.cleared import cleared
from tests.measuring.network_bench import FULL, NetworkBench
from tests.measuring.test_run import the_loom, the_network


@dataclass
class Counted(NetworkBench):
    """Counts what it is asked."""

    vectors: int = 0
    readings: int = 0

    def _answer(self, question: Question) -> Answer:
        if isinstance(question, Sense):
            self.vectors += len(question.drives)
        self.readings += isinstance(question, Resistance)
        return super()._answer(question)


def counted(able: Capabilities = FULL, repeats: int = 1) -> tuple[Measured, Counted, list[object]]:
    """A sound loom proved, and the events meanwhile."""
    loom = the_loom()
    bench = Counted(the_network(loom), dict(in_order(loom.cavities).point_of), able)
    meter = None
    if able.ohms is not None:
        meter = Meter(Accuracy(0.02, 0.005), None, able.ohms, {}, 0.001, repeats=repeats)
    expectation = expect(loom)
    plan = plan_proof(expectation, bench.point_of, able, meter)
    clearance = cleared(loom, bench)
    before = bench.vectors, bench.readings
    run = run_plan(plan, expectation, bench, clearance)
    events: list[object] = []
    try:
        while True:
            events.append(next(run))
    except StopIteration as ended:
        measured = ended.value
    bench.vectors, bench.readings = bench.vectors - before[0], bench.readings - before[1]
    return measured, bench, events


@pytest.mark.parametrize("ohms", [True, False])
def test_a_run_says_how_much_it_asked(ohms: bool) -> None:
    able = replace(FULL, diode=False)
    measured, bench, _ = counted(able if ohms else replace(able, ohms=None, accuracy=None))
    assert measured.sense_vectors == bench.vectors > 0
    assert measured.resistance_readings == bench.readings
    assert bool(bench.readings) is ohms


def test_about_how_long_readings_take_is_the_benchs_time_for_each() -> None:
    """20 ms a reading, three of each: 60 ms for what is left."""
    able = replace(FULL, reading_ms=20.0)
    _, _, events = counted(able, repeats=3)
    told = [each for each in events if isinstance(each, Progress) and each.what == "measuring"]
    assert len(told) > 2
    for each in told:
        assert each.remaining_s == pytest.approx((each.total - each.done) * 0.06)


def test_what_was_asked_is_told_by_cavities_once() -> None:
    loom = the_loom()
    bench = NetworkBench(the_network(loom), dict(in_order(loom.cavities).point_of))
    asker = Asker(bench, cleared(loom, bench), 0b1111111)
    a, b = loom.cavities[0], loom.cavities[6]
    end_of = {1: a, 7: b}
    assert asker.sense([]) == []
    (low,) = asker.sense([0b1000001])
    ohm = asker.resistance(0b1, 0b1000000)
    volts = asker.diode(0b1, 0b1000000)
    assert (asker.vectors, asker.readings) == (1, 2)
    assert low & 0b1000001 == 0b1000001
    assert math.isinf(ohm)
    assert list(asker.told(end_of)) == [
        Reading("sense", (a, b), (a, b)),
        Reading("resistance", (a,), (b,), ohm),
        Reading("diode", (a,), (b,), volts),
    ]
    assert list(asker.told(end_of)) == []
