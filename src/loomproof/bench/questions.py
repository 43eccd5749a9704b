"""What a bench can be asked, as values: what each question needs, and how it stands in a journal.

A `Question` is one bounded exchange; `refusal` says why a bench cannot be asked it. In a journal a question
is a JSON list that begins with its word, and its answer what `plain_answer` makes of it; an infinite value
stands as ``"open"``. The readers raise `ValueError` for whatever the writers would not have written.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, fields
from typing import Any, assert_never

from loomproof.bench.frames import read_set, write_set
from loomproof.bench.seam import (
    MOST_US,
    Capabilities,
    PointSet,
    Statistics,
    WatchEvent,
    WatchSummary,
    Wires,
)

OPEN = "open"
MOST = 9.9e37
"""What no reading reaches: SCPI's infinity."""


@dataclass(frozen=True, slots=True)
class Sense:
    """For each set in turn: drive it, wait, read all, release. Answered by the points that read low."""

    drives: tuple[PointSet, ...]


@dataclass(frozen=True, slots=True)
class Settle:
    """From now on wait so long between driving and reading, µs."""

    settle_us: int


@dataclass(frozen=True, slots=True)
class Resistance:
    """Measure from all of ``a`` joined to all of ``b`` joined, Ω; inf where open or over range."""

    a: PointSet
    b: PointSet
    wires: Wires = 2


@dataclass(frozen=True, slots=True)
class Voltage:
    """Measure the voltage found on the loom, ``a`` against ``b``, nothing driven, V."""

    a: PointSet
    b: PointSet


@dataclass(frozen=True, slots=True)
class Diode:
    """Measure the forward voltage from ``a`` to ``b``, V; inf where no current flows."""

    a: PointSet
    b: PointSet


@dataclass(frozen=True, slots=True)
class Capacitance:
    """Measure all of ``a`` joined against all of ``b`` joined and held at 0 V, the rest open, F.

    Inf over range; ``None`` where it does not settle, as where something conducts between the two.
    """

    a: PointSet
    b: PointSet


@dataclass(frozen=True, slots=True)
class Sweep:
    """One lead on all of ``black``, joined, the other over ``red``: answered by the set where it beeped.

    ``chained``: what is silent is clipped to ``black`` before the next of ``red`` is touched. ``None`` where
    the person left it out.
    """

    black: PointSet
    red: PointSet
    chained: bool = False


@dataclass(frozen=True, slots=True)
class Arm:
    """Allow one `Insulation` at up to this voltage within ten seconds."""

    volts: float


@dataclass(frozen=True, slots=True)
class Insulation:
    """Measure insulation resistance, Ω; the loom is discharged before the answer."""

    a: PointSet
    b: PointSet
    volts: float
    dwell_ms: int


@dataclass(frozen=True, slots=True)
class Temperature:
    """Measure the temperature at the bench, °C; ``None`` from one without a thermometer."""


@dataclass(frozen=True, slots=True)
class Watch:
    """Sense these sets over and over, for so long or until `Watched` is asked; answered by `NextEvent`."""

    sets: tuple[PointSet, ...]
    seconds: float | None = None


@dataclass(frozen=True, slots=True)
class NextEvent:
    """Wait for the next event of the watch of so many ``sets``; ``None`` when its time is over."""

    sets: int


@dataclass(frozen=True, slots=True)
class Watched:
    """End the watch, and say how it ended; ``None`` where that is not known."""


@dataclass(frozen=True, slots=True)
class Confirm:
    """Ask again who it is: `UnfitError` where it is another by now."""


@dataclass(frozen=True, slots=True)
class Carried:
    """Say what the line has carried so far; zeros from a bench without a line."""


@dataclass(frozen=True, slots=True)
class Release:
    """Release every point and both buses."""


Question = (
    Sense
    | Settle
    | Resistance
    | Voltage
    | Diode
    | Capacitance
    | Sweep
    | Arm
    | Insulation
    | Temperature
    | Watch
    | NextEvent
    | Watched
    | Confirm
    | Carried
    | Release
)
Answer = list[PointSet] | float | WatchEvent | WatchSummary | Statistics | None


def refusal(question: Question, able: Capabilities) -> str:
    """Return why a bench of these capabilities cannot be asked this; "" where it can."""
    match question:
        case Sense(drives):
            if able.sense_ohm is None:
                return f"this bench cannot sense; sets of points asked for: {len(drives)}"
        case Settle(settle_us):
            if able.sense_ohm is None:
                return f"this bench cannot sense; a settle time of {settle_us} µs means nothing to it"
            if settle_us < able.settle_min_us:
                return f"a settle time of {settle_us} µs is below the bench's least, {able.settle_min_us} µs"
        case Resistance(wires=wires):
            if able.ohms is None:
                return "this bench senses only; it cannot measure ohms"
            if wires == 4 and not able.four_wire:
                return "this bench cannot measure with four wires"
        case Voltage():
            if able.volt_max is None:
                return "this bench cannot measure a voltage on the loom"
        case Diode():
            if not able.diode:
                return "this bench has no diode test"
        case Capacitance():
            if able.farads is None:
                return "this bench cannot measure capacitance"
        case Sweep():
            if able.beep_ohm is None:
                return "this bench is no person with a meter; it makes no sweeps"
        case Arm(volts) | Insulation(volts=volts):
            if not able.insulation_v:
                return f"this bench has no insulation test, at {volts:g} V or any other voltage"
            if volts > able.insulation_v:
                return (
                    f"an insulation test at {volts:g} V is over this bench's largest, {able.insulation_v:g} V"
                )
        case Watch():
            if able.watch_us is None:
                return "this bench cannot watch"
        case Temperature() | NextEvent() | Watched() | Confirm() | Carried() | Release():
            pass
        case _:
            assert_never(question)
    return ""


def points_asked(question: Question) -> tuple[PointSet, ...]:
    """Return the point sets that a question names."""
    match question:
        case Sense(sets) | Watch(sets):
            return sets
        case (
            Resistance(a, b)
            | Voltage(a, b)
            | Diode(a, b)
            | Capacitance(a, b)
            | Insulation(a, b)
            | Sweep(a, b)
        ):
            return a, b
        case Settle() | Arm() | Temperature() | NextEvent() | Watched() | Confirm() | Carried() | Release():
            return ()
        case _:
            assert_never(question)


# -- writing -------------------------------------------------------------------------------------


def plain(question: Question) -> list[Any]:
    """Return a question as a journal holds it."""
    match question:
        case Sense(drives):
            return ["sense", [write_set(drive) for drive in drives]]
        case Settle(settle_us):
            return ["settle", settle_us]
        case Resistance(a, b, wires):
            return ["resistance", write_set(a), write_set(b), wires]
        case Voltage(a, b):
            return ["voltage", write_set(a), write_set(b)]
        case Diode(a, b):
            return ["diode", write_set(a), write_set(b)]
        case Sweep(black, red, chained):
            return ["sweep", write_set(black), write_set(red), chained]
        case Capacitance(a, b):
            return ["capacitance", write_set(a), write_set(b)]
        case Arm(volts):
            return ["arm", volts]
        case Insulation(a, b, volts, dwell_ms):
            return ["insulation", write_set(a), write_set(b), volts, dwell_ms]
        case Temperature():
            return ["temperature"]
        case Watch(sets, seconds):
            return ["watch", [write_set(each) for each in sets], seconds]
        case NextEvent():
            return ["event"]
        case Watched():
            return ["watched"]
        case Confirm():
            return ["confirm"]
        case Carried():
            return ["statistics"]
        case Release():
            return ["release"]
        case _:
            assert_never(question)


def plain_answer(answer: Answer) -> object:
    """Return an answer as a journal holds it."""
    match answer:
        case None:
            return None
        case list():
            return [write_set(low) for low in answer]
        case int() | float():
            return OPEN if math.isinf(answer) else answer
        case WatchEvent():
            return [answer.number, answer.time_us, answer.index, write_set(answer.low)]
        case WatchSummary():
            return [answer.cycles, answer.events, answer.lost]
        case Statistics():
            return asdict(answer)
        case _:
            assert_never(answer)


# -- reading -------------------------------------------------------------------------------------


def read_answer(question: Question, said: object, points: int) -> Answer:
    """Read what a bench with so many points answered to this question."""
    match question:
        case Sense(drives):
            return _sets(said, len(drives), points)
        case Resistance() | Voltage() | Diode() | Insulation():
            return math.inf if said == OPEN else read_number(said)
        case Temperature():
            return None if said is None else read_number(said)
        case Sweep(red=red):
            return None if said is None else _within(_sets(said, 1, points), red)
        case Capacitance():
            return None if said is None else math.inf if said == OPEN else read_number(said)
        case NextEvent(sets):
            return None if said is None else _event(said, sets, points)
        case Watched():
            return None if said is None else WatchSummary(*_counts(said, 3))
        case Carried():
            return _statistics(said)
        case Settle() | Arm() | Watch() | Confirm() | Release():
            if said is not None:
                raise ValueError("nothing was expected")
            return None
        case _:
            assert_never(question)


def _sets(said: object, count: int, points: int) -> list[PointSet]:
    if not isinstance(said, list) or len(said) != count:
        raise ValueError(f"{count} point sets were expected")
    return [read_set(read_text(each), points) for each in said]


def _within(sets: list[PointSet], whole: PointSet) -> list[PointSet]:
    if any(each & ~whole for each in sets):
        raise ValueError("a beep at a point that was not touched")
    return sets


def _event(said: object, sets: int, points: int) -> WatchEvent:
    if not isinstance(said, list) or len(said) != 4:
        raise ValueError("a watch event has four fields")
    number, time_us, index = _counts(said[:3], 3)
    if index >= sets:
        raise ValueError(f"the watch had {sets} sets")
    if time_us > MOST_US:
        raise ValueError("the time of an event has at most 64 bits")
    return WatchEvent(number, time_us, index, read_set(read_text(said[3]), points))


def _statistics(said: object) -> Statistics:
    if not isinstance(said, dict):
        raise ValueError("an object was expected")
    given = dict(said)
    extra = given.pop("extra", ())
    counts = {str(key): read_count(value) for key, value in given.items()}
    names = {field.name for field in fields(Statistics)} - {"extra"}
    if counts.keys() != names or not isinstance(extra, list):
        raise ValueError(f"the counts {', '.join(sorted(names))} were expected")
    return Statistics(**counts, extra=tuple((read_text(key), read_count(value)) for key, value in extra))


def _counts(said: object, count: int) -> list[int]:
    if not isinstance(said, list) or len(said) != count:
        raise ValueError(f"{count} counts were expected")
    return [read_count(each) for each in said]


def read_text(value: object) -> str:
    """Read a text."""
    if not isinstance(value, str):
        raise ValueError(f"{value!r} is no text")
    return value


def read_count(value: object) -> int:
    """Read a whole number from 0."""
    if not isinstance(value, int) or isinstance(value, bool) or value < 0:
        raise ValueError(f"{value!r} is no count")
    return value


def read_number(value: object) -> float:
    """Read a number below SCPI's infinity."""
    if not isinstance(value, bool) and isinstance(value, int | float) and abs(value) < MOST:
        return float(value)
    raise ValueError(f"{value!r} is no number")
