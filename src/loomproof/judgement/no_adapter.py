"""What a person with two probes finds is not the adapter's doing: there is none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from loomproof.diagnosis.causes import at_the_adapter
from loomproof.planning.plan import Plan
from loomproof.results.findings import Finding


def without_adapter(findings: Sequence[Finding], plan: Plan) -> tuple[Finding, ...]:
    """Return findings, those of a proof by hand without the alternatives that blame an adapter."""
    if not plan.by_beep:
        return tuple(findings)
    return tuple(
        replace(
            finding,
            alternatives=tuple(each for each in finding.alternatives if not at_the_adapter(each.cause)),
        )
        for finding in findings
    )
