"""Finding contacts by touch: the person holds an end to a probe joined to the scanner's 0 V.

The probe goes to 0 V through its resistor, never to mains earth. Nothing is driven: a touched point reads
low in the empty drive, and with a loom on it all points of its net do.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from loomproof.bench.interface import Bench
from loomproof.bench.seam import PointSet, points_of
from loomproof.errors import UnfitError
from loomproof.loom.model import End
from loomproof.measuring.clearance import Clearance, require

ALIKE = 3
"""Readings that must agree before a touch is believed: a probe bounces."""


@dataclass(frozen=True, slots=True)
class LooseEnd:
    """A loose end read with the probe: the cavities of its net that answered, and those that did not."""

    end: End
    reached: tuple[End, ...]
    missing: tuple[End, ...]
    strange: tuple[End, ...]

    @property
    def right(self) -> bool:
        """Whether it is joined to all that it should be, and to nothing else."""
        return not self.missing and not self.strange


def resting(bench: Bench, clearance: Clearance) -> PointSet:
    """Return the points that read low with nothing touched; a sound bench has none.

    Raises `UnfitError` for a bench that cannot sense, `SafetyError` without a clearance for it.
    """
    require(clearance, bench)
    if bench.capabilities().sense_ohm is None:
        raise UnfitError("this bench cannot sense; contacts cannot be found by touch")
    return bench.sense([0])[0]


def touches(bench: Bench, clearance: Clearance, before: PointSet | None = None) -> Iterator[PointSet]:
    """Yield one set for each touch, and an empty set for each reading without a new one.

    A touch counts when `ALIKE` readings in a row agree, and once until the probe is lifted. The caller
    stops when it has what it wants or has waited long enough, and may wait between readings.
    """
    require(clearance, bench)
    quiet = resting(bench, clearance) if before is None else before
    last: PointSet = 0
    alike = 0
    told = False
    while True:
        low = bench.sense([0])[0] & ~quiet
        alike = alike + 1 if low == last else 1
        last = low
        if alike < ALIKE:
            yield 0
        elif not low:
            told = False
            yield 0
        elif told:
            yield 0
        else:
            told = True
            yield low


def net_touched(low: PointSet, end_of: Mapping[int, End]) -> tuple[End, ...]:
    """Return the cavities that a touch reaches, by the adapter."""
    return tuple(end_of[point] for point in points_of(low) if point in end_of)


def read_loose_end(end: End, expected: Sequence[End], low: PointSet, end_of: Mapping[int, End]) -> LooseEnd:
    """Return what a touch of a loose end says, against the cavities that should be on its net.

    ``expected`` are the other cavities of its net; those that have no point cannot answer and do not count.
    """
    found = set(net_touched(low, end_of))
    wanted = {each for each in expected if each in end_of.values() and each != end}
    return LooseEnd(
        end, tuple(sorted(found & wanted)), tuple(sorted(wanted - found)), tuple(sorted(found - wanted))
    )
