"""Reference resistors beside the loom, read before it, after it, and again where it would be blamed.

A meter's gain, offset, range, steps, drift and noise show here, and nothing of the loom does.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from loomproof.bench.references import Reference
from loomproof.bench.seam import Wires
from loomproof.errors import Todo, UnfitError
from loomproof.measuring.ohmmeter import Ohmmeter
from loomproof.results.figures import ohms
from loomproof.results.measured import Judged

ROUNDS = 3
"""So many readings of a reference are taken together: their mean is its reading, their spread the meter's."""

NOISE = 30
"""So often the references are read where the loom would be blamed: noise that comes once in twenty readings
is met in four runs of five."""

NOISE_U = 3.0
"""So many expanded uncertainties off, or apart, six standard ones, chance brings no readings."""


def refuse_wrong_references(ohmmeter: Ohmmeter, references: Sequence[Reference]) -> None:
    """Refuse a meter that reads a reference otherwise than it is, or not the same again: `UnfitError`."""
    for each in references:
        for wires in _ways(ohmmeter, each):
            read = [ohmmeter.asker.resistance(*each.sets, wires) for _ in range(ROUNDS)]
            mean_ohm = math.fsum(read) / ROUNDS
            if _off(ohmmeter, each, mean_ohm, wires) > 1.0:
                raise _unfit(ohmmeter, each, mean_ohm, wires, f"the mean of {ROUNDS} readings")
            if max(read) - min(read) > NOISE_U * _u_ohm(ohmmeter, each.ohm, wires):
                others = " and ".join(ohms(ohm) for ohm in (min(read), max(read)))
                raise _unfit(ohmmeter, each, mean_ohm, wires, f"the mean of readings between {others}")


def refuse_noisy_references(ohmmeter: Ohmmeter, references: Sequence[Reference]) -> None:
    """Refuse a meter that reads a reference far off now and then. Raises `UnfitError`."""
    asked = [(each, wires) for each in references for wires in _ways(ohmmeter, each)]
    for k in range(NOISE if asked else 0):
        each, wires = asked[k % len(asked)]
        read = ohmmeter.asker.resistance(*each.sets, wires)
        if _off(ohmmeter, each, read, wires) > NOISE_U:
            raise _unfit(ohmmeter, each, read, wires, "and read right before")


def checked_by_reference(
    ohmmeter: Ohmmeter, references: Sequence[Reference], judged: Sequence[Judged]
) -> str:
    """Return which reference vouches for the meter, "" where none is known as closely as limits are."""
    least_ohm = min((wire.limit_ohm for wire in judged if not wire.component), default=math.inf)
    for each in references:
        known = [each.u_ohm + _u_ohm(ohmmeter, each.ohm, wires) for wires in _ways(ohmmeter, each)]
        if known and min(known) < least_ohm:
            return f"{_named(each)} read right before the loom and after it"
    return ""


def _ways(ohmmeter: Ohmmeter, reference: Reference) -> tuple[Wires, ...]:
    if reference.ohm >= ohmmeter.meter.over_range_ohm:
        return ()
    return (2,) if ohmmeter.meter.four_wire is None else (2, 4)


def _u_ohm(ohmmeter: Ohmmeter, ohm: float, wires: Wires) -> float:
    # What is fixed in the meter's error goes with zeroed leads, and a reference has none; nor is it copper.
    return replace(ohmmeter.meter, zeroed=False, temperature_u_k=0.0).uncertainty_ohm(ohm, wires)


def _off(ohmmeter: Ohmmeter, reference: Reference, read: float, wires: Wires) -> float:
    """Return how far a reading is off, in what it may be off."""
    may_ohm = reference.u_ohm + _u_ohm(ohmmeter, reference.ohm, wires)
    return abs(read - reference.ohm) / may_ohm


def _named(reference: Reference) -> str:
    known = f" ± {ohms(reference.u_ohm)}" if reference.u_ohm else ""
    return f"the reference of {ohms(reference.ohm)}{known} at points {reference.a} and {reference.b}"


def _unfit(ohmmeter: Ohmmeter, reference: Reference, read: float, wires: Wires, often: str) -> UnfitError:
    told = "open" if math.isinf(read) else ohms(read)
    return UnfitError(
        f"{_named(reference)} reads {told} with {wires} wires, {often}; this meter may be off by "
        f"{ohms(_u_ohm(ohmmeter, reference.ohm, wires))} there: no reading of the loom can be believed",
        cure="Look at the meter's range, zero and leads, and at the resistor itself; then test the bench "
        "with another resistor.",
        do=Todo.RESISTOR,
    )
