"""What passes over the seam to hardware: point sets, identity, abilities, events, counts, how a use ended.

Points are numbered from 1. A **point set** is a plain ``int``: bit 0 is point 1, bit 1 is point 2, and
so on, exactly as in the scanner link. What may be asked: `questions`; what a bench is: `interface`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import compress
from typing import Literal

PointSet = int
Wires = Literal[2, 4]


def point_set(points: Iterable[int]) -> PointSet:
    """Return the set of these points (numbered from 1). Raises `ValueError` for a number below 1."""
    mask = 0
    for point in points:
        if point < 1:
            raise ValueError(f"point {point}: points are numbered from 1")
        mask |= 1 << (point - 1)
    return mask


def singles(mask: PointSet) -> Iterator[PointSet]:
    """Yield the one-point sets of a set, lowest first."""
    while mask:
        low = mask & -mask
        yield low
        mask ^= low


def points_of(mask: PointSet) -> tuple[int, ...]:
    """Return the points of a set, ascending, numbered from 1."""
    if mask.bit_count() < MANY:
        return tuple(one.bit_length() for one in singles(mask))
    # Taking one bit off a large number costs as much as all of it has; of its digits each costs the same.
    digits = f"{mask:b}".encode().translate(_AS_NUMBERS)
    return tuple(compress(range(1, len(digits) + 1), digits[::-1]))


MANY = 256
"""From so many points on a set is read by its binary digits."""
_AS_NUMBERS = bytes.maketrans(b"01", b"\0\1")


def check_pair(a: PointSet, b: PointSet) -> None:
    """Raise `ValueError` where nothing can be measured from ``a`` to ``b``: one is empty, or they overlap."""
    if not a or not b or a & b:
        raise ValueError("a measurement needs two sets with points, and none in both")


@dataclass(frozen=True, slots=True)
class Accuracy:
    """Limits of error of a resistance reading: ±(``ohm`` + ``ratio`` × reading)."""

    ohm: float
    ratio: float


@dataclass(frozen=True, slots=True)
class CapacitanceAccuracy:
    """Limits of error of a capacitance reading, zeroed: ±(``farad`` + ``ratio`` × reading)."""

    farad: float
    ratio: float


@dataclass(frozen=True, slots=True)
class Identity:
    """Who the bench is; a run is bound to ``serial``."""

    maker: str
    model: str
    serial: str
    firmware: str


@dataclass(frozen=True, slots=True)
class Capabilities:
    """What a bench can do.

    ``sense_ohm``: one point behind a path of less than this to a driven point surely reads low;
    ``clear_ohm``: one point behind more than this surely reads high. Both are ``None`` for a bench that
    cannot sense; m points behind one path divide both by m. ``ohms`` is the range of `resistance`, or
    ``None`` where it has none. ``volt_max`` is ``None`` where voltage cannot be measured.
    ``driver_ohm`` stands in series with each driver, and ``pulled_at_once`` is how many points are pulled up
    in one moment (``None``: all): what sense surely finds follows from them, see `surely_low_ohm` and
    `surely_apart_ohm`. ``farads`` is the range of `capacitance`, ``None`` where it has none;
    ``farad_spread`` the standard deviation of its single readings. ``beep_ohm`` is of a person with a meter
    who is the bench: a path under the first surely beeps, one over the second surely not; ``clips`` is how
    many nets can be joined under one lead. ``wires_in_ohms``: where ohms are read, those of wires are too.
    """

    points: int
    sense_ohm: float | None = 25_000.0
    clear_ohm: float | None = 250_000.0
    settle_min_us: int = 100
    volt_max: float | None = None
    ohms: tuple[float, float] | None = None
    accuracy: Accuracy | None = None
    four_wire: bool = False
    four_wire_accuracy: Accuracy | None = None
    diode: bool = False
    reading_ms: float = 20.0
    test_current_a: float = 0.02
    test_voltage_v: float = 5.0
    insulation_v: float = 0.0
    watch_us: int | None = None
    baud_max: int = 115_200
    other: tuple[tuple[str, str], ...] = ()
    driver_ohm: float = 0.0
    pulled_at_once: int | None = None
    farads: tuple[float, float] | None = None
    farad_accuracy: CapacitanceAccuracy | None = None
    farad_spread: float | None = None
    beep_ohm: tuple[float, float] | None = None
    clips: int = 0
    wires_in_ohms: bool = True

    def surely_low_ohm(self, behind: int) -> float:
        """Return below what path so many points surely read low, the driven one among them, Ω; 0 for none.

        They share path and driver: ``SENSE`` over their number, less the driver's own ohms. A bench that
        cannot sense gives 0.
        """
        sharing = behind if self.pulled_at_once is None else min(behind, self.pulled_at_once)
        return max((self.sense_ohm or 0.0) / sharing - self.driver_ohm, 0.0)

    def surely_apart_ohm(self, one: int, other: int) -> float:
        """Return below what path a sense both ways round surely joins so many points to so many, Ω.

        That is the better of the two ways; 0 where it does not even find metal.
        """
        return max(self._found_under_ohm(one, other), self._found_under_ohm(other, one), 0.0)

    def _found_under_ohm(self, near: int, far: int) -> float:
        """Return the path from a driven net of ``near`` points under which all ``far`` surely read low, Ω.

        The far pull-ups' current flows through path and driver, the near ones' through the driver. Nodal
        equations with pull-ups of P give (SENSE - D (near + far)) / (far (1 + D near / P)); P is at least
        SENSE, as long as a sure low is under half of the supply. Where only some points are pulled up at
        once, the worst mixture counts.
        """
        sense_ohm, d_ohm, most = self.sense_ohm or 0.0, self.driver_ohm, self.pulled_at_once
        mixtures = [(near, far)]
        if most is not None and most < near + far:
            mixtures = [(min(near, most - f), f) for f in range(1, min(far, most) + 1)]
        return min((sense_ohm - d_ohm * (n + f)) / (f * (1.0 + d_ohm * n / sense_ohm)) for n, f in mixtures)


@dataclass(frozen=True, slots=True, eq=False)
class Opening:
    """One opening of one bench: it equals no other, not even a later one of the same bench.

    ``simulated`` says that nothing real hangs on it. What may be driven, and what a document says of the
    bench, rest on this alone; `opening_of` decides it.
    """

    simulated: bool = False


def opening_of(identity: Identity, *, started_here: bool = False) -> Opening:
    """Return a new opening of a bench, simulated where we started the simulator or it is one of ours."""
    ours = identity.maker == "loomproof" and identity.model.startswith("simulated")
    return Opening(simulated=started_here or ours)


MOST_US = 2**64 - 1
"""The time of a watch's event is counted in so many microseconds at most: half a million years."""


@dataclass(frozen=True, slots=True)
class WatchEvent:
    """One change seen by a watch: at ``time_us`` since its start, set ``index`` read ``low``."""

    number: int
    time_us: int
    index: int
    low: PointSet


@dataclass(frozen=True, slots=True)
class WatchSummary:
    """How a watch ended."""

    cycles: int
    events: int
    lost: int


@dataclass(frozen=True, slots=True)
class Statistics:
    """What the line has carried; a bench without a line gives zeros."""

    round_trips: int = 0
    repeated: int = 0
    dropped: int = 0
    bytes_sent: int = 0
    bytes_received: int = 0
    extra: tuple[tuple[str, int], ...] = field(default=())


def total_of(parts: Iterable[Statistics]) -> Statistics:
    """Return what several lines have carried together."""
    found = Statistics()
    for part in parts:
        extra = dict(found.extra)
        for key, count in part.extra:
            extra[key] = extra.get(key, 0) + count
        found = Statistics(
            found.round_trips + part.round_trips,
            found.repeated + part.repeated,
            found.dropped + part.dropped,
            found.bytes_sent + part.bytes_sent,
            found.bytes_received + part.bytes_received,
            tuple(extra.items()),
        )
    return found


def meter_name(identity: Identity, able: Capabilities) -> str:
    """Return what tells a bench's meter from any other: its own name where it is an instrument apart."""
    return dict(able.other).get("meter", f"{identity.maker} {identity.model} {identity.serial}")


RELEASED = "The bench confirmed that every point is released."
NOT_RELEASED = (
    "The bench did not confirm that its points are released: switch it off before you touch the loom."
)
NOTHING_DRIVEN = "Nothing was driven."


def tell_end(error: BaseException | None, *, released: bool | None) -> None:
    """Put onto an error that ended the use of a bench what became of its points, as its note (PEP 678); once.

    ``released`` is whether the bench confirmed it, ``None`` where nothing had been driven.
    """
    if error is not None and not end_told(error):
        error.add_note(NOTHING_DRIVEN if released is None else RELEASED if released else NOT_RELEASED)


def end_told(error: BaseException) -> str:
    """Return what `tell_end` put onto this error; "" where it put nothing."""
    notes: Sequence[str] = getattr(error, "__notes__", ())
    return next((note for note in notes if note in (RELEASED, NOT_RELEASED, NOTHING_DRIVEN)), "")
