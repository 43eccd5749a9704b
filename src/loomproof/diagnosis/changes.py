"""What a repair changed: the findings of two proofs of one loom held against each other."""

from __future__ import annotations

from dataclasses import dataclass

from loomproof.errors import Do, Problem, Todo
from loomproof.results.document import Document, LoomEntry
from loomproof.results.findings import Finding


@dataclass(frozen=True, slots=True)
class Moved:
    """A resistance that was read both times, and changed by more than both uncertainties together (Ω)."""

    subject: str
    before_ohm: float | None
    after_ohm: float | None


@dataclass(frozen=True, slots=True)
class Changes:
    """Findings that are gone, that stand, and that are new; and the resistances that moved.

    ``doubt`` says that the proofs are of two looms, or of one whose description changed between them.
    """

    gone: tuple[Finding, ...]
    standing: tuple[Finding, ...]
    new: tuple[Finding, ...]
    moved: tuple[Moved, ...]
    doubt: Problem | None = None


def changes(before: Document, after: Document) -> Changes:
    """Return what changed from one proof to a later one.

    Findings are the same where their keys are; their wording may differ.
    """
    then = {finding.identity: finding for finding in before.findings}
    now = {finding.identity: finding for finding in after.findings}
    return Changes(
        gone=tuple(finding for key, finding in then.items() if key not in now),
        standing=tuple(finding for key, finding in now.items() if key in then),
        new=tuple(finding for key, finding in now.items() if key not in then),
        moved=tuple(_moved(before, after)),
        doubt=_doubt(before.loom, after.loom),
    )


def _doubt(before: LoomEntry, after: LoomEntry) -> Problem | None:
    names = [" ".join(filter(None, (loom.name, loom.serial))) for loom in (before, after)]
    if (before.name, before.serial) != (after.name, after.serial):
        return Problem(
            f"These are proofs of two looms, {names[0]} and {names[1]}: "
            "what is gone or new below is no repair.",
            severity="warning",
            do=Do(Todo.RUNS_OF_LOOM),
        )
    if before.digest != after.digest:
        return Problem(
            f"The description of {names[0]} changed between the two proofs: a finding can be gone because "
            "nothing looks for it any more.",
            severity="warning",
        )
    return None


def _moved(before: Document, after: Document) -> list[Moved]:
    then = {claim.subject: claim for claim in before.claims if claim.kind in ("resistance", "component")}
    found = []
    for claim in after.claims:
        old = then.get(claim.subject)
        if old is None or claim.kind != old.kind:
            continue
        if old.open != claim.open:
            found.append(Moved(claim.subject, old.measured_ohm, claim.measured_ohm))
        elif old.measured_ohm is not None and claim.measured_ohm is not None:
            spread = (old.uncertainty_ohm or 0.0) + (claim.uncertainty_ohm or 0.0)
            if abs(old.measured_ohm - claim.measured_ohm) > spread:
                found.append(Moved(claim.subject, old.measured_ohm, claim.measured_ohm))
    return found
