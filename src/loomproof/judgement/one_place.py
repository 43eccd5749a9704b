"""Findings that lie at one place of a bundle, told once: one damage with its likely causes, not many faults.

Faults of one damage have one true place, so their measured places differ by no more than their uncertainty:
with half-intervals U of k = 2, the sum of squared deviations from the weighted mean, each over U/2, follows a
chi-squared distribution with one degree of freedom less than there are faults. Whatever is stranger than
`STRANGER` is not joined. The fewest places are told: always the most faults that one place explains.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from loomproof.diagnosis.words import Names, listed
from loomproof.judgement.place_words import part_words
from loomproof.locating.routes import in_bundles, legs_of, parts_of
from loomproof.loom.model import Loom
from loomproof.results.findings import Finding, Kind, Severity
from loomproof.results.places import BundlePart, SharedPlace, WirePlace, rounded_down, rounded_up

STRANGER = 0.01
"""So improbable, at one place, is what is not taken for one place."""

LEAST_U_M = 0.01
"""No place is told closer than a centimetre, however small its interval."""


@dataclass(frozen=True, slots=True)
class _Seen:
    """A finding as one bundle sees it."""

    number: int
    bundle: str
    middle_m: float
    u_m: float


def shared_places(loom: Loom, findings: Sequence[Finding]) -> tuple[SharedPlace, ...]:
    """Return the places at which two faults or more lie, in the order of their first finding."""
    seen = [each for number, finding in enumerate(findings) for each in _seen(loom, number, finding)]
    told: list[tuple[int, ...]] = []
    found: list[SharedPlace] = []
    while (most := _most(loom, seen)) is not None:
        numbers = tuple(sorted(each.number for each in most))
        told.append(numbers)
        found.append(_place(loom, findings, numbers, most))
        seen = [each for each in seen if each.number not in numbers]
    return tuple(place for _, place in sorted(zip(told, found, strict=True), key=lambda pair: pair[0]))


def _seen(loom: Loom, number: int, finding: Finding) -> Iterator[_Seen]:
    """Yield how each bundle sees where a finding lies; nothing of one whose place is not one stretch."""
    place = finding.place
    if place is None or place.answer != "wire" or finding.severity is not Severity.FAULT:
        return
    stretches = {each.wire: each for each in place.stretches}
    if len(stretches) != len(place.stretches) or any(each.as_share for each in place.stretches):
        return
    first = next(iter(stretches.values()))  # of wires that touch, all are at one place of the bundle
    wire = loom.wire_by_name[first.wire]
    for each in in_bundles(loom.bundle_by_name, wire, *_from_a(loom, first)):
        yield _Seen(number, each.bundle, each.middle_m, max(each.half_m, LEAST_U_M))


def _from_a(loom: Loom, place: WirePlace) -> tuple[float, float]:
    wire = loom.wire_by_name[place.wire]
    if place.end == wire.a:
        return place.low_m, place.high_m
    length_m = wire.length_m or 0.0
    return length_m - place.high_m, length_m - place.low_m


def _most(loom: Loom, seen: Sequence[_Seen]) -> list[_Seen] | None:
    """Return the most findings that one place of one bundle explains, two at least; of equals the closest."""
    if len(seen) < 2:  # as for every sound loom, which needs no distribution then
        return None
    from scipy.special import chdtri

    best = (1, False, 0.0)
    found: list[_Seen] | None = None
    for bundle in dict.fromkeys(each.bundle for each in seen):
        along = sorted((one for one in seen if one.bundle == bundle), key=lambda one: one.middle_m)
        for start in range(len(along)):
            for stop in range(start + 2, len(along) + 1):
                group = along[start:stop]
                strange = _strangeness(group)
                rank = (len(group), _inside(loom, group), -strange)
                if strange <= float(chdtri(len(group) - 1, STRANGER)) and rank > best:
                    best, found = rank, group
    return found


def _inside(loom: Loom, group: Sequence[_Seen]) -> bool:
    """Whether the mean lies in the bundle itself, not past the fork that it was reckoned over."""
    return 0.0 <= _mean(group)[0] <= (loom.bundle_by_name[group[0].bundle].length_m or 0.0)


def _mean(group: Iterable[_Seen]) -> tuple[float, float]:
    """Return the weighted mean of places and its half-interval, m."""
    weights = [(1.0 / each.u_m**2, each.middle_m) for each in group]
    total = math.fsum(weight for weight, _ in weights)
    return math.fsum(weight * middle_m for weight, middle_m in weights) / total, 1.0 / math.sqrt(total)


def _strangeness(group: Sequence[_Seen]) -> float:
    mean_m, _ = _mean(group)
    return math.fsum(((each.middle_m - mean_m) / (each.u_m / 2)) ** 2 for each in group)


def _place(
    loom: Loom, findings: Sequence[Finding], numbers: Sequence[int], group: Sequence[_Seen]
) -> SharedPlace:
    """Return one place: the interval of the mean, and no less than where the findings' own middles are."""
    mean_m, u_m = _mean(group)
    low_m = min(mean_m - u_m, *(each.middle_m for each in group))
    high_m = max(mean_m + u_m, *(each.middle_m for each in group))
    own = [findings[number] for number in numbers]
    damaged = [each.wire for finding in own if finding.place for each in finding.place.stretches]
    wires = tuple(dict.fromkeys(damaged))
    causes = _causes([finding.kind for finding in own])
    bundle = loom.bundle_by_name[group[0].bundle]
    passes = _parts(loom, damaged, bundle.name, low_m, high_m)
    length_m = bundle.length_m or math.inf
    low_m, high_m = (min(max(place_m, 0.0), length_m) for place_m in (low_m, high_m))
    where = f"{rounded_down(low_m)} m to {rounded_up(high_m)} m from {bundle.a} in bundle {bundle.name}"
    if len(passes) > 1:
        where = listed([part_words(part) for part in passes], len(passes))
    text = (
        f"{len(wires)} wires damaged {where}: {Names(loom).wires(wires)}. {len(own)} findings come of this "
        f"one place; such damage is done by {', '.join(causes[:-1])} or {causes[-1]}"
    )
    keys = tuple(finding.identity for finding in own)
    passes = passes if len(passes) > 1 else ()
    return SharedPlace(keys, wires, bundle.name, bundle.a, low_m, high_m, text, passes, causes)


def _parts(
    loom: Loom, wires: Sequence[str], bundle: str, low_m: float, high_m: float
) -> tuple[BundlePart, ...]:
    """Return the bundles that a place of one bundle reaches into, along the first wire in it."""
    for name in wires:
        wire = loom.wire_by_name[name]
        for leg in legs_of(loom.bundle_by_name, wire):
            if leg.bundle == bundle:
                one, other = sorted((leg.along_wire(low_m), leg.along_wire(high_m)))
                ends_m = max(one, 0.0), min(other, wire.length_m or other)
                return parts_of(loom.bundle_by_name, wire, *ends_m, slack=False)
    return ()


def _causes(kinds: Sequence[Kind]) -> tuple[str, ...]:
    """Return what does damage of these kinds to wires side by side (common practice)."""
    if Kind.OPEN not in kinds:
        return ("chafe on an edge", "heat that softened the insulation", "a clamp or screw that presses")
    if any(kind is not Kind.OPEN for kind in kinds):
        return ("chafe on an edge", "a crush", "heat that melted insulation and wire")
    return ("a cut", "a crush", "chafe on an edge")
