"""Whether a lying bench tells, answer for answer, what an honest one would of another loom.

Two points that are exchanged in the meter and not in the inputs are, for all that is asked of the loom, two
contacts that are exchanged in it, where sense finds the same of both: on one net, or on nets that parts join.
Nothing that is read through a loom tells the two apart. So the other loom is built, each answer about the two
cavities is held against it, and what is said is judged by its truth.
"""

from __future__ import annotations

from tests.campaign.grade_oracle import Oracle
from tests.campaign.lies import EXCHANGED, LyingScanner, beside
from tests.campaign.true_benches import TrueScanner
from tests.diagnosis.injector import Injected

VOLTS = 0.02
"""So far may forward voltages differ that are the same reading through another wire."""

SHARE = 1e-6


def another_loom(scanner: LyingScanner, oracle: Oracle) -> Oracle | None:
    """Return the truth of the other loom of which all of the bench's answers are so, where there is one."""
    if scanner.lie.name != EXCHANGED:
        return None
    at = scanner.at, beside(scanner.at)
    ends = tuple(scanner.order[point] for point in at)
    other = Oracle(oracle.loom, (*oracle.faults, Injected("swap", ends)), oracle.seed, oracle.make)
    sensed, here = (
        TrueScanner(other.now, other.make, oracle.seed),
        TrueScanner(oracle.now, oracle.make, oracle.seed),
    )
    points = range(len(scanner.order))
    if any(sensed.low(1 << point) != here.low(1 << point) for point in points):
        return None
    for one in at:
        for two in points:
            if one != two and not _same(scanner, sensed, here, one, two):
                return None
    make = scanner.make
    for a, b in scanner.diodes:
        shown = [
            of.truth.operate(of.ends(a), of.ends(b), make.test_v, make.series_ohm) for of in (here, sensed)
        ]
        if abs(shown[0][0] - shown[1][0]) > VOLTS:
            return None
    return other


def _same(scanner: LyingScanner, other: TrueScanner, here: TrueScanner, one: int, two: int) -> bool:
    """Whether the ohms between two points are those of the other loom, both ways round."""
    assert scanner.lie.sets is not None
    make = scanner.make
    for a, b in ((one, two), (two, one)):
        bus_a, bus_b = scanner.lie.sets({a}, {b}, scanner.at)
        told, so = (
            of.truth.read(of.ends(_mask(x)), of.ends(_mask(y)), make.test_v, make.series_ohm)
            for of, x, y in ((here, bus_a, bus_b), (other, {a}, {b}))
        )
        if told != so and not abs(told - so) <= SHARE * max(told, so):
            return False
    return True


def _mask(points: set[int]) -> int:
    return sum(1 << point for point in points)
