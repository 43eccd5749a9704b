"""Findings in the order that confirmed causes teach: which places and explanations stand first, no more.

What a finding is stays: its kind, severity, cause, cavities and wires, and with them its identity and the
verdict; its evidence, and every explanation. A place that was measured is told by its readings, not by habit.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import combinations

from loomproof.diagnosis.candidates import Candidate, candidates, candidates_of, open_alternatives
from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.learned import Weighed, weighed
from loomproof.diagnosis.seen import Thing, What
from loomproof.diagnosis.touch import in_one_housing, side_by_side
from loomproof.diagnosis.words import Names, listed
from loomproof.loom.model import Loom
from loomproof.results.findings import Alternative, Finding
from loomproof.results.learned import Learned, LearnedCost


def family_of(name: str, part_number: str) -> str:
    """Return the family that looms of one design belong to: their part number, else their name."""
    return part_number or name


def taught(loom: Loom, findings: Sequence[Finding], learned: Learned | None) -> tuple[Finding, ...]:
    """Return findings with places and alternatives in the order that was learned; as they are without it."""
    if learned is None:
        return tuple(findings)
    family = family_of(loom.name, loom.part_number)
    return tuple(_taught(Names(loom), finding, learned, family) for finding in findings)


def _taught(names: Names, finding: Finding, learned: Learned, family: str) -> Finding:
    among = weighed(candidates(finding), learned, family)
    measured = finding.place is not None and finding.place.answer != "none"
    if measured or len(among) < 2 or not any(each.costs for each in among):
        return finding
    now = {each.candidate: each.now for each in among}
    return replace(
        finding,
        places=_places(names, finding, now),
        alternatives=_alternatives(finding, now),
        repair=(*_look_first(names, among), *finding.repair),
    )


def _alternatives(finding: Finding, now: dict[Candidate, float]) -> tuple[Alternative, ...]:
    left = open_alternatives(finding)
    behind = [one for one in finding.alternatives if one not in left]

    def likelihood(one: Alternative) -> float:
        return sum(now.get(candidate, 0.0) for candidate in dict.fromkeys(candidates_of(one)))

    return (*sorted(left, key=likelihood, reverse=True), *behind)


def _places(names: Names, finding: Finding, now: dict[Candidate, float]) -> tuple[str, ...]:
    """Return the places, those that candidates lie at sorted among themselves; all else keeps its place."""
    own = dict.fromkeys(candidates_of(finding, is_first=True))
    shares: dict[str, float] = {}
    along = 0.0
    for candidate in own:
        share = now[candidate]
        if candidate.cause == Cause.TOUCHING and candidate.at == What.WIRE:
            along += share
        for text in dict.fromkeys(_texts(names, candidate.things)):
            shares[text] = shares.get(text, 0.0) + share
    if along:  # Of a short whatever lies at no contacts is along its wires.
        shares = {text: shares.get(text, along) for text in finding.places}
    slots = [number for number, text in enumerate(finding.places) if text in shares]
    ranked = sorted(slots, key=lambda number: shares[finding.places[number]], reverse=True)
    places = list(finding.places)
    for slot, source in zip(slots, ranked, strict=True):
        places[slot] = finding.places[source]
    return tuple(places)


def _texts(names: Names, things: Sequence[Thing]) -> Iterator[str]:
    """Yield how the places of a finding are written that a candidate lies at."""
    ends = [thing.end for thing in things if thing.what is What.CAVITY]
    yield from (names.place(end) for end in ends)
    for a, b in combinations(sorted(ends), 2):
        yield side_by_side(names, a, b)
        yield in_one_housing(a, b)
    wires = names.loom.wire_by_name
    yield from (names.run(wires[thing.name]) for thing in things if thing.name in wires)


def _look_first(names: Names, among: Sequence[Weighed]) -> Iterable[str]:
    """Return the sentence that names what is likeliest now, where it was not so alone before."""
    likeliest = max(among, key=lambda each: each.now)
    told = [cost for cost in likeliest.costs if cost.found and cost.change < 0]
    alike = [each for each in among if each.before >= likeliest.before and each is not likeliest]
    turned = any(each.before > likeliest.before or each.now < likeliest.now for each in alike)
    if not turned or not told:
        return ()
    best = told[-1]
    cause = likeliest.candidate.cause.replace("_", " ")
    where = listed(_called(names, thing) for thing in likeliest.candidate.things)
    at = f"at {where} ({cause})" if where else f"for this: {cause}"
    return (f"Look first {at}: {found_of(best)}.",)


def found_of(cost: LearnedCost) -> str:
    """Return what a learned cost rests on: ``at BOOST of ENGINE it was confirmed in 6 of 9 repairs in …``."""
    repairs = "repair" if cost.among == 1 else "repairs"
    how_often = f"{cost.found} of {cost.among} {repairs}"
    return f"{_where(cost)} it was confirmed in {how_often} in which it could have been"


def counted(cost: LearnedCost) -> str:
    """Return how often a cause was confirmed where it was counted: ``anywhere on ENGINE: 6 of 9``."""
    return f"{_where(cost)}: {cost.found} of {cost.among}"


def _where(cost: LearnedCost) -> str:
    if cost.connector:
        return f"at {cost.connector} of {cost.family}"
    return f"anywhere on {cost.family}" if cost.family else "on any loom"


def _called(names: Names, thing: Thing) -> str:
    if thing.what is What.LEAD:
        return f"the adapter's lead for {thing.end}"
    return names.wire(thing.name) if thing.what is What.WIRE else str(thing)
