"""One factor, or one ceiling, in all that a meter reads: told before parts and wires are accused one by one.

Each rule wants witnesses that no one fault of a loom makes alike: parts of different ohms that are all off by
the same factor, and different conductors that read the same to the last digit of a meter that has more.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

from loomproof.errors import Todo, UnfitError
from loomproof.measuring.controls import charging
from loomproof.planning.plan import Plan
from loomproof.results.figures import ohms
from loomproof.results.measured import Decision, Judged

ALIKE = 1.15
"""Factors within so much of each other are one: parts have tolerances of their own. Our convention."""

OTHER = 1.2
"""Expected ohms that differ by more are different: two wrong parts of one value may be one mistake."""

NOUGHT = 0.05
"""A part that reads less than this share of itself reads as nothing."""

SHARP = 0.2
"""A conductor read to within this share of what is expected has a say in it."""

SAME = 3
"""So many conductors of different nets that read the very same show a ceiling."""

DIGITS = 50.0
"""A meter whose readings differ by so small a part of the ceiling shows more digits than that."""


def refuse_one_factor(plan: Plan, judged: Sequence[Judged]) -> None:
    """Refuse a meter whose readings one factor or one ceiling explains: `UnfitError`."""
    refuse_common_factor(plan, judged)
    refuse_ceiling(plan, judged)


def refuse_common_factor(plan: Plan, judged: Sequence[Judged]) -> None:
    """Refuse a meter that reads all parts of known ohms off by one factor. Raises `UnfitError`.

    Parts of two different values at least, every one outside its limits; no conductor that is read closely
    may say otherwise, and no bad joint in a net that all of them share may explain it.
    """
    left_out = charging(plan)
    parts = [
        r
        for r in judged
        if r.component and r.lower_ohm > 0.0 and math.isfinite(r.expected_ohm) and not left_out & {r.a, r.b}
    ]
    sizes = sorted(r.expected_ohm for r in parts)
    if (
        len(parts) < 2
        or not sizes[-1] > OTHER * sizes[0]
        or any(r.decision is not Decision.FAIL for r in parts)
    ):
        return
    factors = sorted(r.measured_ohm / r.expected_ohm for r in parts)
    nought = factors[-1] < NOUGHT
    if _one_joint_explains(plan, parts):
        return
    if math.isinf(factors[-1]) or not (nought or factors[-1] <= ALIKE * factors[0]):
        return
    for wire in judged:
        close = _close(wire) and not wire.component
        if close and wire.measured_ohm > 2 * factors[-1] * wire.limit_ohm + 2 * wire.uncertainty_ohm:
            return
        if close and wire.measured_ohm < factors[0] * wire.expected_ohm / 2 - 2 * wire.uncertainty_ohm:
            return
    seen = "next to nothing" if nought else f"{factors[0]:.3g} to {factors[-1]:.3g} times what they should"
    raise UnfitError(
        f"all {len(parts)} parts of known ohms, from {ohms(sizes[0])} to {ohms(sizes[-1])}, read {seen}: one "
        "thing is in every reading, the meter's range or its gain",
        cure="Read a known resistance with this meter. If it reads right, the description's parts are not "
        "this loom's.",
        do=Todo.RESISTOR,
    )


def _one_joint_explains(plan: Plan, parts: Sequence[Judged]) -> bool:
    """Whether one added resistance in a net that all of these parts share would make each of them read so."""
    groups = plan.scope.group_of
    shared = set.intersection(*({groups[r.a], groups[r.b]} for r in parts))
    least_ohm = max(r.measured_ohm - r.limit_ohm for r in parts)
    most_ohm = min(r.measured_ohm - r.lower_ohm for r in parts)
    return bool(shared) and 0.0 < least_ohm <= most_ohm


def _close(reading: Judged) -> bool:
    """Whether a reading tells by what factor it is off."""
    finite = math.isfinite(reading.measured_ohm) and math.isfinite(reading.expected_ohm)
    return finite and reading.uncertainty_ohm < SHARP * reading.expected_ohm


def refuse_ceiling(plan: Plan, judged: Sequence[Judged]) -> None:
    """Refuse a meter that reads nothing above a value that different conductors read alike: `UnfitError`."""
    read = [r for r in judged if math.isfinite(r.measured_ohm)]
    most_ohm = max((r.measured_ohm for r in read), default=0.0)
    if Counter(r.measured_ohm for r in read)[most_ohm] < SAME or most_ohm <= 0.0:
        return
    values = sorted({r.measured_ohm for r in read})
    gaps = [b - a for a, b in pairwise(values)]
    if not gaps or min(gaps) > most_ohm / DIGITS:
        return
    alike = {plan.scope.group_of[r.a]: r for r in read if r.measured_ohm == most_ohm}
    expected = sorted(r.expected_ohm for r in alike.values())
    if len(alike) < SAME or expected[-1] <= OTHER * expected[0]:
        return
    raise UnfitError(
        f"{len(alike)} readings of different nets are the very same, {ohms(most_ohm)}, where "
        f"{ohms(expected[0])} to {ohms(expected[-1])} are expected, and none is above: the meter shows no "
        "more",
        cure="Look at the meter's range, and read a known resistance above that.",
        do=Todo.RESISTOR,
    )
