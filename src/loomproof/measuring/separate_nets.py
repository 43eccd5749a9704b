"""Telling conductors apart by ohms where sensing alone can't: shorts from paths, nets that parts couple."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import chain

from loomproof.bench.seam import singles
from loomproof.electrics.conductors import RESISTIVE_OHM
from loomproof.electrics.graph import DisjointSets
from loomproof.loom.model import End
from loomproof.measuring.nets_by_resistance import points_of_low_parts, split_nets
from loomproof.measuring.ohmmeter import Ohmmeter, split_by_ohms
from loomproof.planning.plan import Plan
from loomproof.results.measured import Decision, Judged, JudgedDiode, Path

Groups = tuple[frozenset[End], ...]


def by_description(plan: Plan, groups: Groups) -> Groups:
    """Without ohms, fragments that components join both ways can't be told apart: take them as apart.

    What a diode joins reads low one way only; where it reads low both ways, that is a short.
    """
    found: list[frozenset[End]] = []
    for group in groups:
        fragments = [plan.scope.ends(part) for part in _fragments(plan, group)]
        joins = [
            (a, b)
            for k, first in enumerate(fragments)
            for second in fragments[k + 1 :]
            for a, b in [(min(first), min(second))]
            if not _coupled_both_ways(plan, a, b)
        ]
        found += merged(fragments, joins)
    return tuple(found)


def told_by_ohms(
    plan: Plan, ohmmeter: Ohmmeter, groups: Iterable[frozenset[End]]
) -> tuple[Groups, list[Path], list[tuple[int, int]]]:
    """Tell conductors apart in groups that hold parts of several nets.

    Returns the conductors, resistive paths between them, and pairs (source, sink) that conduct one way;
    what components are meant to do is left out of both. Where components couple the nets, or something
    else that is no conductor, every cavity is read: a sense can't say on which side of it each hangs.
    """
    scope = plan.scope
    coupled = _coupled_groups(plan)
    refined: list[frozenset[End]] = []
    leaks: list[Path] = []
    ways: list[tuple[int, int]] = []
    for group in groups:
        fragments = _fragments(plan, group)
        if len(fragments) < 2:
            refined.append(group)
            continue
        apart_ohm = plan.apart_ohm(sum(fragments))
        points = [point for part in fragments for point in singles(part)]
        if any(scope.group_of[end] in coupled for end in group):
            fragments = points
        split = split_by_ohms(ohmmeter, fragments, apart_ohm)
        if (split.paths or split.ways) and fragments != points:
            split = split_by_ohms(ohmmeter, points, apart_ohm)
        refined += [scope.ends(cluster) for cluster in split.clusters]
        home = {end: k for k, cluster in enumerate(split.clusters) for end in scope.ends(cluster)}
        expected = _as_expected(plan, split.clusters)
        paths = [path for path in split.paths if not _meant(plan, expected, path.a, path.b)]
        leaks += {frozenset((home[path.a], home[path.b])): path for path in reversed(paths)}.values()
        ways += [way for way in split.ways if not _meant(plan, expected, *_ends(plan, way))]
    return tuple(refined), leaks, ways


def told_without_sense(
    plan: Plan, ohmmeter: Ohmmeter, judged: Sequence[Judged], diodes: Sequence[JudgedDiode]
) -> tuple[Groups, list[Path], list[tuple[int, int]]]:
    """Tell conductors apart on a bench that cannot sense; the result is that of `told_by_ohms`."""
    split = split_nets(plan, ohmmeter, judged, diodes)
    expected = _as_expected(plan, split.clusters)
    leaks = [path for path in split.paths if not _meant(plan, expected, path.a, path.b)]
    ways = [way for way in split.ways if not _meant(plan, expected, *_ends(plan, way))]
    return tuple(plan.scope.ends(points) for points in split.clusters), leaks, ways


def split_bypassed(plan: Plan, ohmmeter: Ohmmeter, groups: Groups, judged: Sequence[Judged]) -> Groups:
    """Split a net whose open is bridged by components: it senses whole, but reads as the components do."""
    scope = plan.scope
    bad = {
        scope.group_of[reading.a]
        for reading in judged
        if not reading.component
        and reading.decision is Decision.FAIL
        and scope.reach[scope.group_of[reading.a]]
        and reading.measured_ohm > plan.apart_ohm(scope.groups[scope.group_of[reading.a]].points)
    }
    refined: list[frozenset[End]] = []
    for group in groups:
        if len(group) < 2 or bad.isdisjoint(scope.group_of[end] for end in group):
            refined.append(group)
            continue
        points = [scope.bit(end) for end in sorted(group, key=lambda end: scope.point_of[end])]
        split = split_by_ohms(ohmmeter, points, plan.apart_ohm(sum(points)))
        refined += [scope.ends(cluster) for cluster in split.clusters]
    return tuple(refined)


def rejoined(
    plan: Plan,
    ohmmeter: Ohmmeter,
    groups: Groups,
    judged: Sequence[Judged],
    diodes: Sequence[JudgedDiode],
) -> Groups:
    """Read pieces of coupled nets against each other where any of them is not as expected, or a part is low.

    What was split off one net may hang on another that a component couples to it. A short between two nets
    that parts couple anyway shows in nothing but the readings of these parts.
    """
    scope = plan.scope
    coupled = _coupled_groups(plan)
    expected = {scope.ends(group.points) for group in scope.groups}
    mine = [group for group in groups if any(scope.group_of[end] in coupled for end in group)]
    if all(group in expected for group in mine):
        low = scope.ends(points_of_low_parts(plan, judged, diodes))
        bundles = {scope.bundle_of[scope.group_of[end]] for end in low}
        mine = [group for group in mine if scope.bundle_of[scope.group_of[min(group)]] in bundles]
        if len(mine) < 3:  # of two nets the part itself is read
            return groups
    sets = [sum(scope.bit(end) for end in group) for group in mine]
    split = split_by_ohms(ohmmeter, sets, plan.apart_ohm(sum(sets)))
    rest = [group for group in groups if group not in mine]
    return (*rest, *(scope.ends(cluster) for cluster in split.clusters))


def resistive_joined(plan: Plan, groups: Groups, judged: Iterable[Judged]) -> Groups:
    """Join ends of one net that sense apart but conduct through a bad joint: that is no open.

    Not where components couple the net, either way, and not where an end was found on another net, by a
    contact in the wrong place: a part could be what conducts.
    """
    coupled = _coupled_groups(plan)
    home = {end: group for group in groups for end in group}

    def alone(end: End) -> bool:
        return len({plan.scope.group_of[other] for other in home[end]}) == 1

    return merged(
        groups,
        (
            (reading.a, reading.b)
            for reading in judged
            if not reading.component
            and reading.measured_ohm < RESISTIVE_OHM
            and plan.scope.group_of[reading.a] not in coupled
            and alone(reading.a)
            and alone(reading.b)
        ),
    )


def _fragments(plan: Plan, group: frozenset[End]) -> list[int]:
    """Split a found group by expected net, as point sets."""
    parts: dict[int, int] = {}
    for end in group:
        k = plan.scope.group_of[end]
        parts[k] = parts.get(k, 0) | plan.scope.bit(end)
    return [parts[k] for k in sorted(parts)]


def _coupled_groups(plan: Plan) -> frozenset[int]:
    """Return the groups that a component couples to another, either way."""
    reach = plan.scope.reach
    return frozenset(i for i, others in enumerate(reach) if others).union(*reach)


def _as_expected(plan: Plan, clusters: Iterable[int]) -> frozenset[End]:
    """Return the ends of conductors that hold ends of one expected net only."""
    nets = {points: {plan.scope.group_of[end] for end in plan.scope.ends(points)} for points in clusters}
    return frozenset(end for points, of in nets.items() if len(of) == 1 for end in plan.scope.ends(points))


def _meant(plan: Plan, expected: frozenset[End], a: End, b: End) -> bool:
    """Whether components are meant to join these two, either way; what holds other ends is none of theirs."""
    if a not in expected or b not in expected:
        return False
    i, j = plan.scope.group_of[a], plan.scope.group_of[b]
    return j in plan.scope.reach[i] or i in plan.scope.reach[j]


def _coupled_both_ways(plan: Plan, a: End, b: End) -> bool:
    """Whether components are meant to join these two nets both ways."""
    i, j = plan.scope.group_of[a], plan.scope.group_of[b]
    return j in plan.scope.reach[i] and i in plan.scope.reach[j]


def _ends(plan: Plan, pair: tuple[int, int]) -> tuple[End, End]:
    a, b = (plan.scope.end_of[point.bit_length()] for point in pair)
    return a, b


def merged(groups: Iterable[frozenset[End]], joins: Iterable[tuple[End, End]]) -> tuple[frozenset[End], ...]:
    """Return the groups with those joined that a pair names."""
    ends = [end for group in groups for end in group]
    known = set(ends)
    pairs = (pair for pair in joins if known.issuperset(pair))
    return tuple(map(frozenset, DisjointSets(ends, chain(groups, pairs)).sets()))
