"""A retest: what a repair can have touched, proved again and judged as a proof is."""

from __future__ import annotations

from collections.abc import Generator, Iterable
from dataclasses import dataclass, replace

from loomproof.bench.seam import Bench
from loomproof.diagnosis import explain
from loomproof.electrics.expectation import Expectation, expect
from loomproof.errors import AdapterError
from loomproof.judgement.claims import claims_of
from loomproof.judgement.verdict import Demand, Judgement, judgement_of
from loomproof.loom.model import End
from loomproof.measuring.clearance import Clearance
from loomproof.measuring.events import Event
from loomproof.measuring.preparing import prepare
from loomproof.measuring.run import run_plan
from loomproof.planning.request import Request
from loomproof.planning.retest_plan import plan_retest, touched_nets
from loomproof.results.findings import Finding
from loomproof.results.measured import Measured


@dataclass(frozen=True, slots=True)
class Retested:
    """What a retest says of the ``reached`` cavities, those of ``nets`` of the loom's ``of_nets`` nets."""

    judgement: Judgement
    findings: tuple[Finding, ...]
    measured: Measured
    reached: tuple[End, ...]
    nets: int
    of_nets: int


def retest(
    request: Request, touched: Iterable[End], bench: Bench, clearance: Clearance
) -> Generator[Event, None, Retested]:
    """Prove again the nets of the touched cavities; ``request`` holds the answers of the run before.

    Raises `AdapterError` where no point goes to a cavity that the repair can have touched, and as
    `loomproof.jobs.prove.prove` does.
    """
    loom = request.loom
    ends = tuple(touched)
    reached = _reached(request, expect(loom), ends)
    ready = yield from prepare(request, bench, clearance)
    expectation = ready.expectation
    nets = touched_nets(expectation, ends)
    plan = plan_retest(ready.plan, expectation, nets)
    untouched = frozenset(range(len(expectation.nets))) - nets
    measured = yield from run_plan(plan, expectation, bench, clearance, untouched=untouched)
    bench.confirm()
    # What has no point was not asked for here: the rest of the loom rests on the proof before.
    measured = replace(measured, untested=())
    findings = explain(loom, measured, request.answers)
    meter_check = measured.meter_check or clearance.reference_selftest
    demand = Demand(plan.meter is not None, request.grade, request.waived, request.answers, meter_check)
    claims = claims_of(plan, measured, clearance.capabilities, expectation)
    said = judgement_of(loom, measured, findings, claims, demand)
    return Retested(said, findings, measured, reached, len(nets), len(expectation.nets))


def _reached(request: Request, expectation: Expectation, ends: tuple[End, ...]) -> tuple[End, ...]:
    """Return the cavities that a retest says something about, before anything is driven."""
    nets = touched_nets(expectation, ends)
    asked = {end for net in nets for end in expectation.nets[net].cavities}
    reached = tuple(end for end in request.loom.cavities if end in asked)
    for end in reached:
        if end not in request.adapter.point_of:
            raise AdapterError(f"no point goes to {end}, which the repair can have touched")
    return reached
