"""Several hook-ups as one proof: their plans and what they measured, put together."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import combinations, product
from typing import Any

from loomproof.electrics.expectation import Expectation
from loomproof.electrics.graph import united
from loomproof.loom.model import End
from loomproof.planning.net_access import scope_of
from loomproof.planning.plan import Plan
from loomproof.results.measured import Across, Decision, Judged, JudgedDiode, Measured, PieceFarads
from loomproof.results.wiggled import Wiggled

_RANK = {Decision.PASS: 0, Decision.UNDECIDED: 1, Decision.FAIL: 2}


def merged_plan(expectation: Expectation, plans: Sequence[Plan], clear_ohm: float | None) -> Plan:
    """Return the plans as one, whose points are numbered through all cavities that any of them reaches.

    It says what was asked in all, for claims; it is not to be run. One plan is returned as it is.
    """
    if len(plans) == 1:
        return plans[0]
    reached = [end for net in expectation.nets for end in net.cavities if _any_has(plans, end)]
    scope = scope_of(expectation, {end: k for k, end in enumerate(reached, start=1)}, clear_ohm)
    # A wire that one hook-up shows is shown.
    shown = {wire for plan in plans for wire in _wires(expectation, plan) if wire not in plan.hidden}
    measured = {part.part.component for plan in plans for part in plan.parts}
    conductors = {(reading.a, reading.b): reading for plan in plans for reading in plan.conductors}
    parts = {part.part.component: part for plan in plans for part in plan.parts}
    isolated = all(plan.isolation_ohm is not None for plan in plans)
    return Plan(
        scope,
        tuple(vector for plan in plans for vector in plan.vectors),
        tuple(conductors.values()),
        tuple(parts.values()),
        tuple(dict.fromkeys(w for plan in plans for w in plan.hidden if w not in shown)),
        tuple(dict.fromkeys(p for plan in plans for p in plan.unmeasured_parts if p not in measured)),
        tuple({(b.component, b.a, b.b): b for plan in plans for b in plan.bounds}.values()),
        plans[0].isolation_ohm if isolated else None,
        plans[0].meter,
        plans[0].capacitors,
    )


def merged_measured(expectation: Expectation, parts: Sequence[Measured]) -> Measured:
    """Return what all hook-ups measured as one loom as found.

    Cavities that are one conductor in any hook-up are one conductor. Where that contradicts another
    hook-up, which saw them apart, the contact comes and goes: those cavities are unstable. What is not as
    it should be and was never plugged together is told in the notes (`never_met`).
    """
    if len(parts) == 1:
        return parts[0]
    groups = tuple(map(frozenset, united(group for part in parts for group in part.groups)))
    home = {end: k for k, group in enumerate(groups) for end in group}
    unstable = {end for part in parts for end in part.unstable}
    for part in parts:
        for a, b in combinations(part.groups, 2):
            if home[next(iter(a))] == home[next(iter(b))]:
                unstable |= {min(a), min(b)}
    expected = tuple(map(frozenset, united(net for part in parts for net in part.expected)))
    lowest = [part.isolation_ohm for part in parts]
    return replace(
        parts[0],
        expected=expected,
        groups=groups,
        complete=all(part.complete for part in parts),
        judged=tuple(_worst(reading for part in parts for reading in part.judged)),
        diodes=tuple(_worst_diodes(reading for part in parts for reading in part.diodes)),
        one_way=tuple(dict.fromkeys(path for part in parts for path in part.one_way)),
        paths=tuple({(path.a, path.b): path for part in parts for path in part.paths}.values()),
        leaks=tuple({(path.a, path.b): path for part in parts for path in part.leaks}.values()),
        beside=tuple({(path.a, path.b): path for part in parts for path in part.beside}.values()),
        unstable=tuple(sorted(unstable)),
        unsteady=tuple(dict.fromkeys(together for part in parts for together in part.unsteady)),
        untested=tuple(end for net in expectation.nets for end in net.cavities if end not in home),
        notes=(*(note for part in parts for note in part.notes), *_notes(never_met(expected, groups, parts))),
        isolation_ohm=min((ohm for ohm in lowest if ohm is not None), default=None)
        if None not in lowest
        else None,
        sense_vectors=sum(part.sense_vectors for part in parts),
        resistance_readings=sum(part.resistance_readings for part in parts),
        capacitance_readings=sum(part.capacitance_readings for part in parts),
        points=_points(parts),
        sensed_parts=tuple(
            {
                part.component: part
                for conducts in (True, False)
                for each in parts
                for part in each.sensed_parts
                if part.conducts is conducts
            }.values()
        ),
        unmet=tuple(_unmet(expected, parts)),
        meter_check=_vouched(parts),
        watch=_watches(parts),
        **_for_places(expectation, parts, home),
        shorter=tuple({(way.a, way.b): way for part in parts for way in part.shorter}.values()),
        # What one hook-up can tell is told.
        untold_parts=tuple(
            name for name in parts[0].untold_parts if all(name in part.untold_parts for part in parts)
        ),
        isolation_pass_ohm=max((part.isolation_pass_ohm or 0.0 for part in parts), default=0.0) or None,
    )


def _for_places(
    expectation: Expectation, parts: Sequence[Measured], home: Mapping[End, int]
) -> dict[str, Any]:
    """Return what places rest on: of each net what one hook-up read that had all of it on the bench.

    Pieces of a net of which some end was not plugged need not be those of the whole, and readings of two
    hook-ups have other wires at 0 V beside them.
    """
    pieces: dict[int, list[PieceFarads]] = {}
    across: dict[frozenset[int], tuple[Across, ...]] = {}
    unplaced: dict[int, tuple[End, str]] = {}
    sound: dict[frozenset[End], PieceFarads] = {}
    for part in parts:
        plugged = {end for group in part.groups for end in group}
        whole = {
            net.index
            for net in expectation.nets
            if plugged.issuperset(end for end in net.cavities if end in home)
        }
        read: dict[int, list[PieceFarads]] = {}
        for piece in part.farads:
            read.setdefault(expectation.net_of[min(piece.ends)], []).append(piece)
        pieces = {index: own for index, own in read.items() if index in whole} | pieces
        for own in part.across:
            nets = frozenset(expectation.net_of[end] for one in own for end in (one.a, one.b))
            if nets <= whole:
                across.setdefault(nets, own)
        for end, why in part.unplaced:
            if expectation.net_of[end] in whole:
                unplaced.setdefault(expectation.net_of[end], (end, why))
        sound |= {piece.ends: piece for piece in part.sound_farads}
    return {
        "farads": tuple(piece for own in pieces.values() for piece in own),
        "across": tuple(across.values()),
        "sound_farads": tuple(sound.values()),
        "unplaced": tuple(why for index, why in unplaced.items() if index not in pieces),
        "learned_farads": (),
    }


def _watches(parts: Sequence[Measured]) -> Wiggled | None:
    """Return what all hook-ups watched, each the cavities that it had; ``None`` where one watched nothing."""
    watches = [part.watch for part in parts if part.watch is not None]
    if not watches or len(watches) < len(parts):
        return None
    shortest = [each.shortest_us for each in watches if each.shortest_us is not None]
    return replace(
        watches[0],
        nets=tuple(net for each in watches for net in each.nets),
        shortest_us=max(shortest) if len(shortest) == len(watches) else None,
        lost=sum(each.lost for each in watches),
        unwatched_s=sum(each.unwatched_s for each in watches),
    )


def _vouched(parts: Iterable[Measured]) -> str:
    """Return what vouches for the meter in every hook-up that read ohms; "" where one has nothing.

    What was read in one says nothing of the meter in another, an hour later and with other limits.
    """
    checks = [part.meter_check for part in parts if part.judged]
    return "; ".join(dict.fromkeys(checks)) if all(checks) else ""


def _any_has(plans: Iterable[Plan], end: End) -> bool:
    return any(end in plan.scope.point_of for plan in plans)


def _wires(expectation: Expectation, plan: Plan) -> Iterable[str]:
    """The wires of nets of which this plan asks anything."""
    if plan.meter is not None or plan.vectors:
        for index in plan.scope.net_of_group:
            yield from expectation.nets[index].wires


def _points(parts: Iterable[Measured]) -> tuple[tuple[End, int], ...]:
    """Return which point each cavity was on; one that was on several says nothing of any of them."""
    points_of: dict[End, set[int]] = {}
    for part in parts:
        for end, point in part.points:
            points_of.setdefault(end, set()).add(point)
    return tuple((end, point) for end, points in points_of.items() if len(points) == 1 for point in points)


def _worst(readings: Iterable[Judged]) -> Iterable[Judged]:
    kept: dict[tuple[End, End, str], Judged] = {}
    for reading in readings:
        key = (min(reading.a, reading.b), max(reading.a, reading.b), reading.component)
        if key not in kept or _RANK[reading.decision] > _RANK[kept[key].decision]:
            kept[key] = reading
    return kept.values()


def _worst_diodes(readings: Iterable[JudgedDiode]) -> Iterable[JudgedDiode]:
    kept: dict[str, JudgedDiode] = {}
    for reading in readings:
        before = kept.get(reading.component)
        if before is None or _RANK[reading.decision] > _RANK[before.decision]:
            kept[reading.component] = reading
    return kept.values()


def never_met(
    expected: Iterable[frozenset[End]], groups: Iterable[frozenset[End]], parts: Sequence[Measured]
) -> list[tuple[frozenset[End], frozenset[End]]]:
    """Return pairs of conductors that are not as they should be and that no hook-up saw together.

    Conductors that are as expected have met all others, as the plan of the hook-ups sees to.
    """
    should = set(expected)
    odd = [group for group in groups if group not in should]
    seen = [frozenset(end for group in part.groups for end in group) for part in parts]
    return [(a, b) for a, b in combinations(odd, 2) if not any(a & ends and b & ends for ends in seen)]


def _unmet(expected: Iterable[frozenset[End]], parts: Sequence[Measured]) -> Iterator[tuple[End, End]]:
    """Yield pairs of nets that should be apart and that no hook-up saw together, by one end of each."""
    reached = [frozenset(end for group in part.groups for end in group) for part in parts]
    # Few nets differ in which hook-ups reach them: those that do not are looked at as one.
    alike: dict[frozenset[int], list[End]] = {}
    for net in expected:
        at = frozenset(k for k, ends in enumerate(reached) if net & ends)
        alike.setdefault(at, []).append(min(net))
    for (one, firsts), (other, seconds) in combinations(alike.items(), 2):
        if not one & other:
            yield from product(firsts, seconds)


def _notes(pairs: Iterable[tuple[frozenset[End], frozenset[End]]]) -> Iterable[str]:
    for a, b in pairs:
        yield (
            f"{min(a)} and {min(b)} are not as they should be and were never plugged at the same time: "
            "whether they are joined is not known."
        )
