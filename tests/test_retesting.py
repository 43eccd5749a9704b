"""A retest goes through the gate of a proof and is judged as a proof: one set of readings, one verdict."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest

from loomproof.bench.adapter import Adapter, in_order
from loomproof.bench.seam import Capabilities
from loomproof.errors import AdapterError, SafetyError
from loomproof.jobs.prove import prove
from loomproof.jobs.retest import Retested, retest
from loomproof.loom.model import End, Loom
from loomproof.loom.reading import load
from loomproof.measuring.events import finish
from loomproof.planning.request import Request
from loomproof.results.document import Verdict
from tests.bench.torture import FIXTURES
from tests.cleared import cleared
from tests.measuring.meter_bench import METER_ONLY, MeterBench, meter_bench
from tests.measuring.scanner_bench import OHMS, scanner_bench

TAIL = load(FIXTURES / "tail_lamp").loom
ENGINE = load(FIXTURES / "hillclimb_engine").loom
BLIND = replace(METER_ONLY, ohms=(0.001, 10.0))
"""A meter that does not reach far enough to tell conductors apart."""


def asked(loom: Loom, answers: Mapping[str, str], adapter: Adapter | None = None) -> Request:
    table = adapter or in_order(loom.cavities)
    return Request(loom, table, "run", "2031-05-04T00:00:00Z", answers=answers)


def bench_with(loom: Loom, able: Capabilities, *faults: str) -> MeterBench:
    if able.sense_ohm is None:
        return meter_bench(loom, *faults, able=able)
    return scanner_bench(loom, *faults, able=able)


def both(
    loom: Loom, able: Capabilities, *faults: str, answers: Mapping[str, str] | None = None
) -> tuple[Verdict, Retested]:
    """Prove a loom, and retest all of its cavities, each on a bench of its own with the same readings."""
    request = asked(loom, answers or {})
    bench = bench_with(loom, able, *faults)
    proved = finish(prove(request, bench, cleared(loom, bench, meter_v=0.0)))
    again = bench_with(loom, able, *faults)
    retested = finish(retest(request, loom.cavities, again, cleared(loom, again, meter_v=0.0)))
    return proved.document.verdict, retested


@pytest.mark.parametrize("able", [OHMS, METER_ONLY, BLIND], ids=["scanner", "meter", "short meter"])
@pytest.mark.parametrize(
    "faults",
    [(), ("open W2",), ("short BODY:1 BODY:2",), ("high 4.7 W3",), ("leak 20000 BODY:1 BODY:4",)],
    ids=lambda faults: " ".join(faults) or "sound",
)
def test_one_verdict_for_one_set_of_readings(able: Capabilities, faults: tuple[str, ...]) -> None:
    proved, retested = both(TAIL, able, *faults)
    assert retested.judgement.verdict is proved
    if able is BLIND and not faults:
        assert proved is Verdict.INCOMPLETE


def test_a_retest_knows_what_is_unused_by_the_answers_of_the_run_before() -> None:
    for answers, kind in (({"fan": "switch"}, "note"), ({}, "fault")):
        proved, retested = both(ENGINE, OHMS, "open W31", answers=answers)
        assert retested.judgement.verdict is proved
        assert {finding.severity.value for finding in retested.findings} == {kind}
        assert (proved is Verdict.FAIL) is (kind == "fault")


def test_a_loom_that_may_see_a_milliampere_is_not_retested_with_ten() -> None:
    gentle = replace(TAIL, settings=replace(TAIL.settings, test_current_a=0.001))
    bench = bench_with(gentle, OHMS)
    with pytest.raises(SafetyError, match=r"the loom's limit is 0\.001 A"):
        finish(retest(asked(gentle, {}), gentle.cavities, bench, cleared(gentle, bench, meter_v=0.0)))
    assert bench.readings == 0


def test_what_the_repair_can_have_touched_wants_a_point_before_anything_is_driven() -> None:
    cavities = [end for end in TAIL.cavities if end != End("BODY", "2")]
    adapter = in_order(cavities)
    bench = bench_with(TAIL, OHMS)
    clearance = cleared(TAIL, bench, adapter, meter_v=0.0)
    with pytest.raises(AdapterError, match="no point goes to BODY:2"):
        finish(retest(asked(TAIL, {}, adapter), [End("LAMP", "2")], bench, clearance))
    assert bench.readings == 0
