"""The verdict on a loom, its grade, reasons and claims, all from one list: they can't contradict each other.

Never a pass on readings that nothing explains, nor against a claim that fails.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from loomproof.judgement.grading import demanded_of, grade_of, risk_of
from loomproof.judgement.unused import set_aside
from loomproof.loom.model import End, Loom
from loomproof.loom.text import first_of
from loomproof.results import document as doc
from loomproof.results.figures import ohms
from loomproof.results.findings import Finding, Severity
from loomproof.results.grade import Grade
from loomproof.results.insulation import Insulation
from loomproof.results.measured import Decision, Measured

NOT_CHECKED = "meter not checked"
"""Said with the grade where nothing of known resistance was read: a meter that reads nought would pass."""

TRACED = "equal to what was traced, which is not shown to be right"
"""Said with the grade where the description is what a bench traced, on this loom or another: a crossed pair
that was there then is described as it was found, and passes."""


@dataclass(frozen=True)
class Judgement:
    """What a proof says: the verdict, its reasons, the claims that stand, and how far it goes.

    ``grade``, ``grade_text`` and ``risk`` are as in the document; ``not_claimed`` says in words what failed
    within unused circuits.
    """

    verdict: doc.Verdict
    reasons: tuple[str, ...]
    claims: tuple[doc.ClaimEntry, ...]
    demanded: Grade
    grade: Grade | None = None
    grade_text: str = ""
    risk: float | None = None
    not_claimed: tuple[str, ...] = ()


@dataclass(frozen=True)
class Demand:
    """What a loom has to reach, and what was left out of it on purpose."""

    measures_ohms: bool
    grade: Grade | None = None
    waived: tuple[End, ...] = ()
    answers: Mapping[str, str] = field(default_factory=dict)
    meter_check: str = ""
    """On what it rests that the meter reads ohms at all; "": on nothing, which the headline says."""
    advice: tuple[str, ...] = ()
    """What would let this bench reach more, in words."""


def judgement_of(
    loom: Loom,
    measured: Measured,
    findings: tuple[Finding, ...],
    claims: Sequence[doc.ClaimEntry],
    demand: Demand,
    insulation: Insulation | None = None,
) -> Judgement:
    """Return verdict, grade, reasons and claims of a proof, from its claims and findings."""
    standing = set_aside(loom, demand.answers, measured, claims)
    demanded = demanded_of(demand.grade, measures_ohms=demand.measures_ohms)
    plain = Judgement(doc.Verdict.PASS, (), standing.claims, demanded, not_claimed=standing.texts)
    verdict, reasons = verdict_of(loom, measured, findings, demand.waived, insulation)
    failing = [claim for claim in standing.claims if claim.decision is Decision.FAIL]
    if failing and verdict is not doc.Verdict.FAIL:
        verdict, reasons = doc.Verdict.FAIL, tuple(f"{c.subject}: {c.statement}" for c in failing)
    if verdict is not doc.Verdict.PASS:
        return replace(plain, verdict=verdict, reasons=reasons)
    outside = [c for c in standing.claims if c.decision is Decision.UNDECIDED and c.beyond]
    other = [
        claim
        for claim in standing.claims
        if claim.decision is Decision.UNDECIDED and claim.kind not in ("resistance", "component")
    ]
    if outside or other:
        return replace(
            plain,
            verdict=doc.Verdict.UNDECIDED,
            reasons=(
                *(_close(claim) for claim in outside),
                *(f"{c.subject}: {c.statement}" for c in other),
                *demand.advice,
            ),
        )
    grade, text = grade_of(
        standing.claims,
        measured.untold_parts,
        measures_ohms=demand.measures_ohms,
        unswept=len(measured.unswept),
    )
    if demand.measures_ohms and not demand.meter_check:
        text += f"; {NOT_CHECKED}"
    if loom.traced_in:
        text += f"; {TRACED}"
    graded = replace(plain, grade=grade, grade_text=text, risk=risk_of(standing.claims))
    if grade.meets(demanded):
        return graded
    return replace(
        graded,
        verdict=doc.Verdict.UNDECIDED,
        reasons=(
            f"no fault was found, and the proof reaches grade {grade}, where {demanded} is demanded: {text}",
            *demand.advice,
        ),
    )


def _close(claim: doc.ClaimEntry) -> str:
    """Say of a reading outside its limits that chance may have put it there."""
    limit = claim.limit_ohm
    if claim.measured_ohm is not None and limit is not None and claim.measured_ohm > limit:
        side = f"above its limit {ohms(limit)}"
    else:
        side = f"below its limit {ohms(claim.lower_limit_ohm or 0.0)}"
    return (
        f"{claim.subject}: {ohms(claim.measured_ohm or 0.0)} is {side}, by less than the uncertainty "
        f"{ohms(claim.uncertainty_ohm or 0.0)}"
    )


def verdict_of(
    loom: Loom,
    measured: Measured,
    findings: tuple[Finding, ...],
    waived: tuple[End, ...],
    insulation: Insulation | None = None,
) -> tuple[doc.Verdict, tuple[str, ...]]:
    """Return the verdict that findings and coverage give, whatever the grade, and the reasons for it."""
    faults = [finding.title for finding in findings if finding.severity is Severity.FAULT]
    odd = [f"{text}, and no finding explains it" for text in unexplained(loom, measured, findings)]
    if faults or odd:
        # Never a pass on readings that nothing explains.
        return doc.Verdict.FAIL, (*faults, *odd)
    blank = [str(end) for end in measured.untested if end not in waived]
    if blank:
        return doc.Verdict.INCOMPLETE, (
            f"no point goes to {first_of(blank, 8)}; waive them by name or test them",
        )
    if measured.unmet:
        a, b = measured.unmet[0]
        more = len(measured.unmet) - 1
        return doc.Verdict.INCOMPLETE, (
            f"the nets of {a} and {b}"
            + (f", and {more} more pairs," if more else "")
            + " were never on the bench together: whether they touch is not known",
        )
    if not measured.complete and not measured.judged:
        return doc.Verdict.INCOMPLETE, ("this bench can neither sense nor measure what was asked",)
    if not measured.complete and len(measured.expected) > 1:
        return doc.Verdict.INCOMPLETE, (
            "this bench cannot sense, and its meter does not reach far enough to tell conductors apart: a "
            "short would not show",
        )
    pass_ohm = measured.isolation_pass_ohm or loom.settings.isolation_ohm
    sum_ohm = measured.isolation_ohm
    if sum_ohm is not None and sum_ohm <= pass_ohm and not (measured.leaks or measured.one_way):
        return doc.Verdict.UNDECIDED, (
            f"isolation reads {ohms(sum_ohm)} over all conductors and must read above {ohms(pass_ohm)}, and "
            "no pair alone is to blame: dry and clean the loom, and prove again",
        )
    if insulation is not None and insulation.decision is Decision.UNDECIDED:
        return doc.Verdict.UNDECIDED, (
            f"at {insulation.volts:g} V all conductors in parallel read {ohms(insulation.lowest_ohm)}, too "
            f"near {ohms(insulation.limit_ohm)} to judge: dry and clean the loom, and prove again",
        )
    return doc.Verdict.PASS, ()


def unexplained(loom: Loom, measured: Measured, findings: tuple[Finding, ...]) -> Iterator[str]:
    """Yield what was measured other than described and that no finding, fault or note, speaks of."""
    spoken = {end for finding in findings for end in finding.cavities}
    spoken |= {
        end
        for finding in findings
        for name in finding.wires
        if name in loom.wire_by_name
        for end in loom.wire_by_name[name].ends
    }
    parts = {name for finding in findings for name in finding.components}
    net_of = {end: net for net in measured.expected for end in net}

    def silent(*ends: End) -> bool:
        return not any(end in spoken or net_of.get(end, frozenset()) & spoken for end in ends)

    faults = {end for f in findings if f.severity is Severity.FAULT for end in f.cavities}
    groups = set(measured.groups)
    # What parts join, sense alone finds as one: a fault of one such net changes what the others are found in.
    told = {end for group in groups if group & faults for end in group}
    for net in measured.expected if measured.complete else ():
        if net not in groups and silent(*net) and told.isdisjoint(net):
            yield f"{min(net)}: its net is not as described"
    for reading in measured.judged:
        if reading.decision is Decision.FAIL and reading.component not in parts | {""}:
            yield f"{reading.component}: its reading is outside its limits"
        elif reading.decision is Decision.FAIL and not reading.component and silent(reading.a, reading.b):
            yield f"{reading.a} to {reading.b} reads above its limit"
    for diode in measured.diodes:
        if diode.decision is Decision.FAIL and diode.component not in parts:
            yield f"{diode.component}: its readings are not those of a sound diode"
    for sensed in measured.sensed_parts:
        if not sensed.conducts and sensed.component not in parts:
            yield f"{sensed.component}: nothing conducts where it belongs"
    for path in measured.leaks:
        if silent(path.a) and silent(path.b):
            yield f"{path.a} and {path.b} are joined by {ohms(path.ohm)}"
    for way in measured.one_way:
        if silent(way.source) and silent(way.sink):
            yield f"{way.source} conducts to {way.sink} one way only"
    for end in measured.unstable:
        if silent(end):
            yield f"{end}: its reading changed"
