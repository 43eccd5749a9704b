"""Finding contacts by touch: the person holds an end to a probe joined to the scanner's 0 V.

The probe goes to 0 V through its resistor, never to mains earth. Nothing is driven: a touched point reads
low in the empty drive, and with a loom on it all points of its net do.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from loomproof.bench.interface import Bench
from loomproof.bench.seam import PointSet, points_of
from loomproof.errors import UnfitError
from loomproof.loom.model import End
from loomproof.measuring.clearance import Clearance, require

ALIKE = 3
"""Readings that must agree before a touch is believed: a probe bounces."""


def resting(bench: Bench, clearance: Clearance) -> PointSet:
    """Return the points that read low with nothing touched; a sound bench has none.

    Raises `UnfitError` for a bench that cannot sense, `SafetyError` without a clearance for it.
    """
    require(clearance, bench)
    _refuse_senseless(bench)
    return bench.sense([0])[0]


def _refuse_senseless(bench: Bench) -> None:
    if bench.capabilities().sense_ohm is None:
        raise UnfitError("this bench cannot sense; contacts cannot be found by touch")


@dataclass(frozen=True, slots=True)
class Felt:
    """One look at the probe: what reads low for sure, whether that is a touch that was not told yet, and
    whether nothing at all reads low just now.
    """

    low: PointSet
    new: bool
    quiet: bool


def feeling(bench: Bench, clearance: Clearance, before: PointSet | None = None) -> Iterator[Felt]:
    """Look for the probe again and again; nothing is driven. Raises as `resting` does.

    What `ALIKE` readings in a row agree in is sure. A touch counts once, until the probe is surely off or
    surely reaches something else. The caller stops when it has what it wants or has waited long enough, and
    may wait between readings.
    """
    require(clearance, bench)
    _refuse_senseless(bench)
    resting_low = resting(bench, clearance) if before is None else before
    last: PointSet = 0
    alike = 0
    sure: PointSet = 0
    while True:
        low = bench.sense([0])[0] & ~resting_low
        alike = alike + 1 if low == last else 1
        last = low
        new = alike >= ALIKE and low != sure
        sure = low if alike >= ALIKE else sure
        yield Felt(sure, new and bool(low), not low)


def touches(bench: Bench, clearance: Clearance, before: PointSet | None = None) -> Iterator[PointSet]:
    """Yield one set for each touch, and an empty set for each reading without a new one, as `feeling`."""
    for felt in feeling(bench, clearance, before):
        yield felt.low if felt.new else 0


def net_touched(low: PointSet, end_of: Mapping[int, End]) -> tuple[End, ...]:
    """Return the cavities that a touch reaches, by the adapter."""
    return tuple(end_of[point] for point in points_of(low) if point in end_of)
