"""Which cavities are one conductor, told by ohms alone: for a bench that measures and cannot sense.

The plan's readings of a net span it, so where all of them are low the net is whole. Where one is not,
the net falls into *fragments*, and those are looked for elsewhere: conductors carry numbers, reading b
puts those with bit b on one bus and the rest on the other, as isolation is read, and a reading as low as
a conductor is halved down to one pair. What that pair reads decides; it becomes one conductor, and the
search begins again until nothing reads low. On a sound loom that is ceil(log2 k) readings for k
conductors, and each join found costs at most 3 ceil(log2 k) + 2 more.

Conductors that components couple are kept on one bus and told apart pair by pair, where anything among
them is not as it should be. A pair that reads low one way only, or only together with others, is
treated the same.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

from loomproof.bench.seam import singles
from loomproof.measuring.ohmmeter import Ohmmeter, Split, split_by_ohms
from loomproof.planning.plan import CONDUCTOR_OHM, Plan
from loomproof.results.measured import Decision, Judged, JudgedDiode

Low = Callable[[int, int], bool]
"""Whether two joined point sets read as low as a conductor, current flowing from the first to the second."""


def split_nets(
    plan: Plan, ohmmeter: Ohmmeter, judged: Sequence[Judged], diodes: Sequence[JudgedDiode] = ()
) -> Split:
    """Return the conductors as found, after the plan's readings gave ``judged`` and ``diodes``.

    ``paths`` and ``ways`` of the result are those between conductors that had to be told apart pair by
    pair, the ones that components make included.
    """
    bundles = _bundles(plan, _fragments(plan, judged))

    def low(a: int, b: int) -> bool:
        return ohmmeter.asker.resistance(a, b) < CONDUCTOR_OHM

    while (pair := low_pair(low, [sum(bundle) for bundle in bundles])) is not None:
        second, first = (bundles.pop(k) for k in sorted(pair, reverse=True))
        bundles.append(_joined(ohmmeter, plan, first, second))
    expected = {group.points for group in plan.scope.groups}
    low_parts = points_of_low_parts(plan, judged, diodes)
    done: list[Split] = []
    for bundle in bundles:
        if len(bundle) > 1 and (not expected.issuperset(bundle) or low_parts & sum(bundle)):
            done.append(split_by_ohms(ohmmeter, bundle, plan.apart_ohm(sum(bundle))))
        else:
            done.append(Split(tuple(bundle)))
    return Split(
        tuple(sorted((points for split in done for points in split.clusters), key=lambda p: p & -p)),
        tuple(path for split in done for path in split.paths),
        tuple(way for split in done for way in split.ways),
    )


def low_pair(low: Low, sets: Sequence[int]) -> tuple[int, int] | None:
    """Return the positions of two sets that read low, or ``None`` where no two do.

    ceil(log2 k) readings where none does; at most twice as many again to halve down to the pair. Where
    several paths are low only side by side, it is a pair of those.
    """
    for bit in range((len(sets) - 1).bit_length()):
        ones = [k for k in range(len(sets)) if k >> bit & 1]
        zeros = [k for k in range(len(sets)) if not k >> bit & 1]
        if low(_union(sets, ones), _union(sets, zeros)):
            while len(ones) > 1:
                half = ones[: len(ones) // 2]
                ones = half if low(_union(sets, half), _union(sets, zeros)) else ones[len(half) :]
            while len(zeros) > 1:
                half = zeros[: len(zeros) // 2]
                zeros = half if low(_union(sets, ones), _union(sets, half)) else zeros[len(half) :]
            return zeros[0], ones[0]
    return None


def _union(sets: Sequence[int], chosen: Iterable[int]) -> int:
    return sum(sets[k] for k in chosen)


def _fragments(plan: Plan, judged: Sequence[Judged]) -> list[int]:
    """Split each net where the readings that span it are not as low as a conductor.

    A net of which nothing was read is whole: the plan of a retest rests on the proof before.
    """
    scope = plan.scope
    readings: dict[int, list[Judged]] = {}
    for reading in judged:
        if not reading.component:
            readings.setdefault(scope.group_of[reading.a], []).append(reading)
    found: list[int] = []
    for k, group in enumerate(scope.groups):
        apart_ohm = plan.apart_ohm(group.points)
        pieces = list(singles(group.points)) if k in readings else [group.points]
        for reading in readings.get(k, ()):
            if reading.measured_ohm < apart_ohm:
                pair = scope.bit(reading.a) | scope.bit(reading.b)
                joined = sum(piece for piece in pieces if piece & pair)
                pieces = [piece for piece in pieces if not piece & pair] + [joined]
        found += pieces
    return found


def _bundles(plan: Plan, fragments: Iterable[int]) -> list[list[int]]:
    """Put fragments of nets that components couple, one way or both, together."""
    scope = plan.scope
    bundle_of = scope.bundle_of
    bundles: dict[int, list[int]] = {}
    for points in fragments:
        end = scope.end_of[(points & -points).bit_length()]
        group = scope.group_of[end]
        # A net that nothing couples may fall apart too; its fragments are looked for each by itself.
        alone = bundle_of.count(bundle_of[group]) == 1
        bundles.setdefault(-points if alone else bundle_of[group], []).append(points)
    return list(bundles.values())


def _joined(ohmmeter: Ohmmeter, plan: Plan, first: Sequence[int], second: Sequence[int]) -> list[int]:
    """Return two bundles that read low against each other as one: the two conductors that meet joined.

    Where no two do, whichever way the current flows, the bundle holds them side by side.
    """
    apart_ohm = plan.apart_ohm(sum(first) | sum(second))

    def near(a: int, b: int) -> bool:
        return ohmmeter.asker.resistance(a, b) < apart_ohm and ohmmeter.asker.resistance(b, a) < apart_ohm

    for a in first:
        if len(first) > 1 and not near(a, sum(second)):
            continue
        for b in second:
            if near(a, b):
                rest = [points for points in (*first, *second) if points not in (a, b)]
                return [a | b, *rest]
    return [*first, *second]


def points_of_low_parts(plan: Plan, judged: Iterable[Judged], diodes: Iterable[JudgedDiode]) -> int:
    """The points of parts that read lower than they should: something may lie beside them."""
    points = 0
    for diode in diodes:
        if math.isfinite(diode.forward) and math.isfinite(diode.backward):
            points |= plan.scope.bit(diode.anode) | plan.scope.bit(diode.cathode)
    for reading in judged:
        low = reading.component and reading.measured_ohm < reading.lower_ohm
        if low and reading.decision is Decision.FAIL:
            points |= plan.scope.bit(reading.a) | plan.scope.bit(reading.b)
    return points
