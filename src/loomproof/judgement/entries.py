"""Values of the rooms as they stand in the results document."""

from __future__ import annotations

import math
from collections.abc import Generator

from loomproof.loom.model import ConnectorKind, Loom
from loomproof.measuring.selfcheck import SelfCheck
from loomproof.results import document as doc
from loomproof.results.findings import Evidence, Finding


def finding_entry(finding: Finding, loom: Loom) -> doc.FindingEntry:
    """Return a finding as it stands in the document, wire colours beside the wires."""
    return doc.FindingEntry(
        kind=finding.kind,
        cause=finding.cause,
        severity=finding.severity,
        title=finding.title,
        cavities=tuple(map(str, finding.cavities)),
        wires=finding.wires,
        wire_colours=tuple(
            loom.wire_by_name[name].colour if name in loom.wire_by_name else "" for name in finding.wires
        ),
        components=finding.components,
        evidence=tuple(_evidence(evidence) for evidence in finding.evidence),
        places=finding.places,
        repair=finding.repair,
        cautions=finding.cautions,
        alternatives=tuple(
            doc.AlternativeEntry(
                text=other.text,
                cause=other.cause,
                cavities=tuple(map(str, other.cavities)),
                wires=other.wires,
                repair=other.repair,
                tell_apart=other.tell_apart,
                components=other.components,
            )
            for other in finding.alternatives
        ),
        cost=finding.cost,
        proved=finding.proved,
        key=finding.key,
    )


def wire_entries(loom: Loom) -> tuple[doc.WireEntry, ...]:
    """Return the wire list."""
    return tuple(
        doc.WireEntry(name=wire.name, ends=(str(wire.a), str(wire.b)), colour=wire.colour)
        for wire in loom.wires
    )


def connector_entries(loom: Loom) -> Generator[doc.ConnectorEntry, None, None]:
    """Yield connectors as they are drawn: cavities in rows, colours of the wires in each."""
    for connector in loom.connectors:
        if connector.kind is ConnectorKind.SPLICE:
            continue
        yield doc.ConnectorEntry(
            name=connector.name,
            kind=connector.kind,
            description=connector.description,
            rows=connector.rows,
            colours={
                end.cavity: " ".join(wire.colour or "?" for wire in loom.wires_at[end])
                for end in connector.ends
                if end in loom.wires_at
            },
        )


def _evidence(evidence: Evidence) -> doc.EvidenceEntry:
    def finite(ohm: float | None) -> float | None:
        return ohm if ohm is not None and math.isfinite(ohm) else None

    return doc.EvidenceEntry(
        text=evidence.text,
        measured_ohm=finite(evidence.measured_ohm),
        uncertainty_ohm=finite(evidence.uncertainty_ohm),
        expected_ohm=finite(evidence.expected_ohm),
        limit_ohm=finite(evidence.limit_ohm),
    )


def check_entries(check: SelfCheck) -> tuple[doc.CheckEntry, ...]:
    """Return the bench's self-checks as they stand in the document."""
    return tuple(doc.CheckEntry(name=c.name, passed=c.passed, text=c.text) for c in check.checks)
