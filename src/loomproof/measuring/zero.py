"""Lead resistance, learned with a shorting plug.

With all ends joined in one joint of negligible resistance a reading between points i and j is
r_ij = R_i + R_j. Three points give each lead alone, R_a = (r_ab + r_ac - r_bc) / 2; every other lead
follows from a reading against one of them. The meter's own offset is in these readings, half of it in each
lead, and in those that they are taken from later, so with the same meter it drops out, a negative one as
well; what stays is the spread.

With v the variance of the mean of one pair's readings: R_b + R_c and R_a + R_j are readings themselves and
have v; R_b + R_j has 3 v; of two leads learned against the same first one, R_j + R_k = r_aj + r_ak - 2 R_a
has (1 + 1 + 3) v = 5 v, more than two independent leads of 7/4 v would have. So a lead's figure is half of
the largest variance that it has in any pair, or its own where that is more: 5/2 v, and 3/4 v for the first
three.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from loomproof.bench.adapter import MOST_LEAD_F, Adapter
from loomproof.bench.interface import Bench
from loomproof.errors import AdapterError, UnfitError, UsageError
from loomproof.measuring.clearance import Clearance, require_empty

REPEATS = 5


@dataclass(frozen=True, slots=True)
class LeadReading:
    """A lead's resistance, Ω, the meter's offset in it, and its expanded uncertainty (k = 2) as one of two.

    ``spread_ohm`` is the standard deviation of a single reading, the meter's last digit included; 0 where
    every reading was the same, so that nothing is known of it.
    """

    ohm: float
    u_ohm: float
    spread_ohm: float = 0.0


@dataclass(frozen=True, slots=True)
class OpenReading:
    """What a point with its lead adds to a capacitance reading, F, and its expanded uncertainty (k = 2)."""

    farad: float
    u_f: float


def learn_leads(
    bench: Bench,
    clearance: Clearance,
    points: Sequence[int],
    repeats: int = REPEATS,
    names: Mapping[int, str] | None = None,
) -> dict[int, LeadReading]:
    """Return the resistance of each lead, all of these points joined by a shorting plug.

    The uncertainty is k · s · √(5/2) / √repeats, for the first three leads k · s · √(3/4) / √repeats, with
    the pooled standard deviation s of one reading (JCGM 100:2008, 5.2.2: the first lead is in both) and k for
    95.45 % with as many degrees of freedom as s has (JCGM 100:2008, G.3). Raises
    `UsageError` for fewer than three points or two repeats, `AdapterError` that names open leads; ``names``
    say what is at the points. `SafetyError` without a clearance of this bench with no loom on it.
    """
    require_empty(clearance, bench)
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
    spread = math.hypot(pooled, _step(readings.values()) / math.sqrt(12.0)) if pooled else 0.0
    factor = _coverage(len(pairs) * (repeats - 1))
    u_first, u_other = (factor * spread * math.sqrt(share / repeats) for share in (0.75, 2.5))
    first = (mean[a, b] + mean[a, c] - mean[b, c]) / 2.0
    leads = {point: mean[a, point] - first for point in points[1:]}
    leads[a] = first
    return {
        point: LeadReading(leads[point], u_first if point in (a, b, c) else u_other, spread)
        for point in points
    }


def learn_farads(
    bench: Bench,
    clearance: Clearance,
    points: Sequence[int],
    repeats: int = REPEATS,
    names: Mapping[int, str] | None = None,
) -> dict[int, OpenReading]:
    """Return what each point with its lead adds to a capacitance reading, nothing on any of them.

    Each is read against all others, joined and at 0 V. The uncertainty is k · s / √repeats with the pooled
    standard deviation s of one reading, or the bench's stated one where that is more; the meter's offset is
    in what is learned and drops out with it. Raises `UsageError` for fewer than two points or repeats,
    `AdapterError` that names leads with something on them, `UnfitError` where the bench reads no farads,
    `SafetyError` without a clearance of this bench with no loom on it.
    """
    require_empty(clearance, bench)
    able = bench.capabilities()
    if able.farads is None:
        raise UnfitError("this bench reads no capacitance; it cannot learn what its leads add")
    if len(points) < 2 or repeats < 2:
        raise UsageError(
            f"zeroing with the leads open takes two leads or more and two readings or more of each; "
            f"{len(points)} and {repeats} were asked for"
        )
    masks = {point: 1 << (point - 1) for point in points}
    whole = sum(masks.values())
    readings: dict[int, list[float]] = {}
    joined: list[int] = []
    for point, mask in masks.items():
        found = [bench.capacitance(mask, whole & ~mask) for _ in range(repeats)]
        told = [farad for farad in found if farad is not None and farad <= MOST_LEAD_F]
        readings[point] = told
        if len(told) < repeats:
            joined.append(point)
    if joined:
        told_of = ", ".join(_named(point, names or {}) for point in joined)
        raise AdapterError(
            f"something is on these leads, or joins them: {told_of}",
            cure="Take the loom and every plug off; the ends of the leads may touch nothing, nor each other.",
        )
    pooled = math.sqrt(statistics.fmean(statistics.variance(values) for values in readings.values()))
    spread_f = max(pooled, able.farad_spread or 0.0)
    u_f = _coverage(len(points) * (repeats - 1)) * spread_f / math.sqrt(repeats)
    return {point: OpenReading(statistics.fmean(values), u_f) for point, values in readings.items()}


def opened(adapter: Adapter, leads: Mapping[int, OpenReading], date: str) -> Adapter:
    """Return the adapter with what these leads add to a capacitance reading, and the date, put in."""
    return replace(
        adapter,
        entries=tuple(
            replace(lead, lead_f=leads[lead.point].farad, lead_u_f=leads[lead.point].u_f, open_zeroed=date)
            if lead.point in leads
            else lead
            for lead in adapter.entries
        ),
    )


def _coverage(degrees: int) -> float:
    """Return Student's factor for 95.45 % with so many degrees of freedom, from the normal one, z = 2.

    The expansion in 1/ν to its second term (Abramowitz and Stegun, Handbook of Mathematical Functions,
    26.7.5); from 8 degrees on it lies within 1 % of the table in JCGM 100:2008, G.2.
    """
    z = 2.0
    return z + (z**3 + z) / (4 * degrees) + (5 * z**5 + 16 * z**3 + 3 * z) / (96 * degrees**2)


def _step(readings: Iterable[Sequence[float]]) -> float:
    """Return the least step between two readings of one pair: what the meter's last digit is worth at
    most."""
    steps = (
        y - x
        for values in readings
        for x, y in zip(sorted(values), sorted(values)[1:], strict=False)
        if y > x
    )
    return min(steps, default=0.0)


def zeroed(adapter: Adapter, leads: Mapping[int, LeadReading], date: str, meter: str = "") -> Adapter:
    """Return the adapter with these leads' resistance, spread and date put in; ``meter`` read them."""
    return replace(
        adapter,
        entries=tuple(
            replace(
                lead,
                lead_ohm=leads[lead.point].ohm,
                lead_u_ohm=leads[lead.point].u_ohm,
                zeroed=date,
                spread_ohm=leads[lead.point].spread_ohm,
                meter=meter,
            )
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
