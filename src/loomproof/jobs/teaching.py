"""Causes that people confirm: kept as such, and what they teach of where to look first.

A person who has mended a finding says what it was and where: one of the things that the finding left open,
or another. What is kept are values, a cause and a place, beside what else it could have been. A proof is
asked for with what they teach of its family of looms at that moment; its journal and record hold it, so that
it is worked out again to the same answer on any machine and whatever is confirmed later.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Generator, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import ClassVar

from pydantic import ConfigDict, TypeAdapter, ValidationError

from loomproof.diagnosis.candidates import Candidate, candidates
from loomproof.diagnosis.causes import CAUSES
from loomproof.diagnosis.learned import Case, learn, weighed
from loomproof.diagnosis.seen import NOWHERE, Thing, What, meant, with_wholes
from loomproof.diagnosis.taught import counted, family_of
from loomproof.errors import Do, Todo, UsageError
from loomproof.jobs.at_hand import at_hand
from loomproof.loom.ends import End
from loomproof.measuring.clearance import Clearance
from loomproof.measuring.events import Event, Prompt
from loomproof.planning.request import Request
from loomproof.records.canonical import sha256_hex
from loomproof.records.confirmed import ConfirmedLine, teaching_lines
from loomproof.records.data_folder import home
from loomproof.records.schema import CONFIRMED
from loomproof.records.store import Store
from loomproof.records.unfinished_runs import place_of
from loomproof.records.unnoted import unvouched_notes
from loomproof.reports.words import kind, plural
from loomproof.results.codec import Text
from loomproof.results.document import Document
from loomproof.results.findings import Finding
from loomproof.results.learned import Learned

MOST_CASES = 2000
"""So many of the last confirmed causes teach: a shop's habits change, and each proof reads them."""

TAUGHT_HEADS = ("", "cause", "place", "before", "now", "confirmed")


@dataclass(frozen=True, slots=True)
class _KeptThing:
    """A thing as a line of JSON holds it: by its name, or by its end."""

    what: What
    name: Text = ""
    end: End | None = None
    __pydantic_config__: ClassVar[ConfigDict] = ConfigDict(extra="forbid")


@dataclass(frozen=True, slots=True)
class _Kept:
    """A candidate as a line of JSON holds it."""

    cause: Text
    things: tuple[_KeptThing, ...] = ()
    __pydantic_config__: ClassVar[ConfigDict] = ConfigDict(extra="forbid")

    def candidate(self) -> Candidate:
        """Return it as the value that is counted."""
        things = (Thing(each.what, each.name, each.end or NOWHERE) for each in self.things)
        return Candidate(self.cause, tuple(things))


@dataclass(frozen=True, slots=True)
class _KeptCase:
    """A confirmed cause as a line of JSON holds it."""

    family: Text
    found: _Kept
    among: tuple[_Kept, ...]
    __pydantic_config__: ClassVar[ConfigDict] = ConfigDict(extra="forbid")


def _kept(one: Candidate) -> _Kept:
    things = (
        _KeptThing(each.what, each.name, None if each.end == NOWHERE else each.end) for each in one.things
    )
    return _Kept(one.cause, tuple(things))


@cache
def _line() -> TypeAdapter[_KeptCase]:
    return TypeAdapter(_KeptCase)


def found_by(text: str, document: Document, finding: int) -> Candidate:
    """Return what a person says that a finding was: ``bad contact BOOST:2``, ``broken wire W12``.

    One of its candidates where the words fit one, else a cause at a cavity, wire, part or connector of the
    loom. Raises `UsageError`, which names the candidates, for what is neither.
    """
    if not 1 <= finding <= len(document.findings):
        raise UsageError(_no_finding(document, finding), cure="Say which finding it was, by its number.")
    among = candidates(document.findings[finding - 1])
    words = text.strip().replace("_", " ")
    cause = max((c for c in CAUSES if f"{words} ".startswith(f"{kind(c)} ")), key=len, default="")
    if not cause:
        raise _not_told(text, "names no cause", among)
    place = text.strip()[len(cause) :].strip()
    of_cause = [one for one in among if one.cause == cause]
    if not place and len(of_cause) == 1:
        return of_cause[0]
    listed = [one for one in of_cause if one.things and _place_of(one) == " ".join(place.split())]
    if len(listed) == 1:
        return listed[0]
    if not place and not of_cause:
        return Candidate(cause)
    spoken = meant(place) if place else []
    fits = [one for one in of_cause if any(_lies_at(one, thing) for thing in spoken)]
    if len(fits) == 1:
        return fits[0]
    if fits or not place:
        raise _not_told(text, "can be several", of_cause)
    known = _things(document)
    thing = next((thing for thing in spoken if thing in known), None)
    if thing is None:
        raise _not_told(text, f"names no place of {document.loom.name}", among)
    return Candidate(cause, (thing,))


def choices(finding: Finding) -> tuple[str, ...]:
    """Return what a finding can be said to have been, each as `found_by` reads it: ``bad contact ECU:12``."""
    among = candidates(finding)
    alone = Counter(one.cause for one in among)
    # Of what lies nowhere that is named nothing can be said but its cause, where that is enough.
    told = [one for one in among if one.things or alone[one.cause] == 1]
    # Of two that touch both are named, of a whole plug of cavities the first.
    short = (one if len(one.things) <= 2 else replace(one, things=one.things[:1]) for one in told)
    return tuple(dict.fromkeys(map(_spoken, short)))


def _place_of(one: Candidate) -> str:
    """Return its place as a person says it after the cause: a lead by its cavity alone, "" for nowhere."""
    return " and ".join(str(each.end if each.what is What.LEAD else each) for each in one.things)


def _spoken(one: Candidate) -> str:
    """Return a candidate as `found_by` reads it: ``adapter lead ECU:12``."""
    return f"{kind(one.cause)} {_place_of(one)}".strip()


def _no_finding(document: Document, finding: int) -> str:
    most = len(document.findings)
    has = {0: "no finding", 1: "finding 1 only"}.get(most, f"findings 1 to {most}")
    if finding:
        return f"run {document.run} has {has}; there is no finding {finding}"
    return f"run {document.run} has {has}; a cause is of one finding, and 0 is the whole run"


def _lies_at(one: Candidate, thing: Thing) -> bool:
    """Whether a candidate lies at what was named: itself, one of its cavities, or the connector of all."""
    # Of an adapter's lead its cavity is named as well: "adapter lead ECU:12".
    named = (thing, replace(thing, what=What.LEAD)) if thing.what is What.CAVITY else (thing,)
    return any(each.holds(own) for each in named for own in one.things)


def _things(document: Document) -> set[Thing]:
    """Return everything of a loom that a cause can lie at, as its document names it."""
    ends = [end for wire in document.wires for end in wire.ends]
    ends += [End(c.name, cavity) for c in document.connectors for row in c.rows for cavity in row if cavity]
    places = {Thing(What.CAVITY, end=end) for end in ends if end.cavity}
    leads = {Thing(What.LEAD, end=place.end) for place in places}
    parts = {Thing(What.PART, name) for finding in document.findings for name in finding.components}
    return with_wholes({*places, *leads, *parts, *(Thing(What.WIRE, wire.name) for wire in document.wires)})


def _not_told(text: str, why: str, among: Iterable[Candidate]) -> UsageError:
    return UsageError(
        f"what was found, {text!r}, {why}",
        cure=f"Write a cause and its place. The finding leaves open: {'; '.join(map(_spoken, among))}.",
    )


def confirmed(document: Document, finding: int, found: Candidate, person: str, said: str) -> ConfirmedLine:
    """Return a confirmed cause as it is kept; ``said`` is when (RFC 3339)."""
    loom = document.loom
    among = candidates(document.findings[finding - 1])
    case = _KeptCase(family_of(loom.name, loom.part_number), _kept(found), tuple(map(_kept, among)))
    line = _line().dump_json(case, exclude_defaults=True).decode("utf-8")
    return ConfirmedLine(document.run, finding, person, said, found.cause, line)


def found_text(line: ConfirmedLine) -> str:
    """Return what was confirmed, in words: ``bad contact at BOOST:2``; of a damaged line its cause alone."""
    try:
        found = _case(line).found
    except UsageError:
        return f"{kind(line.cause)}; where can't be read: another version or a damaged store wrote it"
    return f"{kind(found.cause)} at {_place_of(found)}" if found.things else kind(found.cause)


def beside_all(line: ConfirmedLine) -> str:
    """Return the sentence on a confirmed cause that its finding had not left open, "" for one that it had.

    Raises `UsageError` for a damaged line.
    """
    case = _case(line)
    if case.found in case.among:
        return ""
    left = "; ".join(map(_spoken, case.among)) or "nothing that has a cause"
    return (
        f"{_spoken(case.found)} is not among what finding {line.finding} leaves open: {left}. "
        "Kept; teaches nothing. If it was a slip, note it again: what is said of a finding last counts."
    )


def _case(line: ConfirmedLine) -> Case:
    try:
        kept = _line().validate_json(line.line)
    except ValidationError:
        raise UsageError(
            f"the confirmed cause of finding {line.finding} of run {line.run} can't be read",
            cure="Another version or a damaged store wrote it; confirm it again.",
        ) from None
    return Case(kept.family, kept.found.candidate(), tuple(one.candidate() for one in kept.among))


def learned_from(
    store: Store, family: str, *, simulated: bool, without: Collection[int] = ()
) -> Learned | None:
    """Return what the confirmed causes of a store teach of a family of looms; ``None`` where there are none.

    Those of simulated benches teach simulated ones alone; ``without`` are ids of rows that teach nothing.
    """
    lines = teaching_lines(store, MOST_CASES, simulated=simulated, without=without)
    digest = sha256_hex("\n".join(line.line for line in lines).encode())
    return learn(_readable(lines), digest, family)


def learned_for(store: Store, document: Document, address: str | None) -> Learned | None:
    """Return what the confirmed causes of a store teach of the looms that a run is one of.

    ``address`` is what named the store, as it is noted.
    """
    family = family_of(document.loom.name, document.loom.part_number)
    without = _unvouched(store, address)
    return learned_from(store, family, simulated=document.bench.simulated, without=without)


def _unvouched(store: Store, address: str | None) -> Collection[int]:
    """Return the ids of confirmed causes that no command of this account noted, or were changed since."""
    held = unvouched_notes(home(), store, address, (CONFIRMED,))
    return held[CONFIRMED.name][0] if CONFIRMED.name in held else ()


def _readable(lines: Iterable[ConfirmedLine]) -> Iterator[Case]:
    for line in lines:
        try:
            yield _case(line)
        except UsageError:  # of a version to come: it teaches nothing here
            continue


def with_learned(
    request: Request, clearance: Clearance, store: str | None
) -> Generator[Event, None, Request]:
    """Return a request with what is confirmed in the store at hand by now; as it is in a fresh one.

    What nothing vouches for teaches nothing, which is told.
    """
    if "://" not in (store or "") and not Path(place_of(store)).is_file():
        return request
    family = family_of(request.loom.name, request.loom.part_number)
    with at_hand(store, seals=True) as hand:
        without = _unvouched(hand.store, hand.at)
        learned = learned_from(hand.store, family, simulated=clearance.simulated, without=without)
    if without:
        causes = plural(len(without), "confirmed cause")
        was, they = ("was", "it teaches") if len(without) == 1 else ("were", "they teach")
        yield Prompt(
            f"{causes} in the store {was} noted by no command of this account, or changed since: "
            f"{they} this proof nothing of where to look first",
            do=Do(Todo.CHECK_RECORDS),
        )
    return replace(request, learned=learned)


def taught_texts(document: Document, learned: Learned) -> Iterator[tuple[str, ...]]:
    """Yield a row for each candidate of each finding, as `TAUGHT_HEADS` names them."""
    family = family_of(document.loom.name, document.loom.part_number)
    for number, finding in enumerate(document.findings, 1):
        among = weighed(candidates(finding), learned, family)
        for each in among if len(among) > 1 else ():
            told = "; ".join(map(counted, each.costs))
            yield (
                str(number),
                kind(each.candidate.cause),
                _short(each.candidate.things),
                f"{each.before:.0%}",
                f"{each.now:.0%}",
                f"{kind(each.candidate.cause)} {told}" if told else "never in question before",
            )


def _short(things: Sequence[Thing], most: int = 3) -> str:
    shown = [str(thing) for thing in things[:most]]
    return ", ".join(shown) + (f" and {len(things) - most} more" if len(things) > most else "")


def learning(learned: Learned, *, as_judged: bool) -> str:
    """Return how a table of shares is to be read, in sentences."""
    causes = "1 confirmed cause" if learned.cases == 1 else f"{learned.cases} confirmed causes"
    when = (
        "This run was judged with what they had taught until then"
        if as_judged
        else "They were confirmed after this run was judged, with the shipped costs"
    )
    return (
        f"What {causes} of repairs teach. {when}. Before: the share of each cause by the shipped order. "
        "Now: with what was confirmed. Only the order in which explanations and places are told follows it; "
        "what readings rule out stays ruled out."
    )
