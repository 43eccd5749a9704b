"""Paths between nets that parts couple: what reads less than the parts between can make of it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import permutations

from loomproof.loom.model import End
from loomproof.measuring.ohmmeter import Ohmmeter, alike, judge_alone, judge_bound
from loomproof.planning.bounding import BoundReading
from loomproof.planning.plan import Plan
from loomproof.results.measured import Decision, Judged, JudgedDiode, OneWay, Path

MOST_BESIDE = 10
"""Of so many nets that parts couple each is read against each where a part conducts too well: 90 readings."""

CLEARLY_LESS = 0.9
"""A path reads so much less at its own nets than at others, through whatever joins them. Our convention."""


def undisturbed(
    plan: Plan, groups: Iterable[frozenset[End]], judged: Iterable[Judged], diodes: Iterable[JudgedDiode]
) -> frozenset[End]:
    """Return the ends of bundles whose nets are as expected, and whose parts are all sound that are told.

    What a reading between coupled nets must be rests on both.
    """
    scope = plan.scope
    found = set(groups)
    bad = {k for k, group in enumerate(scope.groups) if scope.ends(group.points) not in found}
    for reading in judged:
        if reading.component and reading.decision is Decision.FAIL and math.isfinite(reading.expected_ohm):
            bad |= {scope.group_of[reading.a], scope.group_of[reading.b]}
    for diode in diodes:
        if diode.decision is Decision.FAIL:
            bad |= {scope.group_of[diode.anode], scope.group_of[diode.cathode]}
    bundles = {scope.bundle_of[k] for k in bad}
    return frozenset(
        end
        for group, bundle in zip(scope.groups, scope.bundle_of, strict=True)
        if bundle not in bundles
        for end in scope.ends(group.points)
    )


@dataclass(frozen=True, slots=True)
class Stray:
    """A path that no part between two coupled nets can be, Ω at its lowest."""

    ohm: float
    path: Path | OneWay

    @property
    def end(self) -> End:
        """One end of it."""
        return self.path.a if isinstance(self.path, Path) else self.path.source


def across_parts(plan: Plan, ohmmeter: Ohmmeter) -> list[tuple[BoundReading, Judged]]:
    """Read what tells a short across parts that no reading tells; what says nothing is left out.

    High at once, and the other way round a capacitor had to be charged first: it was charged before, and
    what it held was read, whatever lies beside it.
    """
    read = [(bound, *judge_bound(ohmmeter, bound)) for bound in plan.bounds if bound.component]
    charging = {bound.component for bound, _, rose in read if rose}
    return [
        (bound, judged)
        for bound, judged, rose in read
        if judged.lower_ohm > 0.0
        and (rose or bound.component not in charging or judged.decision is not Decision.PASS)
    ]


def coupled_paths(plan: Plan, ohmmeter: Ohmmeter, sound: frozenset[End]) -> list[Stray]:
    """Read nets that parts couple against each other; return leaks and one-way paths, the lowest first.

    ``sound`` are the ends of bundles that are else undisturbed.
    """
    group_of = plan.scope.group_of
    found: dict[frozenset[int], Stray] = {}
    for bound in plan.bounds:
        if bound.component or bound.a not in sound or not _fails(ohmmeter, bound):
            continue
        for single in _singles(plan, bound):
            judged, _ = judge_bound(ohmmeter, single)
            pair = frozenset((group_of[single.a], group_of[single.b]))
            ohm, u_ohm = judged.measured_ohm, judged.uncertainty_ohm
            if judged.decision is not Decision.FAIL or (pair in found and found[pair].ohm <= ohm):
                continue
            back_ohm, _ = ohmmeter.read_sets(single.other, single.one)
            both = alike(ohm, back_ohm)
            found[pair] = Stray(
                ohm,
                Path(single.a, single.b, ohm, u_ohm, stray=True)
                if both
                else OneWay(single.a, single.b, stray=True),
            )
    return sorted(found.values(), key=lambda stray: stray.ohm)


def beside_parts(
    plan: Plan,
    ohmmeter: Ohmmeter,
    groups: Iterable[frozenset[End]],
    judged: Iterable[Judged],
    diodes: Iterable[JudgedDiode],
) -> list[Path]:
    """Read nets that parts couple each against each, both ways round, where a part conducts too well.

    What lies beside a part may be between other nets of the bundle and show through its other parts. Only
    bundles whose nets are all as expected: elsewhere the wiring's own faults explain what parts read.
    """
    scope = plan.scope
    found = set(groups)
    low = [
        r.a for r in judged if r.component and r.decision is Decision.FAIL and r.measured_ohm < r.lower_ohm
    ]
    low += [
        d.anode
        for d in diodes
        if d.decision is Decision.FAIL and math.isfinite(d.forward) and math.isfinite(d.backward)
    ]
    paths: list[Path] = []
    for bundle in dict.fromkeys(scope.bundle_of[scope.group_of[end]] for end in low):
        nets = [group for group, home in zip(scope.groups, scope.bundle_of, strict=True) if home == bundle]
        if len(nets) > MOST_BESIDE or any(scope.ends(net.points) not in found for net in nets):
            continue
        for one, other in permutations(nets, 2):
            ohm, u_ohm = ohmmeter.read_sets(one.points, other.points, charged=True)
            ends = [scope.end_of[net.head.bit_length()] for net in (one, other)]
            paths.append(Path(ends[0], ends[1], ohm, u_ohm))
    return paths


def one_place(
    plan: Plan,
    ohmmeter: Ohmmeter,
    bounds: Sequence[tuple[BoundReading, Judged]],
    strays: Sequence[Stray],
    sound: frozenset[End],
) -> tuple[list[Judged], list[Stray]]:
    """Keep of readings across parts, and of stray paths of the same bundle, those that read the least.

    A path shows at all nets that parts join to its own two, and reads more there. Parts are read again
    between their own nets for that. What passes is kept, as what it says of its part; so is what reads
    outside its limits by less than the uncertainty.
    """
    scope = plan.scope
    kept = [
        judged
        for bound, passed in bounds
        if passed.decision is Decision.PASS or (passed.decision is Decision.UNDECIDED and passed.beyond)
        for judged in _own(ohmmeter, bound, passed, sound)
    ]
    left = list(strays)
    for planned, bound in bounds:
        if bound.decision is not Decision.FAIL or bound.a not in sound:
            continue
        bundle = scope.bundle_of[scope.group_of[bound.a]]
        beside = [s for s in strays if scope.bundle_of[scope.group_of[s.end]] == bundle]
        own_ohm = bound.measured_ohm
        if beside and math.isfinite(own_ohm):
            one, other = (scope.groups[scope.group_of[end]].points for end in (bound.a, bound.b))
            own_ohm, _ = ohmmeter.read_sets(one, other)
        if any(stray.ohm < CLEARLY_LESS * own_ohm for stray in beside):
            continue
        kept += _own(ohmmeter, planned, bound, sound)
        left = [stray for stray in left if stray not in beside]
    return kept, left


def _own(ohmmeter: Ohmmeter, bound: BoundReading, judged: Judged, sound: frozenset[End]) -> Iterator[Judged]:
    """Yield what a reading of whole nets says of one part, whose own figure is read at its own cavities.

    Where other parts lead from net to net as well, or the part is not what is amiss, no figure is its own:
    then it is only told what lies across it at least.
    """
    if math.isinf(judged.limit_ohm):
        yield judged
        return
    if bound.alone or judged.decision is Decision.FAIL:
        own = judge_alone(ohmmeter, bound)
        if own.decision is Decision.FAIL or judged.decision is not Decision.FAIL:
            if own.decision is not Decision.FAIL or bound.a in sound:
                yield own
            return
    yield replace(judged, limit_ohm=math.inf)


def _fails(ohmmeter: Ohmmeter, bound: BoundReading) -> bool:
    return judge_bound(ohmmeter, bound)[0].decision is Decision.FAIL


def _singles(plan: Plan, bound: BoundReading) -> Sequence[BoundReading]:
    """Return the readings to each of the nets that one reading took together."""
    scope = plan.scope
    ends = {k: group.points for k, group in enumerate(scope.groups) if group.points & bound.other}
    if len(ends) == 1:
        return [bound]
    return [
        BoundReading(
            "", bound.a, scope.end_of[scope.groups[k].head.bit_length()], bound.one, points, bound.lower_ohm
        )
        for k, points in ends.items()
    ]
