"""The bench's own test, no loom on it: what it found, dated, and kept as one line of a file.

Three hook-ups: nothing plugged (or an adapter with nothing at its end: its shorts show here too); a
shorting plug that joins all ends of an adapter; reference resistors between two points each. Each test
wants a clearance of the bench with no loom on it, and raises `SafetyError` without.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence

from loomproof.bench.interface import Bench
from loomproof.bench.references import Reference
from loomproof.bench.seam import Accuracy, PointSet, point_set, points_of
from loomproof.errors import UnfitError, UsageError
from loomproof.loom.text import first_of
from loomproof.measuring.check import Check
from loomproof.measuring.clearance import Clearance, require_empty
from loomproof.measuring.selftests_kept import ReferenceRead

REPEATS = 25
"""Readings for the standard deviation: 24 degrees of freedom, a relative uncertainty of 14 % of it
(JCGM 100:2008, E.4.3, table E.1 gives 16 % for 20 and 13 % for 30 readings)."""


REFERENCE_REPEATS = 5
"""So many readings of a reference are taken together; their mean is what is judged and charted. Ours."""

ASSUMED_RATIO = 0.01
"""What a resistor of the shelf may be off: metal film is sold with 1 % (common practice)."""


def try_empty(bench: Bench, clearance: Clearance, points: Sequence[int] = ()) -> tuple[Check, ...]:
    """Test with nothing plugged: all points clear of each other, stuck inputs, dead drivers.

    ``points`` are those to test, all of the bench where empty. A bench that cannot sense is tested by its
    ohms, each point against all others. Raises `UnfitError` for a bench that can do neither.
    """
    require_empty(clearance, bench)
    able = bench.capabilities()
    chosen = tuple(points) or tuple(range(1, able.points + 1))
    if able.sense_ohm is None:
        if able.ohms is None:
            raise UnfitError("this bench can neither sense nor measure ohms; there is nothing to test")
        return (_clear_by_ohms(bench, chosen),)
    drives = [0, *(1 << (point - 1) for point in chosen)]
    empty, *answers = bench.sense(drives)
    dead = [point for point, low in zip(chosen, answers, strict=True) if not low >> (point - 1) & 1]
    joined = sorted(
        {
            (min(point, other), max(point, other))
            for point, low in zip(chosen, answers, strict=True)
            for other in points_of(low & ~empty)
            if other != point
        }
    )
    return (
        Check("stuck inputs", not empty, _said(points_of(empty), "low with nothing driven", "none")),
        Check("dead drivers", not dead, _said(dead, "high while driven", "none")),
        Check(
            "clear of each other",
            not joined,
            _said([f"{a} to {b}" for a, b in joined], "joined with nothing plugged", "all points"),
        ),
    )


def try_shorted(bench: Bench, clearance: Clearance, points: Sequence[int]) -> Check:
    """Test with a shorting plug over these points: every one must reach every other one."""
    require_empty(clearance, bench)
    able = bench.capabilities()
    _several(points)
    wanted = point_set(points)
    first = points[0]
    if able.sense_ohm is not None:
        (low,) = bench.sense([1 << (first - 1)])
        missing = points_of(wanted & ~low)
        strange = points_of(low & ~wanted)
        text = _said(missing, f"not joined to point {first} by the shorting plug", "every lead reaches it")
        if strange:
            text += f"; point {first_of(strange)} is joined to it and has no lead there"
        return Check("shorting plug", not missing and not strange, text)
    readings = ((point, bench.resistance(1 << (first - 1), 1 << (point - 1))) for point in points[1:])
    missing = tuple(point for point, ohm in readings if not math.isfinite(ohm))
    return Check(
        "shorting plug", not missing, _said(missing, f"open to point {first}", "every lead reaches it")
    )


def try_references(
    bench: Bench, clearance: Clearance, references: Sequence[Reference], lead_ohm: Mapping[int, float]
) -> tuple[Check, tuple[ReferenceRead, ...]]:
    """Read reference resistors; each must be within the bench's limits of error and its own uncertainty.

    The mean of `REFERENCE_REPEATS` readings of each is judged, its leads taken off; it is returned as well.
    One whose uncertainty nobody stated is taken for `ASSUMED_RATIO` of its ohms.
    """
    require_empty(clearance, bench)
    accuracy = _accuracy(bench)
    told, passed, read = [], True, []
    for each in references:
        values = [bench.resistance(*each.sets) for _ in range(REFERENCE_REPEATS)]
        value = statistics.fmean(values) - lead_ohm.get(each.a, 0.0) - lead_ohm.get(each.b, 0.0)
        error = value - each.ohm
        u_ohm = _known_to(each)
        limit = accuracy.ohm + accuracy.ratio * each.ohm + u_ohm
        passed &= abs(error) <= limit
        known = math.isfinite(error)
        found = f"{error:+.3g} ohm" if known else "open"
        told.append(f"{each.ohm:g} ohm at {each.a}, {each.b}: {found} (limit {limit:.3g})")
        read.append(ReferenceRead(each.a, each.b, each.ohm, u_ohm, error if known else None))
    return Check("reference resistors", passed, "; ".join(told)), tuple(read)


def known_to_ohm(accuracy: Accuracy, references: Sequence[Reference]) -> float:
    """Return to how many ohms references that read right show what this meter reads, by the best of them.

    One whose uncertainty nobody stated is taken for `ASSUMED_RATIO` of its ohms.
    """
    return min(accuracy.ohm + accuracy.ratio * each.ohm + _known_to(each) for each in references)


def _known_to(reference: Reference) -> float:
    """Return how closely a reference is known, Ω: as stated, else `ASSUMED_RATIO` of its ohms."""
    return reference.u_ohm or ASSUMED_RATIO * reference.ohm


def repeatability(
    bench: Bench, clearance: Clearance, a: int, b: int, repeats: int = REPEATS
) -> tuple[Check, float | None]:
    """Read one pair again and again; return the standard deviation of one reading, Ω (JCGM 100, 4.2.2).

    It fails where the deviation alone is over the bench's own limit of error.
    """
    require_empty(clearance, bench)
    accuracy = _accuracy(bench)
    values = [bench.resistance(1 << (a - 1), 1 << (b - 1)) for _ in range(repeats)]
    if not all(math.isfinite(value) for value in values):
        return Check("repeatability", False, f"points {a} and {b} are not joined at every reading"), None
    spread = statistics.stdev(values)
    limit = accuracy.ohm + accuracy.ratio * statistics.fmean(values)
    text = f"standard deviation {spread:.3g} ohm over {repeats} readings (limit {limit:.3g} ohm)"
    return Check("repeatability", spread <= limit, text), spread


def _clear_by_ohms(bench: Bench, points: Sequence[int]) -> Check:
    whole = point_set(points)
    joined = []
    for point in points:
        alone: PointSet = 1 << (point - 1)
        if whole != alone and math.isfinite(bench.resistance(alone, whole & ~alone)):
            joined.append(point)
    return Check(
        "clear of each other", not joined, _said(joined, "joined with nothing plugged", "all points")
    )


def _accuracy(bench: Bench) -> Accuracy:
    able = bench.capabilities()
    if able.ohms is None or able.accuracy is None:
        raise UnfitError("this bench does not measure ohms, or does not say how well")
    return able.accuracy


def _several(points: Sequence[int]) -> None:
    if len(points) < 2:
        raise UsageError("a shorting plug joins two points or more", cure="Name an adapter with more leads.")


def _said(found: Sequence[object], bad: str, good: str) -> str:
    return f"point {first_of(found)}: {bad}" if found else good
