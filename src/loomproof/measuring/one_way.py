"""Paths that sense one way only: which of them are resistive, and each told once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from loomproof.measuring.ohmmeter import Ohmmeter, alike
from loomproof.measuring.separate_nets import Groups
from loomproof.planning.plan import Plan
from loomproof.results.measured import OneWay, Path


def told_apart(
    ohmmeter: Ohmmeter, one_way: Iterable[tuple[int, int]]
) -> tuple[list[tuple[int, int]], list[Path]]:
    """Measure paths that sense one way only: what conducts both ways alike is resistive, not a diode."""
    kept: list[tuple[float, tuple[int, int]]] = []
    paths: list[Path] = []
    for source, sink in one_way:
        forward, u_ohm = ohmmeter.read_sets(source, sink)
        backward, _ = ohmmeter.read_sets(sink, source)
        if alike(forward, backward):
            a, b = (ohmmeter.scope.end_of[p.bit_length()] for p in (source, sink))
            paths.append(Path(a, b, forward, u_ohm))
        else:
            kept.append((min(forward, backward), (source, sink)))
    # The lowest first: through parts the same path reads more.
    return [way for _, way in sorted(kept, key=lambda each: each[0])], paths


def one_a_pair(plan: Plan, groups: Groups, one_way: Iterable[tuple[int, int]]) -> Iterator[OneWay]:
    """Tell each path that conducts one way once, whichever cavities of the two conductors it was seen at."""
    home = {end: k for k, group in enumerate(groups) for end in group}
    seen: set[tuple[int, int]] = set()
    for pair in one_way:
        source, sink = (plan.scope.end_of[p.bit_length()] for p in pair)
        if (home[source], home[sink]) not in seen:
            seen.add((home[source], home[sink]))
            yield OneWay(source, sink)


def lowest_first(ohmmeter: Ohmmeter, one_way: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return paths that conduct one way, found by sense and by ohms, those that read least in front.

    Through parts the same path reads more: the first of those that parts join is at its own two conductors.
    """
    ways = list(dict.fromkeys(one_way))
    if len(ways) < 2:
        return ways
    read = {way: min(ohmmeter.read_sets(*pair)[0] for pair in (way, way[::-1])) for way in ways}
    return sorted(ways, key=lambda way: read[way])
