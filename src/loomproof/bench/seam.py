"""The seam to hardware: what proof may ask of a bench, whatever stands behind it.

Points are numbered from 1. A **point set** is a plain ``int``: bit 0 is point 1, bit 1 is point 2, and
so on, exactly as in the scanner link. Implementations raise the errors of `loomproof.errors` under
`BenchError` and nothing else; an answer is true or it is an error.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from types import TracebackType
from typing import Literal, Protocol, Self

PointSet = int
Wires = Literal[2, 4]

OVER_RANGE_OHM = math.inf
"""What `Bench.resistance`, `insulation` and `diode` return for over range or open."""


def point_set(points: Iterable[int]) -> PointSet:
    """Return the set of these points (numbered from 1). Raises `ValueError` for a number below 1."""
    mask = 0
    for point in points:
        if point < 1:
            raise ValueError(f"point {point}: points are numbered from 1")
        mask |= 1 << (point - 1)
    return mask


def points_of(mask: PointSet) -> tuple[int, ...]:
    """Return the points of a set, ascending, numbered from 1."""
    found = []
    while mask:
        low = mask & -mask
        found.append(low.bit_length())
        mask ^= low
    return tuple(found)


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


class Bench(Protocol):
    """A pin scanner, a switch matrix with a meter, or a simulator behind its link.

    Used as a context manager: leaving it releases every point and closes the line, whatever happened.
    """

    @property
    def address(self) -> str:
        """The address that it was opened with, as text."""
        ...

    @property
    def opening(self) -> Opening:
        """This opening of the bench, one and the same until it is closed."""
        ...

    def identify(self) -> Identity:
        """Ask who it is."""
        ...

    def confirm(self) -> None:
        """Ask again who it is, on the open connection. Raises `UnfitError` where it is another by now."""
        ...

    def capabilities(self) -> Capabilities:
        """Ask what it can do (asked once per connection)."""
        ...

    def set_settle(self, settle_us: int) -> None:
        """Set the wait between driving and reading, µs."""
        ...

    def sense(self, drives: Sequence[PointSet]) -> list[PointSet]:
        """For each set in turn: drive it, wait, read all, release. Return the points that read low."""
        ...

    def resistance(self, a: PointSet, b: PointSet, wires: Wires = 2) -> float:
        """Measure from all of ``a`` joined to all of ``b`` joined, Ω; `OVER_RANGE_OHM` where open."""
        ...

    def voltage(self, a: PointSet, b: PointSet) -> float:
        """Measure the voltage found on the loom, ``a`` against ``b``, nothing driven, V."""
        ...

    def diode(self, a: PointSet, b: PointSet) -> float:
        """Measure the forward voltage from ``a`` to ``b``, V; ``math.inf`` where no current flows."""
        ...

    def insulation(self, a: PointSet, b: PointSet, volts: float, dwell_ms: int) -> float:
        """Measure insulation resistance, Ω. The bench must have been armed with `arm`."""
        ...

    def arm(self, volts: float) -> None:
        """Allow one `insulation` at up to this voltage within ten seconds."""
        ...

    def temperature(self) -> float | None:
        """Measure the temperature at the bench, °C; ``None`` where it cannot."""
        ...

    def watch(self, sets: Sequence[PointSet], seconds: float | None = None) -> Iterator[WatchEvent]:
        """Sense these sets over and over and yield changes; stop after so long, or when it is closed.

        An event lost on the line is a `LostEventError`: what was not seen is not claimed to be stable.
        """
        ...

    @property
    def watched(self) -> WatchSummary | None:
        """How the last watch ended; ``None`` before one has."""
        ...

    def release(self) -> None:
        """Release every point and both buses. Safe to call at any time, any number of times."""
        ...

    def close(self) -> None:
        """Release and give the line back. Safe to call any number of times; never raises `BenchError`."""
        ...

    @property
    def released(self) -> bool:
        """Whether the bench, when it was closed, confirmed that every point is released."""
        ...

    def statistics(self) -> Statistics:
        """Return what the line has carried so far."""
        ...

    def __enter__(self) -> Self: ...

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...
