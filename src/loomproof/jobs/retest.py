"""A retest: what a repair can have touched, proved again and judged as a proof is; no certificate."""

from __future__ import annotations

from collections.abc import Generator, Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from loomproof.bench.interface import Bench
from loomproof.diagnosis import explain
from loomproof.electrics.expectation import Expectation, expect
from loomproof.errors import AdapterError, UsageError, suggestion
from loomproof.jobs.at_bench import BenchAt, journaled, reached
from loomproof.jobs.breaking_off import told_when_stopped
from loomproof.jobs.files import folder_for
from loomproof.jobs.gate import CAUTIONS, Assured, cleared
from loomproof.jobs.keep import Keeping, begun, ended
from loomproof.jobs.operator import Operator
from loomproof.judgement.claims import claims_of
from loomproof.judgement.conclude import judged
from loomproof.judgement.verdict import Judgement
from loomproof.loom.model import End, Loom
from loomproof.measuring.clearance import Clearance
from loomproof.measuring.events import Event, Finished
from loomproof.measuring.preparing import prepare
from loomproof.measuring.run import run_plan
from loomproof.planning.request import Request
from loomproof.planning.retest_plan import plan_retest, touched_ends, touched_nets
from loomproof.results.document import Document
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

    @property
    def other_reasons(self) -> tuple[str, ...]:
        """Why the verdict is what it is, besides the findings."""
        titles = {finding.title for finding in self.findings}
        return tuple(reason for reason in self.judgement.reasons if reason not in titles)


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
    measured = yield from run_plan(
        plan,
        expectation,
        bench,
        clearance,
        untouched=untouched,
        references=request.adapter.references,
    )
    bench.confirm()
    # What has no point was not asked for here: the rest of the loom rests on the proof before.
    measured = replace(measured, untested=())
    findings = explain(loom, measured, request.answers)
    claims = claims_of(plan, measured, clearance.capabilities, expectation)
    said = judged(request, plan, measured, findings, claims, clearance)
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


def retest_after(
    before: Document,
    request: Request,
    at: BenchAt,
    operator: Operator,
    where: Keeping,
    *,
    loom_path: Path | None = None,
    also: Iterable[End] = (),
    assured: Assured | None = None,
) -> Generator[Event, None, Retested]:
    """Prove again, on this bench, what the repairs of a run can have touched.

    ``request`` is asked for as a proof is; its answers and serial are those of the run. ``also`` are cavities
    that were worked at besides. Only the journal is kept. Raises `UsageError` where the run was proved
    against another description or there is nothing to retest, `SafetyError` where the bench is not cleared
    for this loom, and as `retest` does.
    """
    loom = request.loom
    if before.loom.digest != loom.digest:
        raise UsageError(
            f"the run {before.run} was proved against another description of {before.loom.name}",
            cure="Prove the whole loom against this one.",
        )
    ends = touched_ends(loom, *worked_at(before, loom, also))
    if not ends:
        raise UsageError(
            f"the run {before.run} found nothing to repair", cure="Name the cavities that were worked at."
        )
    yield CAUTIONS
    folder_for(where.out)
    name = f"{request.run}.retest"
    journal = where.out / f"{name}.journal.jsonl"
    header = {
        "retest": before.run,
        "started": request.started,
        "loom_digest": loom.digest,
        "adapter": request.adapter.name,
    }
    request = replace(request, run=name, answers=before.loom.answers, serial=before.loom.serial)
    with told_when_stopped(journal), reached(at, loom_path) as raw:
        clearance = yield from cleared(request, raw, operator, assured or Assured())
        begun(request, journal, where.store)
        with journaled(raw, journal, header) as bench:
            found = yield from retest(request, ends, bench, clearance)
    ended(request)
    yield Finished(name, found.judgement.verdict)
    return found


def worked_at(before: Document, loom: Loom, also: Iterable[End]) -> tuple[list[End], list[str]]:
    """Return the cavities and wires of a run's faults, and what was named besides. Raises `UsageError`."""
    named = list(also)
    strangers = [end for end in named if end not in loom.cavities]
    if strangers:
        raise UsageError(
            f"{strangers[0]} is said to have been worked at: the loom has no such cavity",
            cure=suggestion(str(strangers[0]), map(str, loom.cavities)),
        )
    faults = [finding for finding in before.findings if finding.severity.value == "fault"]
    cavities = [end for finding in faults for end in finding.cavities]
    parts = [loom.component_by_name[n] for f in faults for n in f.components if n in loom.component_by_name]
    cavities += [end for part in parts for end in part.ends]
    return [*cavities, *named], [wire for finding in faults for wire in finding.wires]
