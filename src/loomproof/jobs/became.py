"""What became of a run's findings, as far as a retest of them can say it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum

from loomproof.jobs.retest import Retested
from loomproof.reports.words import plural
from loomproof.results.document import Document
from loomproof.results.findings import Finding, Kind, Severity
from loomproof.results.measured import Decision


class Became(StrEnum):
    """What a retest says of a finding; the words stand behind "finding 2"."""

    GONE = "is gone"
    STILL = "is still there"
    OTHERWISE = "is not seen as it was"
    UNSEEN = "is not seen, and not everything could be decided"
    NO_OHMS = "is not seen, and no resistance was read that could show it"
    NOT_WATCHED = "was not looked for: a retest does not watch the loom while it is moved"


_BY_OHMS = (
    Kind.HIGH_RESISTANCE,
    Kind.LEAKAGE,
    Kind.WRONG_VALUE,
    Kind.MISSING_COMPONENT,
    Kind.UNEXPECTED_COMPONENT,
    Kind.REVERSED,
)
"""What a resistance may be needed to see."""


@dataclass(frozen=True, slots=True)
class Fate:
    """What became of finding ``number`` of the run before (from 1).

    ``asked`` says whether it was to be retested; ``instead`` is what is seen at the same wires, parts or
    cavities now. ``replaced``: all could be decided, and none of that is of its kind.
    """

    number: int
    finding: Finding
    became: Became
    asked: bool
    instead: tuple[Finding, ...] = ()
    replaced: bool = False


def fates(before: Document, again: Retested, numbers: Collection[int] = ()) -> Iterator[Fate]:
    """Yield what became of what was retested, then of what is still there beside it.

    ``numbers`` are the findings that were asked for, all faults where none is named.
    """
    known = {finding.identity for finding in before.findings}
    seen = {finding.identity for finding in again.findings}
    fresh = tuple(finding for finding in again.findings if finding.identity not in known)
    besides: list[Fate] = []
    for number, finding in enumerate(before.findings, 1):
        asked = number in numbers if numbers else finding.severity is Severity.FAULT
        instead = tuple(other for other in fresh if _places(finding) & _places(other))
        if finding.identity in seen:
            fate = Fate(number, finding, Became.STILL, asked)
        elif instead:
            another = all(other.kind is not finding.kind for other in instead)
            replaced = another and _unseen(finding, again) is Became.GONE
            fate = Fate(number, finding, Became.OTHERWISE, asked, instead, replaced)
        else:
            fate = Fate(number, finding, _unseen(finding, again), asked)
        if asked:
            yield fate
        elif fate.became is Became.STILL:
            besides.append(fate)
    yield from besides


def lines_of(
    before: Document, again: Retested, numbers: Collection[int] = (), sense: str = "sense"
) -> Iterator[str]:
    """Yield what a retest shows, line by line: what was asked, each finding's fate, what else is seen, why.

    ``sense`` is the word for one vector of this bench.
    """
    measured = again.measured
    yield (
        f"Retest after {before.run}: {again.nets} of {again.of_nets} nets, "
        f"{plural(measured.sense_vectors, sense)}, {plural(measured.resistance_readings, 'resistance')}."
    )
    told = tuple(fates(before, again, numbers))
    for fate in told:
        besides = "" if fate.asked else ", which was not asked for,"
        yield f"finding {fate.number}{besides} {fate.became}: {fate.finding.title}"
    still = {fate.finding.identity for fate in told if fate.became is Became.STILL}
    for finding in again.findings:
        if finding.identity not in still:
            yield f"{finding.severity}: {finding.title}"
    yield from again.other_reasons


_SHORT = {
    Became.GONE: "gone",
    Became.STILL: "still there",
    Became.OTHERWISE: "changed",
    Became.UNSEEN: "not decided",
    Became.NO_OHMS: "not decided",
    Became.NOT_WATCHED: "not looked for",
}


def in_short(told: Iterable[Fate]) -> str:
    """Return how many findings became what: ``3 gone, 1 not decided``; "" for none."""
    counts = Counter(_SHORT[fate.became] for fate in told)
    return ", ".join(f"{counts[word]} {word}" for word in dict.fromkeys(_SHORT.values()) if counts[word])


NO_CERTIFICATE = (
    "This is no certificate. Prove the whole loom for one: what a repair did elsewhere is not seen here."
)
"""What holds for every retest."""


def _unseen(finding: Finding, again: Retested) -> Became:
    """Say what it means that a finding is not seen any more."""
    said, by_ohms = again.judgement, finding.kind in _BY_OHMS
    if finding.kind is Kind.INTERMITTENT:
        return Became.NOT_WATCHED
    if by_ohms and not again.measured.resistance_readings:
        return Became.NO_OHMS
    open_claims = any(claim.decision is Decision.UNDECIDED for claim in said.claims)
    if again.other_reasons or not again.measured.complete or (by_ohms and open_claims):
        return Became.UNSEEN
    return Became.GONE


def _places(finding: Finding) -> frozenset[tuple[str, str]]:
    """Return the wires, parts and cavities that a finding names."""
    wires = {("wire", name) for name in finding.wires}
    parts = {("part", name) for name in finding.components}
    return frozenset(wires | parts | {("cavity", str(end)) for end in finding.cavities})
