"""Taking the answer to a question: what one more reading or look leaves of a finding's explanations."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from loomproof.diagnosis.causes import CAUSES
from loomproof.errors import UsageError
from loomproof.results.findings import Evidence, Finding

_SOUND = ("sound", "good", "right")
_BAD = ("bad", "faulty", "wrong")


@dataclass(frozen=True, slots=True)
class Observation:
    """What was seen of one thing: a wire, a cavity (``ECU:12``), a connector or a part; ``sound`` or not."""

    subject: str
    sound: bool

    def __str__(self) -> str:
        return f"{self.subject} was seen to be {'sound' if self.sound else 'bad'}"


class Explains(Protocol):
    """What an explanation accuses: a finding or an alternative, as a value or as it stands in a document."""

    @property
    def cavities(self) -> Sequence[object]:
        """Cavities, as ends or texts."""
        ...

    @property
    def wires(self) -> Sequence[str]:
        """Wires by name."""
        ...


def read_observation(text: str) -> Observation:
    """Read ``W12 sound`` or ``ECU:12 bad``. Raises `UsageError` for anything else."""
    subject, _, word = text.strip().rpartition(" ")
    if not subject or word not in (*_SOUND, *_BAD):
        raise UsageError(
            f"{text!r} says nothing that can be taken",
            cure='Write a wire, cavity, connector or part, then sound or bad: "W12 sound", "ECU:12 bad".',
        )
    return Observation(subject.strip(), word in _SOUND)


def accuses(explanation: Explains, subject: str, parts: Iterable[str] = ()) -> bool:
    """Whether an explanation says that this thing is at fault."""
    cavities = [str(end) for end in explanation.cavities]
    connectors = {text.rsplit(":", 1)[0] for text in cavities}
    return subject in {*cavities, *connectors, *explanation.wires, *parts}


def left_of(
    explanations: Sequence[Explains], seen: Observation, parts: Iterable[str] = ()
) -> tuple[int, ...]:
    """Return which explanations (by index, the finding itself first) an observation leaves.

    Something sound clears what accuses it. Something bad clears the rest, where any accuses it at all.
    Nothing left means that the observation contradicts them all: then nothing is cleared.
    """
    named = list(parts)
    blamed = [
        index
        for index, explanation in enumerate(explanations)
        if accuses(explanation, seen.subject, named if index == 0 else ())
    ]
    if not blamed:
        return tuple(range(len(explanations)))
    if not seen.sound:
        return tuple(blamed)
    rest = tuple(index for index in range(len(explanations)) if index not in blamed)
    return rest or tuple(range(len(explanations)))


def narrow(findings: Sequence[Finding], seen: Observation) -> tuple[Finding, ...]:
    """Return the findings with what was seen taken into account; the evidence says so.

    Raises `UsageError` where no finding speaks of the thing seen.
    """
    touched = [finding for finding in findings if _speaks_of(finding, seen.subject)]
    if not touched:
        raise UsageError(
            f"no finding speaks of {seen.subject!r}", cure="loomproof findings RUN lists what they name."
        )
    return tuple(_narrowed(finding, seen) for finding in findings)


def _speaks_of(finding: Finding, subject: str) -> bool:
    explanations: list[Explains] = [finding, *finding.alternatives]
    return any(accuses(explanation, subject, finding.components) for explanation in explanations)


def _narrowed(finding: Finding, seen: Observation) -> Finding:
    explanations: list[Explains] = [finding, *finding.alternatives]
    kept = left_of(explanations, seen, finding.components)
    if len(kept) == len(explanations):
        return finding
    shown = (*finding.evidence, Evidence(str(seen)))
    others = tuple(finding.alternatives[index - 1] for index in kept if index > 0)
    if 0 in kept:
        return replace(finding, alternatives=others, evidence=shown)
    first, *rest = others
    cause = first.cause or finding.cause
    return replace(
        finding,
        kind=CAUSES[cause].kind,
        cause=cause,
        title=first.text[:1].upper() + first.text[1:],
        cavities=first.cavities or finding.cavities,
        wires=first.wires,
        components=(),
        places=tuple(str(end) for end in first.cavities) or finding.places,
        repair=first.repair or finding.repair[-1:],
        alternatives=tuple(rest),
        evidence=shown,
    )
