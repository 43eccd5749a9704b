"""Further readings where something failed: they judge nothing, they say where it is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from loomproof.loom.model import End
from loomproof.measuring.ohmmeter import Ohmmeter
from loomproof.planning.plan import Plan
from loomproof.results.measured import Path

FOLLOW_UP_CAVITIES = 12
"""Up to so many cavities are read each against each; of more, each against the two before it."""


def pairs_of(ends: Sequence[End]) -> list[tuple[End, End]]:
    """Return the pairs of cavities to read so that one wire of several can be named."""
    if len(ends) > FOLLOW_UP_CAVITIES:
        return [(ends[k], ends[m]) for k in range(len(ends)) for m in (k - 1, k - 2) if k != m]
    return [(a, b) for k, a in enumerate(ends) for b in ends[k + 1 :]]


def read_inside(
    plan: Plan, ohmmeter: Ohmmeter, groups: Sequence[frozenset[End]], known: set[frozenset[End]]
) -> Iterator[Path]:
    """Read inside conductors that were found and are no expected net; pairs in ``known`` were read before.

    The plan's readings between their cavities went nowhere, or judged what is not there. First each
    cavity against one; all pairs where one of those reads above every limit of the plan.
    """
    expected = {plan.scope.ends(group.points) for group in plan.scope.groups}
    limit_ohm = max((reading.limit_ohm for reading in plan.conductors), default=0.0)
    for group in groups:
        if len(group) < 2 or group in expected:
            continue
        ends = sorted(group, key=lambda end: plan.scope.point_of[end])
        star = [_read(ohmmeter, ends[0], end) for end in ends[1:]]
        yield from (path for path in star if frozenset((path.a, path.b)) not in known)
        if any(path.ohm > limit_ohm + path.uncertainty_ohm for path in star):
            done = known | {frozenset((path.a, path.b)) for path in star}
            for a, b in pairs_of(ends):
                if frozenset((a, b)) not in done:
                    yield _read(ohmmeter, a, b)


def _read(ohmmeter: Ohmmeter, a: End, b: End) -> Path:
    ohm, u_ohm = ohmmeter.read(a, b)
    return Path(a, b, ohm, u_ohm)


def pinpoint(ohmmeter: Ohmmeter, one: Sequence[int], other: Sequence[int]) -> tuple[int, int]:
    """Return the two conductors (point sets) that a path between two classes of conductors joins.

    Inside a class parts couple the conductors, so that the path shows at all of them: through a part it
    reads more, through a diode one way only, past a missing part not at all. It reads least, and the
    same both ways, at its own two.
    """
    first = _nearest(ohmmeter, one, sum(other))
    return first, _nearest(ohmmeter, other, first)


def _nearest(ohmmeter: Ohmmeter, candidates: Sequence[int], target: int) -> int:
    if len(candidates) == 1:
        return candidates[0]

    def both_ways(points: int) -> tuple[float, float]:
        ways = (ohmmeter.read_sets(points, target)[0], ohmmeter.read_sets(target, points)[0])
        return max(ways), min(ways)

    return min(candidates, key=both_ways)
