"""The adapter's own lead is tried before a loom is opened: that takes a touch, and a cut loom stays cut."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from loomproof.diagnosis.causes import Cause
from loomproof.results.findings import Alternative, Finding, Kind


def adapter_first(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Return findings, each open that an adapter's lead may be with that lead as the first step of repair."""
    return tuple(replace(each, repair=(*_steps(each), *each.repair)) for each in findings)


def still_first(before: Finding, after: Finding) -> Finding:
    """Return a finding that answers made of another: the lead is its first step as long as it may be that."""
    led = [step for step in before.repair if step in map(_step, before.alternatives)]
    first = [step for step in led if step in map(_step, after.alternatives)]
    return replace(after, repair=(*first, *(step for step in after.repair if step not in led)))


def _steps(finding: Finding) -> list[str]:
    if finding.kind is not Kind.OPEN or finding.cause not in (Cause.BROKEN_WIRE, Cause.BAD_CONTACT):
        return []
    return [_step(one) for one in finding.alternatives if one.cause == Cause.ADAPTER_LEAD]


def _step(one: Alternative) -> str:
    """Return how the adapter's lead is told from the loom, as the first thing that is done."""
    return f"Before you open or cut anything: {one.tell_apart[:1].lower()}{one.tell_apart[1:]}"
