"""The one flow, from a description to the results document; every step is one room's function.

    description ─▶ expectation ─▶ plan ─▶ readings ─▶ measured loom ─▶ findings ─▶ document

`prove` is a generator of steps that returns an `Outcome`. The same journal gives the same document,
byte for byte: times come from the request and the journal, nothing from the wall clock or chance.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Protocol

import loomproof
from loomproof.bench.adapter import Adapter
from loomproof.bench.seam import Bench, Capabilities, Identity, Statistics, total_of
from loomproof.cautions import BEFORE_A_PROOF
from loomproof.diagnosis import explain
from loomproof.electrics.expectation import Expectation
from loomproof.errors import AdapterError, UnfitError, suggestion
from loomproof.judgement.claims import claims_of
from loomproof.judgement.entries import check_entries, connector_entries, finding_entry
from loomproof.judgement.not_tested import not_tested, watched_s
from loomproof.judgement.verdict import Demand, judgement_of
from loomproof.loom.model import ConnectorKind, End, Loom
from loomproof.measuring import probe_ends as probing
from loomproof.measuring.clearance import Clearance
from loomproof.measuring.insulation import measure_insulation
from loomproof.measuring.insulation_test import InsulationTest, claim_of, clean, run_insulation
from loomproof.measuring.merge_hookups import merged_measured, merged_plan
from loomproof.measuring.preparing import prepare
from loomproof.measuring.run import Step, run_plan
from loomproof.measuring.selfcheck import SelfCheck
from loomproof.planning.net_access import Scope
from loomproof.planning.plan import Plan
from loomproof.planning.reach import reach_of
from loomproof.results import document as doc
from loomproof.results.entered import METHOD, Entered, Meter
from loomproof.results.findings import Finding, Severity
from loomproof.results.grade import Grade
from loomproof.results.insulation import Insulation
from loomproof.results.measured import Decision, Measured


class TimedBench(Bench, Protocol):
    """A bench that knows how long the run has taken: a journaled one, or a journal being replayed."""

    @property
    def elapsed_s(self) -> float:
        """Seconds since the run began."""
        ...

    def touched(self, end: str | None) -> bool:
        """Whether a person now holds the probe on this end; ``None``: whether it is off the loom again."""
        ...


@dataclass(frozen=True)
class Request:
    """Everything that a proof is asked for with, besides the bench. ``started`` is RFC 3339, UTC."""

    loom: Loom
    adapter: Adapter
    run: str
    started: str
    answers: Mapping[str, str] = field(default_factory=dict)
    waived: tuple[End, ...] = ()
    person: str = ""
    place: str = ""
    inspection: tuple[str, ...] = ()
    repeats: int = 1
    watch_s: float = 0.0
    plan: Plan | None = None
    """A saved plan: the run must ask what it asks, whatever the limits are at today's temperature."""
    probed: tuple[End, ...] = ()
    """Ends without a point that a person touches with the probe, one at a time."""
    insulation: InsulationTest | None = None
    """An insulation test to be made at the end, where all else passes; the clearance holds its voltage."""
    serial: str = ""
    """The item's own serial, where it is not the description's: many looms are made by one design."""
    entered: Entered = field(default_factory=Entered)
    """What a person entered for the certificate: order, laboratory, meter."""
    grade: Grade | None = None
    """The grade that a pass must reach; ``None``: ``bench`` where ohms are measured, else ``connections``."""


@dataclass(frozen=True)
class Outcome:
    """A finished proof: the document, and the values that it was made from."""

    document: doc.Document
    measured: Measured
    findings: tuple[Finding, ...]
    plan: Plan


@dataclass(frozen=True)
class Part:
    """One hook-up, measured: who measured, by which plan, and what was found."""

    request: Request
    address: str
    clearance: Clearance
    temperature_c: float | None
    check: SelfCheck
    expectation: Expectation
    plan: Plan
    measured: Measured
    statistics: Statistics
    elapsed_s: float
    touched: tuple[End, ...] = ()
    insulation: Insulation | None = None

    @property
    def identity(self) -> Identity:
        """The bench that measured."""
        return self.clearance.identity

    @property
    def capabilities(self) -> Capabilities:
        """What it can do."""
        return self.clearance.capabilities


def prove(request: Request, bench: TimedBench, clearance: Clearance) -> Generator[Step, None, Outcome]:
    """Prove one loom on one bench, all of it plugged at once.

    Raises `SafetyError` without a clearance for this loom on this bench, `AdapterError` where adapter, loom
    and bench do not fit, `UnfitError` where the bench's own check fails, and the bench's errors. The caller's
    ``with bench`` releases every point.
    """
    part = yield from measure(request, bench, clearance)
    yield Step("explaining what was found")
    return conclude(request, (part,))


def measure(request: Request, bench: TimedBench, clearance: Clearance) -> Generator[Step, None, Part]:
    """Measure what the request's adapter reaches. Raises as `prove` does."""
    loom = request.loom
    _known(request)
    if request.probed and clearance.capabilities.sense_ohm is None:
        raise UnfitError("this bench cannot sense; loose ends can't be read with the probe")
    ready = yield from prepare(request, bench, clearance)
    plan, expectation, scope = ready.plan, ready.expectation, ready.plan.scope
    measured = yield from run_plan(plan, expectation, bench, clearance, watch_s=request.watch_s)
    touches = yield from _touches(request.probed, bench, clearance, scope)
    measured, touched = probing.with_touches(measured, expectation, scope, touches)
    insulation: Insulation | None = None
    if request.insulation is not None and clean(measured):
        yield Step(f"testing insulation at {request.insulation.volts:g} V")
        insulation = run_insulation(
            loom, scope, request.insulation, _under_voltage(bench, clearance, request.insulation)
        )
    bench.confirm()
    statistics = bench.statistics()
    return Part(
        request,
        bench.address,
        clearance,
        ready.temperature_c,
        ready.check,
        expectation,
        plan,
        measured,
        statistics,
        bench.elapsed_s,
        touched,
        insulation,
    )


def _touches(
    ends: Sequence[End], bench: TimedBench, clearance: Clearance, scope: Scope
) -> Generator[Step, None, tuple[probing.Touch, ...]]:
    """Have each end touched in turn; one that nobody holds, or not steadily, is left out.

    An end that has a point is touched first, and last where one was silent: the probe must be seen there.
    """
    touches: list[probing.Touch] = []
    if not ends or not _probe_seen(bench, clearance, scope):
        return ()
    for done, end in enumerate(ends):
        yield Step("reading loose ends with the probe", done, len(ends))
        if bench.touched(str(end)):
            low = probing.read_touch(bench, clearance, scope)
            if low is not None:
                touches.append(probing.Touch(end, low))
    if any(not touch.low for touch in touches) and not _probe_seen(bench, clearance, scope):
        touches = [touch for touch in touches if touch.low]
    if not (bench.touched(None) and bench.sense([0])[0] & scope.points == 0):
        raise UnfitError(
            "points still read low after the probe was taken off",
            cure="Take it off the loom, and prove again.",
        )
    return tuple(touches)


def _probe_seen(bench: TimedBench, clearance: Clearance, scope: Scope) -> bool:
    """Have an end touched that has a point; whether anybody does. Raises `UnfitError` if it is not seen."""
    point = min(scope.end_of)
    if not bench.touched(str(scope.end_of[point])):
        return False
    low = probing.read_touch(bench, clearance, scope)
    if low is not None and low >> (point - 1) & 1:
        return True
    raise UnfitError(
        f"the probe was held on {scope.end_of[point]}, and its point {point} did not read low",
        cure="Is the probe joined to the scanner's 0 V through its resistor, and was it on bare metal? Prove "
        "again.",
    )


def _under_voltage(bench: Bench, clearance: Clearance, asked: InsulationTest) -> Callable[[int, int], float]:
    """Return the one measurement at a higher voltage: each is armed, and the loom discharged after it."""
    return lambda a, b: measure_insulation(bench, clearance, a, b, asked.volts, asked.dwell_ms)


def same_bench(begun: Part, identity: Identity, capabilities: Capabilities) -> None:
    """Refuse to go on with a run on another bench than it was begun on. Raises `UnfitError`."""
    if (begun.identity, begun.capabilities) == (identity, capabilities):
        return

    def named(who: Identity, able: Capabilities) -> str:
        return f"{who.maker} {who.model} {who.serial}, firmware {who.firmware}, {able.points} points"

    raise UnfitError(
        f"the run was begun on {named(begun.identity, begun.capabilities)}; this is "
        f"{named(identity, capabilities)}"
        + ("" if begun.identity != identity else ", and it tells other abilities"),
        cure="Go on with the bench that it was begun on, or prove the whole loom on this one.",
    )


def conclude(request: Request, parts: Sequence[Part]) -> Outcome:
    """Return the outcome of a loom's hook-ups (one, or several that were proved to be enough).

    ``request`` stands for all of them: its adapter names and covers the whole. Raises `UnfitError` where
    they were not all measured by one bench: what is claimed rests on its thresholds and its accuracy.
    """
    loom = request.loom
    last = parts[-1]
    for part in parts:
        same_bench(parts[0], part.identity, part.capabilities)
    capabilities, identity, expectation, check = (
        last.capabilities,
        last.identity,
        last.expectation,
        last.check,
    )
    temperature_c = last.temperature_c
    tested = {end for part in parts for end in (*part.request.adapter.point_of, *part.touched)}
    plan = merged_plan(expectation, [part.plan for part in parts], capabilities.clear_ohm)
    measured = merged_measured(expectation, [part.measured for part in parts])
    insulation = last.insulation
    if insulation is not None:
        measured = replace(measured, leaks=(*measured.leaks, *insulation.leaks))
    findings = explain(loom, measured, request.answers)
    left_in = {name for finding in findings if finding.cause == "left_in" for name in finding.components}
    line = total_of(part.statistics for part in parts)
    ended = max(
        datetime.fromisoformat(part.request.started) + timedelta(seconds=round(part.elapsed_s, 3))
        for part in parts
    )
    claims = claims_of(plan, measured, capabilities)
    claims = (*claims, *probing.claims_of(last.touched, measured, capabilities.clear_ohm))
    if insulation is not None:
        claims = (*claims, claim_of(insulation))
    four = capabilities.four_wire_accuracy if capabilities.four_wire and plan.meter else None
    meter_check = ""
    if plan.meter is not None:
        meter_check = measured.meter_check or last.clearance.reference_selftest
    demand = Demand(
        measures_ohms=plan.meter is not None,
        grade=request.grade,
        waived=request.waived,
        answers=request.answers,
        meter_check=meter_check,
        advice=reach_of(plan).advice,
    )
    said = judgement_of(loom, measured, findings, claims, demand, insulation)
    document = doc.Document(
        verdict=said.verdict,
        grade=said.grade,
        grade_demanded=said.demanded,
        grade_text=said.grade_text,
        risk=said.risk,
        meter_check=meter_check,
        run=request.run,
        started=request.started,
        ended=ended.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z"),
        person=request.person,
        place=request.place,
        inspection=request.inspection,
        entered=_entered(request, last),
        method=METHOD,
        loom=doc.LoomEntry(
            name=loom.name,
            serial=request.serial or loom.serial,
            part_number=loom.part_number,
            revision=loom.revision,
            description=loom.description,
            digest=loom.digest,
            answers={
                choice.name: request.answers.get(choice.name, choice.default) for choice in loom.choices
            },
        ),
        bench=doc.BenchEntry(
            address=last.address,
            maker=identity.maker,
            model=identity.model,
            serial=identity.serial,
            firmware=identity.firmware,
            points=capabilities.points,
            sense_ohm=capabilities.sense_ohm,
            clear_ohm=capabilities.clear_ohm,
            accuracy_ohm=capabilities.accuracy.ohm if capabilities.accuracy else None,
            accuracy_ratio=capabilities.accuracy.ratio if capabilities.accuracy else None,
            four_wire=capabilities.four_wire,
            four_wire_accuracy_ohm=four.ohm if four else None,
            four_wire_accuracy_ratio=four.ratio if four else None,
            test_current_a=capabilities.test_current_a if plan.meter else None,
            test_voltage_v=capabilities.test_voltage_v if plan.meter else None,
            settle_us=check.settle_us,
            temperature_c=temperature_c,
            temperature_u_k=plan.meter.temperature_u_k if plan.meter else None,
            simulated=last.clearance.simulated,
            last_selftest=last.clearance.last_selftest,
            selftest_failures=last.clearance.selftest_failures,
            checks=tuple(entry for part in parts for entry in check_entries(part.check)),
        ),
        adapter=doc.AdapterEntry(
            name=request.adapter.name,
            digest=request.adapter.digest,
            leads_zeroed=request.adapter.zeroed,
            leads_ohm=request.adapter.leads_ohm,
        ),
        findings=tuple(finding_entry(finding, loom) for finding in findings),
        coverage=doc.Coverage(
            tested=tuple(str(end) for end in loom.cavities if end in tested),
            untested=tuple(str(end) for end in measured.untested if end not in request.waived),
            waived=tuple(str(end) for end in request.waived),
        ),
        counts=doc.Counts(
            connectors=sum(c.kind is not ConnectorKind.SPLICE for c in loom.connectors),
            cavities=len(loom.cavities),
            wires=len(loom.wires),
            nets=len(expectation.nets),
            components=len(loom.components),
            sense_vectors=measured.sense_vectors,
            resistance_readings=measured.resistance_readings,
            round_trips=line.round_trips,
            repeated=line.repeated,
            dropped=line.dropped,
            faults=sum(finding.severity is Severity.FAULT for finding in findings),
            notes=sum(finding.severity is Severity.NOTE for finding in findings),
            undecided=sum(claim.decision is Decision.UNDECIDED for claim in said.claims),
            watched_s=watched_s(request, plan, last),
        ),
        claims=said.claims,
        connectors=tuple(connector_entries(loom)),
        reasons=said.reasons,
        cautions=BEFORE_A_PROOF,
        not_tested=(*said.not_claimed, *not_tested(request, plan, measured, last, left_in)),
        software=f"loomproof {loomproof.__version__}",
    )
    return Outcome(document, measured, findings, plan)


def _entered(request: Request, part: Part) -> Entered:
    """Return what was entered; the meter only where a real bench has read ohms."""
    if part.clearance.simulated or part.plan.meter is None:
        return request.entered.model_copy(update={"meter": Meter()})
    return request.entered


def _known(request: Request) -> None:
    """Refuse waived and probed cavities that are not there, or that have a point."""
    for end in (*request.waived, *request.probed):
        if end not in set(request.loom.cavities):
            raise AdapterError(
                f"{end} is waived or to be probed, and the loom has no such cavity",
                cure=suggestion(str(end), map(str, request.loom.cavities)),
            )
        if end in request.adapter.point_of:
            raise AdapterError(
                f"{end} is waived or to be probed, but point {request.adapter.point_of[end]} goes to it"
            )
