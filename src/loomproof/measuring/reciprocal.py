"""What no loom does, whatever is wrong with it: told before a path that conducts one way is blamed on it.

Below `LINEAR_V` across it nothing in a loom rectifies: no junction between the two is on, and a network of
resistances reads the same both ways round (reciprocity: H. A. Lorentz 1896, any textbook of circuits). A
pair that steadily reads like metal one way round and otherwise the other has a relay between: one that does
not close to one of the buses, or never opens.

What ohms find to pass half of the meter's current, or a diode's share one way only, the diode test finds to
conduct as well.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice

from loomproof.errors import Todo, UnfitError
from loomproof.measuring.controls import charging
from loomproof.measuring.ohmmeter import Ohmmeter
from loomproof.planning.plan import Plan
from loomproof.results.figures import ohms
from loomproof.results.measured import Decision, Judged, JudgedDiode, Path

LINEAR_V = 0.15
"""No junction passes milliamperes at less: germanium and Schottky diodes begin at some 0.2 V (handbooks)."""

METAL_OHM = 10.0
"""Nor does this rule speak of more, whatever current a meter says that it has at most. Our convention."""

ROUNDS = 5
"""So often each is read both ways in turn; a contact at a few hertz is met both open and closed by then."""

MOST_PAIRS = 6
"""So many pairs are looked at; one that stays so is enough."""


def refuse_rectifying_metal(ohmmeter: Ohmmeter, pairs: Iterable[tuple[int, int]]) -> None:
    """Refuse a bench on which a pair of point sets reads like metal one way round only: `UnfitError`."""
    for a, b in islice(dict.fromkeys(pairs), MOST_PAIRS):
        seen = _one_way(ohmmeter, a, b)
        if seen is None:
            continue
        source, sink, low_ohm, high_ohm = seen
        p, q = source.bit_length(), sink.bit_length()
        ends = [str(ohmmeter.scope.end_of[point]) for point in (p, q)]
        raise UnfitError(
            f"{ends[0]} to {ends[1]} (points {p} and {q}) reads {ohms(low_ohm)}, and "
            f"{'open' if math.isinf(high_ohm) else ohms(high_ohm)} the other way round, {ROUNDS} times of "
            f"{ROUNDS}: so few ohms conduct both ways in any loom",
            cure="A relay of the bench sticks or does not close: look at those of these points, on both "
            "buses, then test the bench.",
            do=Todo.SELFTEST,
        )


def suspects(
    plan: Plan,
    judged: Sequence[Judged],
    diodes: Sequence[JudgedDiode],
    one_way: Sequence[tuple[int, int]],
    leaks: Sequence[Path],
) -> Iterator[tuple[int, int]]:
    """Yield the pairs that would be blamed on the loom: open conductors, one-way paths, bad parts, leaks.

    Of parts and paths not those that a capacitor lies at: charged by the reading before, it reads one way
    what it did not the other.
    """
    bit, charged = plan.scope.bit, charging(plan)
    charged_points = sum(map(bit, charged))
    yield from (pair for pair in one_way if not (pair[0] | pair[1]) & charged_points)
    for reading in judged:
        open_or_part = bool(reading.component) or math.isinf(reading.measured_ohm)
        left_out = bool(reading.component) and charged & {reading.a, reading.b}
        if reading.decision is Decision.FAIL and open_or_part and not left_out:
            yield bit(reading.a), bit(reading.b)
    for diode in diodes:
        if diode.decision is Decision.FAIL and not charged & {diode.anode, diode.cathode}:
            yield bit(diode.anode), bit(diode.cathode)
    for leak in leaks:
        if not charged & {leak.a, leak.b}:
            yield bit(leak.a), bit(leak.b)


def refuse_one_way_resistors(plan: Plan, ohmmeter: Ohmmeter, judged: Iterable[Judged]) -> None:
    """Refuse a bench on which a part reads right one way round and open the other: `UnfitError`.

    A diode in the part's place may read as many ohms by chance. What tells a relay is metal beside it: each
    point of the part against one of its own net reads both ways, or it is the relay of that point.
    """
    known = {r.part.component for r in plan.parts if not r.part.charges and math.isfinite(r.upper_ohm)}
    for reading in judged:
        if reading.component not in known or math.isfinite(reading.measured_ohm):
            continue
        a, b = ohmmeter.scope.bit(reading.a), ohmmeter.scope.bit(reading.b)
        u_ohm = ohmmeter.meter.uncertainty_ohm(reading.limit_ohm, 2)
        if all(
            math.isinf(ohmmeter.asker.resistance(a, b))
            and reading.lower_ohm - u_ohm <= ohmmeter.read_sets(b, a)[0] <= reading.limit_ohm + u_ohm
            for _ in range(ROUNDS)
        ):
            refuse_rectifying_metal(ohmmeter, _mates(plan, reading))


def _mates(plan: Plan, reading: Judged) -> Iterator[tuple[int, int]]:
    """Yield both points of a reading, each with another point of its net."""
    scope = plan.scope
    for end in (reading.a, reading.b):
        own = scope.bit(end)
        others = scope.groups[scope.group_of[end]].points & ~own
        if others:
            yield own, others & -others


def refuse_blind_diode_test(ohmmeter: Ohmmeter, diodes: Iterable[JudgedDiode]) -> None:
    """Refuse a diode test that finds no current where ohms steadily find a diode. Raises `UnfitError`."""
    asker, meter, bit = ohmmeter.asker, ohmmeter.meter, ohmmeter.scope.bit
    # Across twice this the meter keeps half of its voltage, which lights any indicator and passes any diode.
    most_ohm = meter.test_voltage_v / meter.test_current_a / 2
    for diode in diodes:
        if diode.decision is not Decision.FAIL or diode.unit != "V" or math.isfinite(diode.forward):
            continue
        a, b = bit(diode.anode), bit(diode.cathode)
        if all(
            (
                asker.resistance(a, b) < most_ohm
                or (asker.resistance(a, b) < 2 * most_ohm and math.isinf(asker.resistance(b, a)))
            )
            and math.isinf(asker.diode(a, b))
            for _ in range(ROUNDS)
        ):
            raise UnfitError(
                f"the diode test finds no current from {diode.anode} to {diode.cathode}, and ohms find "
                f"a path of {diode.component} or beside it that passes it, {ROUNDS} times of {ROUNDS}",
                cure="The diode test of the bench is at fault: read a diode by itself with it.",
            )


def _one_way(ohmmeter: Ohmmeter, a: int, b: int) -> tuple[int, int, float, float] | None:
    """Return source, sink and both readings, Ω, of a pair that is metal one way only, every time."""
    most_ohm = min(METAL_OHM, LINEAR_V / ohmmeter.meter.test_current_a)
    found: tuple[int, int, float, float] | None = None
    for _ in range(ROUNDS):
        (forward, forward_u), (backward, backward_u) = ohmmeter.read_sets(a, b), ohmmeter.read_sets(b, a)
        low, high = min(forward, backward), max(forward, backward)
        u_ohm = sum(u for u in (forward_u, backward_u) if math.isfinite(u))
        way = (a, b) if forward < backward else (b, a)
        if low + u_ohm > most_ohm or high <= low + 2 * u_ohm or (found is not None and found[:2] != way):
            return None
        found = (*way, low, high)
    return found
