"""What the latest proof allows the sheet to say."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from loomproof.loom.model import End, Loom
from loomproof.results.document import Document, Verdict
from loomproof.results.measured import Decision

NOT_PROVED = "NOT PROVED: do not energise this loom."


_TO_DO = {
    Verdict.FAIL: "mend it and prove it again",
    Verdict.UNDECIDED: "do what it names to decide it, and prove it again",
    Verdict.INCOMPLETE: "prove the whole of it",
}
"""What stands between a verdict that is no pass and a loom that may be energised."""


@dataclass(frozen=True)
class ProvedResistance:
    """A resistance between two cavities as a proof read it, with its expanded uncertainty, Ω."""

    ohm: float
    uncertainty_ohm: float


@dataclass(frozen=True)
class ProofStatus:
    """Whether the loom is proved, what the banner says, and what was measured by pair of cavities.

    ``unproved`` are cavities that the proof did not test, waived ones among them. ``found`` are cavities of
    findings and of claims that do not hold or are not decided, with what was found there.
    ``temperature_c`` is the bench's, 20 °C where it measured none.
    """

    passed: bool
    text: str
    banner: str
    measured: Mapping[frozenset[End], ProvedResistance] = field(default_factory=dict)
    temperature_c: float = 20.0
    unproved: frozenset[End] = frozenset()
    found: Mapping[End, str] = field(default_factory=dict)


def standing_of(loom: Loom, proof: Document | None) -> ProofStatus:
    """Return what a proof says of this very description; one of another description counts for nothing."""
    if proof is None:
        return ProofStatus(False, "no proof is kept of this loom", f"{NOT_PROVED} No proof of it is kept.")
    name = f"run {proof.run} of {proof.ended}: {proof.verdict.value}"
    if proof.loom.digest != loom.digest:
        return ProofStatus(
            False,
            f"{name}, of another description",
            f"{NOT_PROVED} Its latest proof was of another description.",
        )
    measured = {
        frozenset(claim.cavities): ProvedResistance(claim.measured_ohm, claim.uncertainty_ohm or 0.0)
        for claim in proof.claims
        if claim.kind == "resistance" and claim.measured_ohm is not None and len(claim.cavities) == 2
    }
    heat = proof.bench.temperature_c
    celsius = 20.0 if heat is None else heat
    found = _found(proof)
    if proof.verdict is not Verdict.PASS:
        return ProofStatus(
            False,
            name,
            f"{NOT_PROVED} Its latest proof says {proof.verdict.value}; {_TO_DO[proof.verdict]}.",
            measured,
            celsius,
            found=found,
        )
    broken = next(iter(proof.against), None)
    if broken is not None:
        return ProofStatus(
            False,
            f"{name}, with a claim that does not hold",
            f"{NOT_PROVED} Its latest proof passes, and a claim in it does not hold: {broken.subject}.",
            measured,
            celsius,
            found=found,
        )
    if proof.bench.simulated:
        return ProofStatus(
            False,
            f"{name}, on a simulated bench",
            f"{NOT_PROVED} Its latest proof was on a simulated bench and says nothing of a real loom.",
            measured,
            celsius,
            found=found,
        )
    unproved = frozenset((*proof.coverage.untested, *proof.coverage.waived))
    graded = f", grade {proof.grade}: {proof.grade_text}" if proof.grade else ", no grade stated"
    return ProofStatus(True, name + graded, "", measured, celsius, unproved, found)


def _found(proof: Document) -> dict[End, str]:
    """Return by cavity what the proof found there that should not be."""
    told: dict[End, str] = {}
    for claim in proof.claims:
        if claim.decision is Decision.FAIL or claim in proof.against:
            stands = "is not decided" if claim.decision is Decision.UNDECIDED else "does not hold"
            told.update(dict.fromkeys(claim.cavities, f"{claim.subject} {stands}"))
    for finding in proof.findings:
        told.update(dict.fromkeys(finding.cavities, finding.title))
    return told
