"""Lead resistance, learned with a shorting plug.

With all ends joined in one joint of negligible resistance a reading between points i and j is
r_ij = R_i + R_j. Three points give each lead alone, R_a = (r_ab + r_ac - r_bc) / 2; every other lead
follows from a reading against one of them. The meter's own offset is in these readings and in those that
they are taken from later, so it drops out; what stays is the spread.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from loomproof.bench.adapter import Adapter
from loomproof.bench.seam import Bench
from loomproof.errors import AdapterError, UnfitError, UsageError

REPEATS = 5


@dataclass(frozen=True, slots=True)
class LeadReading:
    """A lead's resistance and its expanded uncertainty (k = 2), Ω."""

    ohm: float
    u_ohm: float


def learn_leads(
    bench: Bench, points: Sequence[int], repeats: int = REPEATS, names: Mapping[int, str] | None = None
) -> dict[int, LeadReading]:
    """Return the resistance of each lead, all of these points joined by a shorting plug.

    The uncertainty is 2 · s · √(3/4 + 1) / √repeats: the pooled standard deviation s of one reading,
    carried through both differences, taken as independent, which is never too small (JCGM 100:2008, 5.1.2).
    Raises `UsageError` for fewer than three points or two repeats, `AdapterError` that names open leads;
    ``names`` say what is at the points.
    """
    if bench.capabilities().ohms is None:
        raise UnfitError("this bench senses only; it cannot learn lead resistance")
    if len(points) < 3 or repeats < 2:
        raise UsageError(
            f"zeroing takes three leads or more and two readings or more of each pair; "
            f"{len(points)} and {repeats} were asked for",
            cure="The shorting plug has to join three leads at least.",
        )
    a, b, c = points[:3]
    pairs = [(a, b), (a, c), (b, c), *((a, point) for point in points[3:])]
    readings = {
        (x, y): [bench.resistance(1 << (x - 1), 1 << (y - 1)) for _ in range(repeats)] for x, y in pairs
    }
    joined = [pair for pair, values in readings.items() if all(math.isfinite(value) for value in values)]
    if len(joined) < len(pairs):
        told = ", ".join(_named(point, names or {}) for point in _open_points(pairs, joined))
        raise AdapterError(
            f"open with the shorting plug on: {told}" if joined else "no two of these leads are joined",
            cure="Look at the shorting plug and at these leads of the adapter."
            if joined
            else "Put the shorting plug on; it must join all of these leads.",
        )
    mean = {pair: statistics.fmean(values) for pair, values in readings.items()}
    pooled = math.sqrt(statistics.fmean(statistics.variance(values) for values in readings.values()))
    u_ohm = 2.0 * pooled * math.sqrt(1.75 / repeats)
    first = (mean[a, b] + mean[a, c] - mean[b, c]) / 2.0
    leads = {point: mean[a, point] - first for point in points[1:]}
    leads[a] = first
    return {point: LeadReading(max(0.0, leads[point]), u_ohm) for point in points}


def zeroed(adapter: Adapter, leads: Mapping[int, LeadReading], date: str) -> Adapter:
    """Return the adapter with these leads' resistance, spread and date put in."""
    return replace(
        adapter,
        entries=tuple(
            replace(lead, lead_ohm=leads[lead.point].ohm, lead_u_ohm=leads[lead.point].u_ohm, zeroed=date)
            if lead.point in leads
            else lead
            for lead in adapter.entries
        ),
    )


def _open_points(pairs: Sequence[tuple[int, int]], joined: Sequence[tuple[int, int]]) -> list[int]:
    """Return the points to look at: the first where all its pairs are open, else each that it misses."""
    first = pairs[0][0]
    if not any(first in pair for pair in joined):
        return [first]
    missed = [y for x, y in pairs if x == first and (x, y) not in joined]
    return missed or [point for pair in pairs if pair not in joined for point in pair]


def _named(point: int, names: Mapping[int, str]) -> str:
    return f"point {point} ({names[point]})" if point in names else f"point {point}"
