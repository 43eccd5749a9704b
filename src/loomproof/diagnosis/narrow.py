"""Taking the answer to a question: what one more reading or look leaves of a finding's explanations.

Each explanation can be true in one way or in several, and each way says which things are bad: a wire that
reads open may be broken along its length, or at the contact of either end. Something that was seen to be
sound rules out the ways in which it is bad, something bad those in which it is not. An explanation goes with
its last way. Contacts crossed at a plug leave the wires sound, so a sound wire says nothing about them;
the adapter's leads are things of their own, and a sound plug says nothing about them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import combinations
from typing import Protocol, assert_never

from loomproof.diagnosis.adapter_first import still_first
from loomproof.diagnosis.causes import CAUSES, Cause, Look, at_the_adapter, look_of
from loomproof.diagnosis.mending import looks_without
from loomproof.diagnosis.seen import Observation, Thing, What, with_wholes
from loomproof.diagnosis.words import is_place_of, listed, or_at
from loomproof.loom.model import End
from loomproof.results.findings import Alternative, Evidence, Finding


@dataclass(frozen=True, slots=True)
class Way:
    """How an explanation can be true: everything in ``must`` is bad, and one or more things in ``may``.

    With nothing in either it is something that no finding names.
    """

    must: frozenset[Thing] = frozenset()
    may: frozenset[Thing] = frozenset()

    def after(self, seen: Observation) -> Way | None:
        """Return what an observation leaves of this way, None where it cannot be any more."""
        must, may = ({t for t in things if seen.thing.holds(t)} for things in (self.must, self.may))
        if not seen.sound:
            return self if must or may else None
        if must or (may and not self.must and may == self.may):
            return None
        return replace(self, may=self.may - may)

    @property
    def things(self) -> frozenset[Thing]:
        """Everything that can be bad."""
        return self.must | self.may


ELSEWHERE = Way()


def _all(things: Iterable[Thing]) -> Way:
    return Way(must=frozenset(things))


def _each(things: Iterable[Thing]) -> tuple[Way, ...]:
    return tuple(_all([thing]) for thing in things)


def _some(things: Iterable[Thing]) -> Way:
    return Way(may=frozenset(things))


_MOST_ENDS = 2
"""A wire has two ends; more cavities than that are those cut off behind it, whose contacts are not meant."""


class Explains(Protocol):
    """What an explanation is: a finding or an alternative."""

    @property
    def cause(self) -> str:
        """A key of `causes.CAUSES`."""
        ...

    @property
    def cavities(self) -> Sequence[End]:
        """Where it shows."""
        ...

    @property
    def wires(self) -> Sequence[str]:
        """Wires by name."""
        ...

    @property
    def components(self) -> Sequence[str]:
        """Parts by name."""
        ...


class Effect(StrEnum):
    """What an answer did: left fewer explanations, changed nothing, fits none, or fits several findings."""

    NARROWS = "narrows"
    NOTHING = "nothing"
    CONTRADICTS = "contradicts"
    WHICH = "which"


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of one answer; ``findings`` are the numbers (from 1) of those that it speaks of."""

    answer: Observation
    effect: Effect
    findings: tuple[int, ...]

    def __str__(self) -> str:
        numbers = listed(self.findings)
        of = f"finding{'s' if len(self.findings) > 1 else ''} {numbers}"
        if self.effect is Effect.NARROWS:
            return f"{self.answer}: taken for {of}."
        if self.effect is Effect.NOTHING:
            return f"{self.answer}: changes nothing; all that {of} lists can still be so."
        if self.effect is Effect.CONTRADICTS:
            return (
                f"{self.answer}: contradicts {of}: with what was answered before, nothing listed there can "
                "be so. It was left as it was; look again, or prove again."
            )
        return f"{self.answer}: fits {of}, and does not say which; name the cavity, wire or lead."


def ways_of(explanation: Explains, *, is_first: bool = False) -> tuple[Way, ...]:
    """Return the ways in which an explanation can be true; ``is_first`` marks the finding itself."""
    cause = explanation.cause
    places = [Thing(What.CAVITY, end=end) for end in explanation.cavities if end.cavity]
    wires = [Thing(What.WIRE, name) for name in explanation.wires]
    parts = [Thing(What.PART, name) for name in explanation.components]
    leads = [Thing(What.LEAD, end=end) for end in explanation.cavities]
    look = look_of(cause)
    match look:
        case Look.LEAD:
            return tuple(_all((Thing(What.ADAPTER), lead)) for lead in leads)
        case Look.LEADS:
            return (Way(frozenset({Thing(What.ADAPTER)}), frozenset(leads)),)
        case Look.ADAPTER:
            return (_all((Thing(What.ADAPTER), *leads)),)
        case Look.PART:
            return _each(parts) or (ELSEWHERE,)
        case Look.ALL_PLACES:
            return (_all(places),)
        case Look.PLUG:
            return _each({Thing(What.CONNECTOR, end=End(place.end.connector)): None for place in places})
        case Look.WIRES:
            return (_all(wires),)
        case Look.CONTACT:
            return _each((*places, *parts)) or (ELSEWHERE,)
        case Look.ALONG:
            whole = (_all(wires),) if wires else ()
            return (*whole, *_each(places if len(places) <= _MOST_ENDS else ())) or (ELSEWHERE,)
        case Look.ADDED if is_first:
            return (Way(frozenset(places[:1]), frozenset(places[1:])),)
        case Look.ADDED if len(places) > _MOST_ENDS:
            # All the cavities there are: an added wire sits in two of them, or was joined on on the way.
            return (*map(_all, combinations(places, 2)), ELSEWHERE)
        case Look.BETWEEN | Look.ADDED:
            homes = dict.fromkeys(place.end.connector for place in places)
            at = [_some(place for place in places if place.end.connector == home) for home in homes]
            if cause == Cause.TOUCHING and at and not (wires or is_first):
                return tuple(at)  # one place of a short, told by itself
            return (*at, *((_some(wires),) if cause == Cause.TOUCHING and wires else ()), ELSEWHERE)
        case Look.ELSEWHERE:
            return (ELSEWHERE,)
        case _:
            assert_never(look)


def _explanations(finding: Finding) -> list[Explains]:
    return [finding, *finding.alternatives]


def named(findings: Iterable[Finding]) -> set[Thing]:
    """Return everything that findings speak of, which an answer can be about."""
    found: set[Thing] = set()
    for finding in findings:
        for one in _explanations(finding):
            found |= {thing for way in ways_of(one) for thing in way.things}
            if not at_the_adapter(one.cause):
                found |= {Thing(What.CAVITY, end=end) for end in one.cavities if end.cavity}
            found |= {Thing(What.WIRE, name) for name in one.wires}
            found |= {Thing(What.PART, name) for name in one.components}
    return with_wholes(found)


def left_of(ways: Iterable[Way], seen: Observation) -> tuple[Way, ...]:
    """Return the ways that an observation leaves."""
    return tuple(after for way in ways if (after := way.after(seen)) is not None)


def narrow(
    findings: Sequence[Finding], answers: Iterable[Observation]
) -> tuple[tuple[Finding, ...], tuple[Taken, ...]]:
    """Return the findings with these answers taken into account, and what became of each answer.

    A later answer about a thing stands for an earlier one. An answer that fits nothing that is left of a
    finding leaves it as it was.
    """
    last = {seen.thing: seen for seen in answers}
    left = [
        [ways_of(one, is_first=k == 0) for k, one in enumerate(_explanations(finding))]
        for finding in findings
    ]
    heard: list[list[Observation]] = [[] for _ in findings]
    spoken = [named([finding]) for finding in findings]
    taken = []
    for seen in last.values():
        about = [k for k, things in enumerate(spoken) if seen.thing in things]
        fits = [k for k in about if any(left_of(ways, seen) for ways in left[k])]
        told = tuple(k + 1 for k in about)
        if not seen.sound and len(fits) > 1:
            taken.append(Taken(seen, Effect.WHICH, tuple(k + 1 for k in fits)))
            continue
        effect = Effect.NOTHING if fits else Effect.CONTRADICTS
        for k in fits:
            after = [left_of(ways, seen) for ways in left[k]]
            if after != left[k]:
                left[k], effect = after, Effect.NARROWS
                heard[k].append(seen)
        taken.append(Taken(seen, effect, told))
    narrowed = (still_first(each[0], _narrowed(*each)) for each in zip(findings, left, heard, strict=True))
    return tuple(narrowed), tuple(taken)


def _narrowed(finding: Finding, left: Sequence[Sequence[Way]], heard: Sequence[Observation]) -> Finding:
    if not heard:
        return finding
    shown = (*finding.evidence, *(Evidence(seen.told) for seen in heard))
    kept = [_restated(one, ways) for one, ways in zip(finding.alternatives, left[1:], strict=True) if ways]
    for other, ways in zip(finding.alternatives, left[1:], strict=True):
        if not ways:
            finding = _without_other(finding, other)
    if left[0] and not _place_is_cleared(finding, kept, left[0]):
        fewer = _without_sound_ends(_only_its_ends(finding, left[0]), left[0])
        return replace(fewer, alternatives=tuple(kept), evidence=shown)
    if left[0]:  # A short is left, at another place than the likeliest.
        kept.sort(key=lambda one: one.cause != Cause.TOUCHING)
    first, *rest = kept
    cause = str(first.cause or finding.cause)
    return replace(
        finding,
        kind=CAUSES[cause].kind,
        cause=cause,
        title=first.text[:1].upper() + first.text[1:],
        cavities=first.cavities if left[0] else first.cavities or finding.cavities,
        wires=finding.wires if left[0] else first.wires,
        components=first.components,
        places=_places(first),
        repair=(*first.repair, *finding.repair[-1:]),
        alternatives=tuple(rest),
        evidence=shown,
    )


def _without_other(finding: Finding, other: Alternative) -> Finding:
    """Return a finding that neither heads, looks nor mends at another place that no longer fits."""
    finding = replace(finding, title=finding.title.replace(or_at(other.cavities), ""))
    if other.cause != Cause.CROSSED:
        return finding
    gone = [end for end in other.cavities if end not in finding.cavities]
    return replace(
        finding,
        places=tuple(text for text in finding.places if not any(is_place_of(text, end) for end in gone)),
        repair=tuple(step for step in finding.repair if not step.startswith(f"If it is {other.text}: ")),
    )


def _place_is_cleared(finding: Finding, kept: Iterable[Alternative], ways: Sequence[Way]) -> bool:
    """Whether a place that a short was put at is not so, and others that are told one by one are left."""
    if finding.cause != Cause.TOUCHING or not any(one.cause == Cause.TOUCHING for one in kept):
        return False
    for way in ways_of(finding, is_first=True):
        at_contacts = bool(way.may) and all(thing.what is What.CAVITY for thing in way.may)
        if at_contacts and not any(after.things and after.things <= way.things for after in ways):
            return True
    return False


def _places(one: Alternative) -> tuple[str, ...]:
    if at_the_adapter(one.cause):
        return tuple(f"the adapter's lead for {end}" for end in one.cavities)
    if one.cause == Cause.TOUCHING and not one.cavities:
        return (f"along {listed(one.wires)}",)
    if one.cause == Cause.CROSSED_JOINT:
        return (f"along {listed(one.wires)}, where they were mended",)
    return tuple(str(end) for end in one.cavities)


def _ends_left(one: Explains, ways: Sequence[Way]) -> tuple[End, ...]:
    """Return the ends that are all that is left of a bad wire, once the wire itself was seen to be sound."""
    if one.cause not in (Cause.BROKEN_WIRE, Cause.RESISTIVE_WIRE) or not one.wires:
        return ()
    if any(thing.what is What.WIRE for way in ways for thing in way.things):
        return ()
    return tuple(sorted(thing.end for way in ways for thing in way.things))


def _at_its_ends(cause: str, ends: Sequence[End]) -> tuple[str, str, tuple[str, ...]]:
    """Return cause, what it is, and the repair, of a wire that is bad at these of its ends."""
    found = Cause.BAD_CONTACT if cause == Cause.BROKEN_WIRE else Cause.RESISTIVE_CONTACT
    word = "open" if cause == Cause.BROKEN_WIRE else "bad"
    return (
        found.value,
        f"{' or '.join(map(str, ends))} {word}: what holds the wire there, not the wire",
        (
            f"Look at {listed(ends)}: pushed back, spread, green or half crimped; at a ring, paint under "
            "the lug?",
            "Seat it until it is held, or renew the contact or lug.",
        ),
    )


def _only_its_ends(finding: Finding, ways: Sequence[Way]) -> Finding:
    ends = _ends_left(finding, ways)
    if not ends:
        return finding
    cause, title, repair = _at_its_ends(finding.cause, ends)
    places = tuple(map(str, ends))
    place = finding.place
    if place is not None and place.answer == "wire":
        # A reading speaks against what was seen: neither is left out.
        title += f"; this contradicts the place measured in {listed(finding.wires)}"
        look = f"{place.text}: look there before you renew contacts."
        places, repair = (place.text, *places), (look, *repair)
    return replace(
        finding,
        cause=cause,
        title=title,
        cavities=ends,
        places=places,
        repair=(*repair, *finding.repair[-1:]),
    )


def _without_sound_ends(finding: Finding, ways: Sequence[Way]) -> Finding:
    """Return a finding of a bad wire that no longer sends to the ends that were seen to be sound."""
    if finding.cause not in (Cause.BROKEN_WIRE, Cause.RESISTIVE_WIRE) or len(finding.cavities) > _MOST_ENDS:
        return finding
    bad = {thing.end for way in ways for thing in way.things if thing.what is What.CAVITY}
    sound = [end for end in finding.cavities if end.cavity and end not in bad]
    if not sound:
        return finding
    return replace(
        finding,
        cavities=tuple(end for end in finding.cavities if end not in sound),
        places=tuple(text for text in finding.places if not any(is_place_of(text, end) for end in sound)),
        repair=looks_without(finding.repair, finding.cavities, sound),
    )


def _restated(one: Alternative, ways: Sequence[Way]) -> Alternative:
    ends = _ends_left(one, ways)
    if not ends:
        return one
    cause, text, repair = _at_its_ends(one.cause, ends)
    return replace(one, cause=cause, text=text, cavities=ends, repair=repair)
