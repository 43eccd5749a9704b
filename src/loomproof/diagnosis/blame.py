"""Parts whose readings fail because of the wiring: the fault that stands in the way names them too."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.found import Found
from loomproof.diagnosis.writing import Writer
from loomproof.loom.model import End
from loomproof.results.findings import Evidence, Finding
from loomproof.results.measured import Decision


def of_missing(findings: Sequence[Finding]) -> list[Finding]:
    """Return the findings without those of a contact inside a part that is told to be missing.

    A relay that is out takes its contact at rest along: what is read there is what lies beside it.
    """
    gone = {
        name for finding in findings if finding.cause == Cause.MISSING_PART for name in finding.components
    }
    within = [
        finding
        for finding in findings
        if finding.cause == Cause.RESISTIVE_CONTACT and not finding.wires and {*finding.components} & gone
    ]
    return [
        replace(
            finding,
            evidence=(
                *finding.evidence,
                *(e for f in within if {*f.components} & {*finding.components} for e in f.evidence),
            ),
        )
        if finding.cause == Cause.MISSING_PART
        else finding
        for finding in findings
        if finding not in within
    ]


def with_parts(found: Found, writer: Writer, findings: Sequence[Finding]) -> list[Finding]:
    """Return the findings with every failing part in one of them.

    A part that no finding names yet goes to the first finding that touches a net of its reading, or one that
    parts join to it; where none does, a finding of its own says that nothing known explains it.
    """
    measured = found.measured
    told = list(findings)
    failing = [
        (r.component, r.a, r.b) for r in measured.judged if r.component and r.decision is Decision.FAIL
    ]
    failing += [(d.component, d.anode, d.cathode) for d in measured.diodes if d.decision is Decision.FAIL]
    for name, a, b in failing:
        if any(name in finding.components for finding in told):
            continue
        nets = writer.net_of.get(a, frozenset()) | writer.net_of.get(b, frozenset()) | {a, b}
        at = next((i for i, finding in enumerate(told) if _touches(finding, nets, writer)), None)
        if at is None:
            at = next((i for i, finding in enumerate(told) if _behind(found, finding, (a, b))), None)
        if at is None:
            told.append(_alone(name, a, b, writer))
            continue
        shown = Evidence(f"{name} does not read as it should from {a} to {b}: this fault stands in between")
        told[at] = replace(
            told[at],
            components=(*told[at].components, name),
            evidence=(*told[at].evidence, shown),
        )
    return told


def _touches(finding: Finding, nets: frozenset[End], writer: Writer) -> bool:
    wires = (writer.loom.wire_by_name[name] for name in finding.wires)
    ends = {*finding.cavities, *(end for wire in wires for end in wire.ends if end.cavity)}
    return bool(ends & nets)


def _behind(found: Found, finding: Finding, ends: Sequence[End]) -> bool:
    """Whether parts lead from both ends of a reading to what a finding touches."""
    touched = {found.group_of[end] for end in finding.cavities if end in found.group_of}
    read = [found.group_of[end] for end in ends if end in found.group_of]
    return all(any(found.behind(one, other) for other in touched) for one in read)


def _alone(name: str, a: End, b: End, writer: Writer) -> Finding:
    return writer.make(
        Cause.UNEXPLAINED,
        (a, b),
        f"Reading of {name} from {a} to {b} fails, and nothing known explains it",
        [writer.names.place(a), writer.names.place(b)],
        [f"Meter {name} on its own; check the hook-up and the description."],
        components=(name,),
        evidence=[Evidence(f"{name}, {a} to {b}")],
        cost=2 * writer.weights.open_wire,
    )
