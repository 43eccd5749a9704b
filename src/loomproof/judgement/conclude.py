"""From what was measured to the results document: one function for every way of proving a loom."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

from loomproof.bench.seam import Capabilities, Identity, total_of
from loomproof.cautions import BEFORE_A_PROOF
from loomproof.diagnosis import explain
from loomproof.diagnosis.adapter_first import adapter_first
from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.taught import taught
from loomproof.electrics.expectation import Expectation
from loomproof.errors import UnfitError
from loomproof.judgement.claims import claims_of
from loomproof.judgement.covered import Covered
from loomproof.judgement.entries import check_entries, connector_entries, wire_entries
from loomproof.judgement.no_adapter import without_adapter
from loomproof.judgement.not_tested import not_tested, unseen, watched_s
from loomproof.judgement.one_place import shared_places
from loomproof.judgement.placed import farads_of, placed
from loomproof.judgement.verdict import Demand, Judgement, judgement_of
from loomproof.loom.model import ConnectorKind
from loomproof.measuring import probe_ends as probing
from loomproof.measuring.clearance import Clearance
from loomproof.measuring.hookup_result import HookUpResult
from loomproof.measuring.insulation_test import claim_of
from loomproof.measuring.merge_hookups import merged_measured, merged_plan
from loomproof.planning.plan import Plan
from loomproof.planning.reach import reach_of
from loomproof.planning.request import Request
from loomproof.results import document as doc
from loomproof.results.entered import METHOD, Entered, Meter, ReferenceStandard
from loomproof.results.findings import Finding, Severity
from loomproof.results.insulation import Insulation
from loomproof.results.measured import Decision, Measured
from loomproof.results.places import KnownFarads
from loomproof.results.wiggled import Wiggled
from loomproof.version import VERSION


@dataclass(frozen=True)
class Outcome:
    """A finished proof: the document, and the values that it was made from."""

    document: doc.Document
    measured: Measured
    findings: tuple[Finding, ...]
    plan: Plan


def same_bench(begun: HookUpResult, identity: Identity, capabilities: Capabilities) -> None:
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


def found_in(
    request: Request, expectation: Expectation, plan: Plan, measured: Measured, known: KnownFarads | None
) -> tuple[Finding, ...]:
    """Return what explains a measured loom, without what is the adapter's, with the places that were read.

    They are told in the order that confirmed causes had taught when the request was made.

    ``known`` is what this very loom's nets had when it passed.
    """
    findings = without_adapter(explain(request.loom, measured, request.answers), plan)
    within_m = request.place_within_m
    found = placed(expectation, measured, findings, within_m, locate=request.locate, known=known)
    return adapter_first(taught(request.loom, found, request.learned))


def conclude(request: Request, parts: Sequence[HookUpResult]) -> Outcome:
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
    tested -= set(unseen(plan, last))
    measured = merged_measured(expectation, [part.measured for part in parts])
    insulation = last.insulation
    if insulation is not None:
        measured = replace(measured, leaks=(*measured.leaks, *insulation.leaks))
    findings = found_in(request, expectation, plan, measured, request.known_farads)
    left_in = {name for finding in findings if finding.cause == Cause.LEFT_IN for name in finding.components}
    line = total_of(part.statistics for part in parts)
    ended = max(
        datetime.fromisoformat(part.request.started) + timedelta(seconds=round(part.elapsed_s, 3))
        for part in parts
    )
    claims = claims_of(plan, measured, capabilities, expectation, with_bounds=request.with_bounds)
    claims = (*claims, *probing.claims_of(last.touched, measured, capabilities.clear_ohm, expectation))
    if insulation is not None:
        claims = (*claims, claim_of(insulation, Covered(expectation, plan).all_apart))
    farads = capabilities.farad_accuracy if measured.capacitance_readings else None
    four = capabilities.four_wire_accuracy if capabilities.four_wire and plan.meter else None
    # Of a hand meter that typed no figure, nothing rests on its accuracy.
    accuracy = capabilities.accuracy if measured.resistance_readings or not plan.by_beep else None
    meter_check = meter_check_of(plan, measured, last.clearance)
    said = judged(request, plan, measured, findings, claims, last.clearance, insulation)
    colours = {wire.name: wire.colour for wire in loom.wires}
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
            points=plan.scope.points.bit_count() if plan.by_beep else capabilities.points,
            sense_ohm=_one_point_ohm(capabilities),
            clear_ohm=capabilities.clear_ohm,
            accuracy_ohm=accuracy.ohm if accuracy else None,
            accuracy_ratio=accuracy.ratio if accuracy else None,
            four_wire=capabilities.four_wire,
            four_wire_accuracy_ohm=four.ohm if four else None,
            four_wire_accuracy_ratio=four.ratio if four else None,
            accuracy_farad=farads.farad if farads else None,
            accuracy_farad_ratio=farads.ratio if farads else None,
            test_current_a=capabilities.test_current_a if plan.meter else None,
            test_voltage_v=capabilities.test_voltage_v if plan.meter else None,
            settle_us=check.settle_us,
            temperature_c=temperature_c,
            temperature_u_k=plan.meter.temperature_u_k if plan.meter else None,
            simulated=last.clearance.simulated,
            last_selftest=last.clearance.last_selftest,
            selftest_failures=last.clearance.selftest_failures,
            reproducibility_ohm=plan.meter.reproducibility_ohm or None if plan.meter else None,
            reproducibility_study=last.clearance.reproducibility_study if plan.meter else "",
            checks=tuple(entry for part in parts for entry in check_entries(part.check)),
        ),
        adapter=doc.AdapterEntry(
            name=request.adapter.name,
            digest=request.adapter.digest,
            leads_zeroed=request.adapter.zeroed,
            leads_ohm=request.adapter.leads_ohm,
            leads_farad=request.adapter.leads_farad if measured.capacitance_readings else None,
            leads_open_zeroed=request.adapter.open_zeroed if measured.capacitance_readings else "",
        ),
        findings=tuple(finding.stated(colours) for finding in findings),
        shared_places=shared_places(loom, findings),
        learned=request.learned,
        capacitance=farads_of(expectation, measured) if said.verdict is doc.Verdict.PASS else (),
        coverage=doc.Coverage(
            tested=tuple(end for end in loom.cavities if end in tested),
            untested=tuple(end for end in measured.untested if end not in request.waived),
            waived=request.waived,
        ),
        counts=doc.Counts(
            connectors=sum(c.kind is not ConnectorKind.SPLICE for c in loom.connectors),
            cavities=len(loom.cavities),
            wires=len(loom.wires),
            nets=len(expectation.nets),
            components=len(loom.components),
            sense_vectors=measured.sense_vectors,
            resistance_readings=measured.resistance_readings,
            capacitance_readings=measured.capacitance_readings,
            round_trips=line.round_trips,
            repeated=line.repeated,
            dropped=line.dropped,
            faults=sum(finding.severity is Severity.FAULT for finding in findings),
            notes=sum(finding.severity is Severity.NOTE for finding in findings),
            undecided=sum(claim.decision is Decision.UNDECIDED for claim in said.claims),
            watched_s=watched_s(request, plan, last),
        ),
        repeats=_repeats(parts),
        watch=_watch_entry(measured.watch),
        claims=said.claims,
        wires=wire_entries(loom),
        connectors=tuple(connector_entries(loom)),
        reasons=said.reasons,
        cautions=BEFORE_A_PROOF,
        not_tested=(*said.not_claimed, *not_tested(request, plan, measured, last, left_in)),
        software=f"loomproof {VERSION}",
    )
    return Outcome(document, measured, findings, plan)


def _repeats(parts: Sequence[HookUpResult]) -> int:
    """Return how often each joint and part was read; 1 as well where hook-ups read them unlike often."""
    found = {part.plan.meter.repeats for part in parts if part.plan.meter is not None}
    return found.pop() if len(found) == 1 else 1


def _watch_entry(watch: Wiggled | None) -> doc.WatchEntry | None:
    if watch is None:
        return None
    nets = (
        doc.WatchedNet(cavities=n.cavities, breaks_s=n.breaks_s, touches_s=n.touches_s) for n in watch.nets
    )
    return doc.WatchEntry(
        asked_s=watch.asked_s,
        shortest_us=watch.shortest_us,
        lost=watch.lost,
        unwatched_s=watch.unwatched_s,
        nets=tuple(nets),
    )


def meter_check_of(plan: Plan, measured: Measured, clearance: Clearance) -> str:
    """Return on what it rests that the meter reads ohms at all; "" where it was not asked, or on nothing.

    A self-test with resistors vouches for no less than the resistors and the meter's limits of error there.
    """
    if plan.meter is None or measured.meter_check:
        return measured.meter_check
    least_ohm = min((wire.limit_ohm for wire in measured.judged if not wire.component), default=math.inf)
    return clearance.reference_selftest if clearance.reference_u_ohm < least_ohm else ""


def judged(
    request: Request,
    plan: Plan,
    measured: Measured,
    findings: tuple[Finding, ...],
    claims: Sequence[doc.ClaimEntry],
    clearance: Clearance,
    insulation: Insulation | None = None,
) -> Judgement:
    """Return what may be said of what was measured: one function for a proof, a retest and a replay."""
    demand = Demand(
        measures_ohms=plan.reads_wires,
        grade=request.grade,
        waived=request.waived,
        answers=request.answers,
        meter_check=meter_check_of(plan, measured, clearance),
        advice=tuple(each.text for each in reach_of(plan).advice),
    )
    return judgement_of(request.loom, measured, findings, claims, demand, insulation)


def _entered(request: Request, part: HookUpResult) -> Entered:
    """Return what was entered; meter and reference only where a real bench has read ohms."""
    if part.clearance.simulated or part.plan.meter is None:
        return request.entered.model_copy(update={"meter": Meter(), "reference": ReferenceStandard()})
    return request.entered


def _one_point_ohm(able: Capabilities) -> float | None:
    """Return below what path one point to one other surely reads low, its driver's own ohms taken off, Ω."""
    return None if able.sense_ohm is None else able.surely_apart_ohm(1, 1)
