"""What is known of each cavity while a proof runs, and at its end: from events and documents, pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from enum import StrEnum

from loomproof.jobs.became import Became, fates
from loomproof.jobs.events import Event, Judged, JudgedDiode, Reading
from loomproof.jobs.retest import Retested
from loomproof.loom.model import End
from loomproof.results.document import ClaimEntry, Document, against
from loomproof.results.findings import Finding
from loomproof.results.grade import Grade
from loomproof.results.measured import Decision


class State(StrEnum):
    """What is known of a cavity; the first four while a proof runs, the others by its document."""

    WAITING = "waiting"
    SENSED = "sensed"
    MEASURED = "measured"
    WRONG = "wrong"
    SOUND = "sound"
    JOINED = "joined"
    EMPTY = "empty"
    FAULT = "fault"
    UNDECIDED = "undecided"
    UNTESTED = "untested"


WORDS: Mapping[State, tuple[str, str]] = {
    State.WAITING: ("·", "waiting"),
    State.SENSED: ("~", "sensed"),
    State.MEASURED: ("Ω", "measured"),
    State.WRONG: ("!", "not as it should be"),
    State.SOUND: ("✓", "sound"),
    State.JOINED: ("≈", "joined, ohms not decided"),
    State.EMPTY: ("○", "joined to nothing, as it should be"),
    State.FAULT: ("✗", "at a fault"),
    State.UNDECIDED: ("?", "undecided"),
    State.UNTESTED: ("–", "not tested"),
}
"""A sign and the words of each: no state is told by its colour alone."""

_ORDER = tuple(State)


def seen_by(event: Event) -> Mapping[End, State]:
    """Return what an event tells of cavities.

    That something read so far tells nothing of a whole loom, so nothing is called sound before the end.
    """
    if isinstance(event, Reading):
        # A resistance between many, joined, is read of all of them and of none by itself.
        own = event.kind != "sense" and len(event.a) == len(event.b) == 1
        state = State.MEASURED if own else State.SENSED
        return dict.fromkeys((*event.a, *event.b), state)
    if isinstance(event, Judged):
        return dict.fromkeys((event.a, event.b), _judged(event.decision))
    if isinstance(event, JudgedDiode):
        return dict.fromkeys((event.anode, event.cathode), _judged(event.decision))
    return {}


def _judged(decision: Decision) -> State:
    return State.WRONG if decision is Decision.FAIL else State.MEASURED


def later(before: State, now: State) -> State:
    """Return which of two states stands: what was measured is not called sensed again."""
    return max(before, now, key=_ORDER.index)


def of_document(document: Document) -> dict[End, State]:
    """Return the state of every cavity as a document tells it: claims, findings, what was not tested.

    What no claim holds of is told by the claim where no finding says more. Undecided is only what stands
    against a pass, as the verdict counts it.
    """
    states = _by_claims(document, document.coverage.tested, document.claims, document.grade)
    states |= dict.fromkeys((*document.coverage.untested, *document.coverage.waived), State.UNTESTED)
    return states | at_faults(document.findings)


def _by_claims(
    of: Document, tested: Iterable[End], claims: Sequence[ClaimEntry], grade: Grade | None
) -> dict[End, State]:
    """Return what claims tell of the tested cavities of a loom; a claim that does not hold tells most."""
    apart = {end for claim in claims if claim.kind == "isolation" for end in claim.cavities}
    apart -= {
        end for claim in claims if claim.kind not in ("isolation", "stability") for end in claim.cavities
    }
    apart -= {end for wire in of.wires for end in wire.ends}
    states = {end: State.EMPTY if end in apart else State.SOUND for end in tested}
    for claim in claims:
        if claim.decision is Decision.UNDECIDED and claim.kind in ("resistance", "component"):
            states |= {end: State.JOINED for end in claim.cavities if end in states}
    stands = against(claims, grade)
    for decision, state in ((Decision.UNDECIDED, State.UNDECIDED), (Decision.FAIL, State.WRONG)):
        for claim in stands:
            if claim.decision is decision:
                states |= {end: state for end in claim.cavities if end in states}
    return states


def of_retest(before: Document, again: Retested, cavities: Iterable[End]) -> dict[End, State]:
    """Return the state of every cavity as a retest tells it; of what it did not reach it says nothing."""
    said = again.judgement
    states = dict.fromkeys(cavities, State.UNTESTED) | _by_claims(
        before, again.reached, said.claims, said.grade
    )
    for fate in fates(before, again):
        if fate.became is not Became.GONE:
            states |= dict.fromkeys(fate.finding.cavities, State.UNDECIDED)
    return states | at_faults(again.findings)


def at_faults(findings: Iterable[Finding]) -> dict[End, State]:
    """Return the cavities that faults name."""
    return {
        end: State.FAULT
        for finding in findings
        if finding.severity.value == "fault"
        for end in finding.cavities
    }
