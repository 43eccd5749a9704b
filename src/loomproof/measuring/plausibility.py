"""Whether what a bench says of itself can be: a thermometer in a workshop, a meter that can read open."""

from __future__ import annotations

import math

from loomproof.bench.interface import Bench
from loomproof.bench.seam import PointSet
from loomproof.errors import Todo, UnfitError
from loomproof.measuring.clearance import Clearance, require_loom

WORKSHOP_C = (-20.0, 50.0)
"""Temperatures at which a loom is proved. Ours: wider than any bench that a person stands at."""


def temperature_of(bench: Bench) -> float | None:
    """Return the temperature at the bench, °C; ``None`` without a thermometer.

    Limits move with copper's temperature, so a thermometer that lies would move them: `UnfitError` for one
    that tells what no workshop has.
    """
    found = bench.temperature()
    if found is None or WORKSHOP_C[0] <= found <= WORKSHOP_C[1]:
        return found
    raise UnfitError(
        f"the bench's thermometer tells {found:g} °C; {WORKSHOP_C[0]:g} to {WORKSHOP_C[1]:g} °C are expected",
        cure="Limits depend on it: mend the thermometer, or let loom and bench come to a room's temperature.",
    )


def see_open(bench: Bench, clearance: Clearance, used: PointSet, points: int) -> None:
    """See that a bench that only measures can read open, between a point in use and one that is free.

    A loom of one net leaves no two of its points apart, and a stuck switch would read as a good conductor.
    Raises `UnfitError` where nothing is free, or where it does not read open; `SafetyError` without a
    clearance for this bench.
    """
    require_loom(clearance, bench)
    first = used & -used
    spare = next((1 << k for k in range(points) if not used >> k & 1), 0)
    if not spare:
        raise UnfitError(
            "all points are in use and joined by the loom: nothing shows that this bench can read open",
            cure="Leave one point of the bench without a lead.",
        )
    ohm = bench.resistance(first, spare)
    if not math.isinf(ohm):
        raise UnfitError(
            f"points {first.bit_length()} and {spare.bit_length()} have nothing between them and read "
            f"{ohm:.3g} ohm: a switch is stuck, or the meter reads low whatever it is asked",
            cure="Test the bench with the loom off.",
            do=Todo.SELFTEST,
        )
