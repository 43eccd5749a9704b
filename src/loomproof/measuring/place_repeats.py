"""How often ohms across a touch are read so that its place is known as closely as was asked, or why not.

Where no closeness was asked it is as often as makes what the bench scatters small beside what joints leave
open: a touch in a plug is told from one in the wire behind it by the ohms of two crimps.

The place is x = L/2 + (R1 - R2) / (2 r) with r ohms per metre of both conductors together, so its U (k = 2)
is √(2 s²/n + c²) / r: s is the standard deviation of one reading, n how often each is repeated, and c what
joints and contacts at the four taps leave open, which no repeating makes less.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from loomproof.electrics.expectation import Expectation
from loomproof.electrics.joints import contact_ohm, usual_ohm, wire_joint_ohm
from loomproof.electrics.nets import Net
from loomproof.loom.model import End
from loomproof.results.places import rounded_up

MOST_REPEATS = 100
"""More readings of one path take so long that a bench drifts meanwhile (our convention)."""

MOST_UNASKED = 25
"""So often at most is one path read where no closeness was asked: a touch of two wires takes a hundred
readings then, seconds beside the metres of tape that they save (our convention)."""

DRIFT = 3.0
"""The halves of repeated readings that differ by more standard uncertainties than this have drifted."""


@dataclass(frozen=True, slots=True)
class Repeats:
    """How often each path is read, and what is said of that beside the place."""

    count: int
    said: str


def repeats_for(
    within_m: float, ohm_per_m: float, single_u_ohm: float, fixed_u_ohm: float, least: int = 1
) -> Repeats:
    """Return how often to read for a U (k = 2) of ``within_m``, ``least`` at least, and if it does."""
    left_ohm2 = (within_m * ohm_per_m) ** 2 - fixed_u_ohm**2
    if left_ohm2 <= 0.0:
        least_m = fixed_u_ohm / ohm_per_m if ohm_per_m else math.inf
        return Repeats(
            least,
            f"± {within_m:g} m cannot be reached: joints and contacts alone leave ± {rounded_up(least_m)} m",
        )
    count = max(math.ceil(2.0 * single_u_ohm**2 / left_ohm2 - 1e-9), least)
    if count > MOST_REPEATS:
        return Repeats(
            MOST_REPEATS,
            f"± {within_m:g} m would take {count} readings of each path; more than {MOST_REPEATS} are not "
            "taken, since a bench drifts over them",
        )
    often = "once, which is enough" if count == 1 else f"{count} times"
    return Repeats(count, f"each path was read {often} for ± {within_m:g} m")


def steadied(single_u_ohm: float, fixed_u_ohm: float) -> Repeats:
    """Return how often to read where no closeness was asked: until scatter counts little beside joints.

    That is a quarter of their variance, so that U is 12 % more than it must be; `MOST_UNASKED` at most.
    """
    most = 8.0 * (single_u_ohm / fixed_u_ohm) ** 2 if fixed_u_ohm else math.inf
    count = max(math.ceil(min(most, MOST_UNASKED) - 1e-9), 1)
    return Repeats(count, f"each path was read {count} times against scatter" if count > 1 else "")


def of_touch(
    expectation: Expectation,
    nets: Sequence[Net],
    taps: Iterable[Sequence[End]],
    within_m: float,
    single_u_ohm: float,
    *,
    steady: bool,
) -> Repeats:
    """Return how often the paths between the taps of nets that touch are read; ``within_m`` 0: not asked.

    ``steady``: as often at least as `steadied` says.
    """
    loom = expectation.loom
    greatest: list[float] = []
    for end in (end for pair in taps for end in pair):
        greatest.append(contact_ohm(loom, end))
        greatest += [wire_joint_ohm(loom, wire, end) for wire in loom.wires_at.get(end, ())[:1]]
    fixed_u_ohm = math.hypot(*(usual_ohm(ohm)[1] for ohm in greatest))
    unasked = steadied(single_u_ohm, fixed_u_ohm) if steady else Repeats(1, "")
    if not within_m:
        return unasked
    ohm_per_m = 0.0
    for net in nets[:2]:
        wires = [
            (conductor.nominal_ohm - conductor.joints_ohm, loom.wire_by_name[conductor.name].length_m)
            for _, _, conductor in expectation.conductors.get(net.index, ())
            if conductor.name in loom.wire_by_name
        ]
        known = [(ohm, length_m) for ohm, length_m in wires if length_m]
        length_m = math.fsum(length for _, length in known)
        if not length_m:
            return Repeats(unasked.count, f"± {within_m:g} m cannot be reckoned: lengths are missing")
        ohm_per_m += math.fsum(ohm for ohm, _ in known) / length_m
    return repeats_for(within_m, ohm_per_m, single_u_ohm, fixed_u_ohm, unasked.count)


def drift_ohm(values: Sequence[float], single_u_ohm: float) -> float:
    """Return by how much the second half of repeated readings differs from the first, 0 where by chance."""
    half = len(values) // 2
    if half < 2:
        return 0.0
    moved = math.fsum(values[-half:]) / half - math.fsum(values[:half]) / half
    return abs(moved) if abs(moved) > DRIFT * single_u_ohm * math.sqrt(2.0 / half) else 0.0
