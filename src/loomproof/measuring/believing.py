"""Whether the meter reads ohms at all: nothing reads below its copper, and something known was read.

A meter that reads nought for everything, or a sense lead that is open, would pass any joint. Where copper has
more than the uncertainty, a reading below it gives the meter away. Where it has less, only a known resistance
shows that the meter reads: a part of the loom with limits that lie closer than a joint's, or a self-test
with resistors.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Sequence

from loomproof.electrics.expectation import Expectation
from loomproof.errors import Todo, UnfitError
from loomproof.loom.model import End
from loomproof.results.figures import ohms, ohms_within
from loomproof.results.measured import Judged, Path, ShorterWay

VOUCH = 2
"""So many readings of other nets, each with leads of its own, that would have shown it and have no less than
their copper: then the meter reads right."""

AGAIN = 3
"""So often a reading below its copper is taken again before the loom is told of it. Our convention."""

Read = Callable[[Judged], tuple[float, float]]
"""Take a reading again: what it reads and its uncertainty, Ω, k = 2."""


def shorter_ways(
    expectation: Expectation,
    judged: Sequence[Judged],
    nets: Collection[frozenset[End]],
    leaks: Sequence[Path],
    temperature_u_k: float,
    read: Read,
) -> tuple[ShorterWay, ...]:
    """Return the readings of one net that are less than its copper has, by more than the uncertainty.

    ``nets`` are those found as described: what others have is not known. A meter that reads too little does
    so in every net. Where one net alone is low, others that would have shown it are not, and the same is read
    again, clearly more than nought as an open sense lead is not, its cavities are joined by a shorter way
    than described. Raises `UnfitError` in every other case of a reading below its copper.
    """
    home = {end: net for net in nets for end in net}
    below: dict[int, list[tuple[Judged, float]]] = {}
    right: list[Judged] = []
    leaking = {end for path in leaks for end in (path.a, path.b)}
    for reading, copper_ohm in _with_copper(expectation, judged, nets, temperature_u_k):
        if reading.bound_ohm < copper_ohm:
            # A leak may be what lowers it; it vouches for the meter all the same where it is not low.
            if leaking.isdisjoint(home[reading.a]):
                below.setdefault(expectation.net_of[reading.a], []).append((reading, copper_ohm))
        elif reading.uncertainty_ohm < expectation.copper_between_ohm(reading.a, reading.b, temperature_u_k):
            right.append(reading)
    vouched = len(below) == 1 and _apart(r for r in right if expectation.net_of[r.a] not in below) >= VOUCH
    found = [low for lows in below.values() for low in lows]
    for reading, copper_ohm in found:
        if not (vouched and all(_stays(reading, copper_ohm, *read(reading)) for _ in range(AGAIN))):
            raise UnfitError(
                f"{reading.a} to {reading.b} reads {ohms(reading.measured_ohm)} with an uncertainty of "
                f"{ohms(reading.uncertainty_ohm)}, and copper alone has {ohms(copper_ohm)} there at least: "
                "the meter or its leads are wrong",
                cure="Look for an open sense lead and for leads that were zeroed wrongly, then test the "
                "meter with a resistor. If it reads right, length or section of the wires there are not as "
                "described.",
                do=Todo.RESISTOR,
            )
    return tuple(
        ShorterWay(reading.a, reading.b, reading.measured_ohm, reading.uncertainty_ohm, copper_ohm)
        for reading, copper_ohm in found
    )


def _apart(readings: Iterable[Judged]) -> int:
    """Return how many readings have cavities, and so leads, that none before them had."""
    seen: set[End] = set()
    count = 0
    for reading in readings:
        if seen.isdisjoint((reading.a, reading.b)):
            seen |= {reading.a, reading.b}
            count += 1
    return count


def _stays(reading: Judged, copper_ohm: float, ohm: float, u_ohm: float) -> bool:
    """Whether a reading below its copper comes again as it was, and is a resistance at all."""
    return u_ohm < ohm < copper_ohm - u_ohm and abs(ohm - reading.measured_ohm) <= u_ohm


def checked_by(judged: Sequence[Judged]) -> str:
    """Return which part of this run vouches for the meter, "" where none does.

    A part within its limits shows what the meter reads to within the width of those limits and its
    uncertainty: it vouches for nothing where a conductor's limit is below that. Copper vouches for nothing:
    what joints add to it is not known, so it shows that the meter does not read nought and no gain.
    """
    least_ohm = min((wire.limit_ohm for wire in judged if not wire.component), default=math.inf)
    for part in judged:
        known = part.component and part.lower_ohm > 0.0 and part.limit_ohm < math.inf and not part.beyond
        if not known or part.measured_ohm - part.uncertainty_ohm <= part.lower_ohm / 2:
            continue
        off_ohm = part.limit_ohm - part.lower_ohm + part.uncertainty_ohm
        if off_ohm < least_ohm:
            return f"{part.component} of the loom read {_figure(part)}, within its limits"
    return ""


def _with_copper(
    expectation: Expectation,
    judged: Sequence[Judged],
    nets: Collection[frozenset[End]],
    temperature_u_k: float,
) -> list[tuple[Judged, float]]:
    """Return the readings within nets found as described, each with what copper leaves there at least."""
    home = {end: net for net in nets for end in net}
    copper: dict[int, float] = {}
    found = []
    for reading in judged:
        whole = home.get(reading.a)
        if reading.component or math.isinf(reading.measured_ohm) or whole is None or reading.b not in whole:
            continue
        net = expectation.net_of[reading.a]
        if net not in copper:
            copper[net] = expectation.copper_ohm(net, temperature_u_k)
        if copper[net] > 0.0:
            found.append((reading, copper[net]))
    return found


def _figure(reading: Judged) -> str:
    return ohms_within(reading.measured_ohm, reading.uncertainty_ohm)
