"""Which grade a bench reaches for a loom, before anything is asked, and what would reach the next one."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple

from loomproof.electrics.uncertainty import COVERAGE
from loomproof.errors import Do, Todo
from loomproof.planning.meter import Meter
from loomproof.planning.plan import PartReading, Plan, conductor_reading_again
from loomproof.results.figures import ohms
from loomproof.results.grade import Grade

TRIED_REPEATS = 10
"""So many readings of each are looked at; more gain little over the bench's own accuracy."""


class Advice(NamedTuple):
    """A sentence that says what would decide more limits, and what the program itself can do for it."""

    text: str
    do: Do | None = None


@dataclass(frozen=True, slots=True)
class Reach:
    """The grade that a sound loom is sure to reach, of how many limits, and what would reach more.

    ``decided`` of ``total`` limits are decided for every sound joint and part; each joint is surely shown
    to be under ``shown_ohm`` (0 without readings). ``advice`` stands in order, the cheapest first.
    """

    grade: Grade
    decided: int
    total: int
    shown_ohm: float
    advice: tuple[Advice, ...] = ()


def reach_of(plan: Plan) -> Reach:
    """Return what this plan reaches on the bench that it was made for."""
    if plan.meter is None:
        return Reach(
            Grade.CONNECTIONS,
            0,
            0,
            0.0,
            (Advice("A bench that measures ohms says how good the joints are."),),
        )
    if not plan.reads_wires:
        said = "Read every wire in ohms as well: that says how good the joints are."
        return Reach(Grade.CONNECTIONS, 0, 0, 0.0, (*map(Advice, _untold(plan)), Advice(said, Do(Todo.OHMS))))
    decided, total, shown_ohm = _count(plan, plan.meter)
    grade = Grade.WIRE if decided == total else Grade.BENCH
    advice = tuple(_advice(plan, plan.meter, decided, total))
    if plan.unmeasured_parts:
        told = map(Advice, _untold(plan))
        return Reach(Grade.CONNECTIONS, decided, total, shown_ohm, (*told, *advice))
    return Reach(grade, decided, total, shown_ohm, advice)


def _untold(plan: Plan) -> Iterator[str]:
    """Say what to do about parts that no reading tells."""
    capacitors = [name for name in plan.unmeasured_parts if name in plan.capacitors]
    others = [name for name in plan.unmeasured_parts if name not in plan.capacitors]
    if others:
        it, they = ("it", "it") if len(others) == 1 else ("them", "they")
        yield (
            f"State the resistance of {', '.join(others)} where none is stated, or take {it} out and say so: "
            f"{they} can't be told from a fault."
        )
    if capacitors:
        it = "it" if len(capacitors) == 1 else "them"
        yield (
            f"Read {', '.join(capacitors)} with a capacitance meter, or take {it} out and say so: to this "
            "bench a charged capacitor reads as one that is missing."
        )


def _advice(plan: Plan, meter: Meter, decided: int, total: int) -> Iterator[Advice]:
    if decided == total:
        return
    if not meter.zeroed and not plan.by_beep:
        # Learned with this meter, its fixed offset goes out with the leads.
        better, _, _ = _count(plan, replace(meter, lead_u_ohm=0.0, zeroed=True))
        if better > decided:
            how = "Zero the leads with this meter"
            yield Advice(f"{how}: up to {better} of {total} limits are then decided.", Do(Todo.ZERO))
    if meter.repeatability_ohm > 0.0 and meter.repeats < TRIED_REPEATS:
        better, _, _ = _count(plan, replace(meter, repeats=TRIED_REPEATS))
        if better > decided:
            how = f"Read each resistance {TRIED_REPEATS} times"
            said = f"{how}: {better} of {total} limits are then decided."
            yield Advice(said, Do(Todo.REPEATS, str(TRIED_REPEATS)))
    needed_ohm = _accuracy_needed(plan)
    how = "A meter" if meter.four_wire is not None else "Four wires, or a meter,"
    yield Advice(f"{how} within ±{ohms(needed_ohm)} at these readings decides every limit.")


def _count(plan: Plan, meter: Meter) -> tuple[int, int, float]:
    """Return how many limits such a meter decides, of how many, and what each joint is shown to be below."""
    readings = [conductor_reading_again(reading, meter) for reading in plan.conductors]
    parts = [part for part in plan.parts if part.part.forward_v is None and math.isfinite(part.upper_ohm)]
    decided = sum(reading.decided for reading in readings)
    decided += sum(_room_ohm(part) >= 2 * meter.uncertainty_ohm(part.upper_ohm, 2) for part in parts)
    shown_ohm = max((reading.shown_ohm for reading in readings), default=0.0)
    return decided, len(readings) + len(parts), shown_ohm


def _room_ohm(part: PartReading) -> float:
    """Return what the limits leave a sound part on either side, twice the half width."""
    return (part.upper_ohm - part.lower_ohm) / 2


def _accuracy_needed(plan: Plan) -> float:
    """Return the limit of error at which every sound joint and part is decided, all else being nothing, Ω.

    U = k a / √3 for a limit of error a (GUM 4.3.7); a sound reading needs 2 U of room.
    """
    rooms = [(reading.limit_ohm - reading.sound_ohm) / 2 for reading in plan.conductors]
    rooms += [_room_ohm(part) / 2 for part in plan.parts if part.part.forward_v is None]
    least = min((room for room in rooms if math.isfinite(room)), default=0.0)
    return max(least, 0.0) * math.sqrt(3.0) / COVERAGE
