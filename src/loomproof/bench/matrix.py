"""A switch matrix and a meter as a bench: it measures ohms and cannot sense.

Every reading opens all crosspoints, closes those of the two sets, waits, measures, and opens all again,
whatever happened in between. After a closed crosspoint the matrix is asked for ``*OPC?``, so that a command
that got lost is an error and not an open circuit.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Iterator, Sequence
from types import TracebackType
from typing import Self

from loomproof.bench.frames import read_number
from loomproof.bench.parsing import read_identity
from loomproof.bench.profile import Profile
from loomproof.bench.seam import (
    Capabilities,
    Identity,
    PointSet,
    Statistics,
    WatchEvent,
    WatchSummary,
    Wires,
    check_pair,
    points_of,
)
from loomproof.bench.visa import Instrument
from loomproof.errors import BenchError, LinkError, NoBenchError, RefusedError, UnfitError


class MatrixBench:
    """A switch matrix with a meter, as a profile describes them; ``meter`` may be the same instrument."""

    def __init__(
        self,
        matrix: Instrument,
        meter: Instrument,
        profile: Profile,
        address: str,
        *,
        wait: Callable[[float], None] = time.sleep,
    ) -> None:
        self._matrix = matrix
        self._meter = meter
        self._profile = profile
        self._address = address
        self._wait = wait
        self._asked = 0
        self._closed = False
        try:
            try:
                self._identity = read_identity(self._ask(matrix, "*IDN?"))
            except LinkError as error:
                raise NoBenchError(
                    f"nothing at {address} answers as an instrument: {error.message}",
                    cure="Is it switched on, and is its address right?",
                ) from error
            for command in profile.setup:
                meter.tell(command)
            self.release()
        except BaseException:
            self.close()
            raise

    @property
    def address(self) -> str:
        """The address that it was opened with."""
        return self._address

    def identify(self) -> Identity:
        """Return what the matrix calls itself."""
        return self._identity

    def capabilities(self) -> Capabilities:
        """Return what the profile says."""
        profile = self._profile
        return Capabilities(
            points=profile.points,
            sense_ohm=None,
            clear_ohm=None,
            ohms=profile.ohms,
            accuracy=profile.accuracy,
            four_wire=bool(profile.measure_four),
            four_wire_accuracy=profile.accuracy_four,
            reading_ms=profile.reading_ms,
            test_current_a=profile.test_current_a,
            test_voltage_v=profile.test_voltage_v,
            other=(("profile", profile.name),),
        )

    def set_settle(self, settle_us: int) -> None:
        """Refuse: the settle time stands in the profile."""
        raise UnfitError(f"this bench cannot sense; a settle time of {settle_us} µs means nothing to it")

    def sense(self, drives: Sequence[PointSet]) -> list[PointSet]:
        """Refuse: a matrix and a meter measure ohms only."""
        raise UnfitError(f"this bench cannot sense; {len(drives)} sets were asked for")

    def resistance(self, a: PointSet, b: PointSet, wires: Wires = 2) -> float:
        """Measure from all of ``a`` joined to all of ``b`` joined, Ω; inf where open or over range."""
        profile = self._profile
        if wires == 4 and not profile.measure_four:
            raise UnfitError("this bench cannot measure with four wires")
        check_pair(a, b)
        if (a | b).bit_length() > profile.points:
            raise UnfitError(
                f"point {(a | b).bit_length()} was asked for; the bench has {profile.points} points"
            )
        count = 1 if wires == 2 else 2
        channels = [
            profile.crosspoint(row, point)
            for rows, points in ((profile.rows_a, a), (profile.rows_b, b))
            for row in rows[:count]
            for point in points_of(points)
        ]
        try:
            self._matrix.tell(profile.open_all)
            self._matrix.tell(profile.close.format(channels=",".join(channels)))
            self._done()
            self._wait(profile.settle_ms / 1000.0)
            text = self._ask(self._meter, profile.measure if wires == 2 else profile.measure_four)
        except BaseException:
            with contextlib.suppress(BenchError):  # the first error is the one to tell
                self.release()
            raise
        self.release()
        try:
            value = read_number(text)
        except ValueError as error:
            raise LinkError(f"the meter answered without a reading: {error}") from None
        return float("inf") if value > profile.ohms[1] else value

    def voltage(self, a: PointSet, b: PointSet) -> float:
        """Refuse: put a meter reading of a person in its place."""
        raise UnfitError("this bench cannot measure a voltage on the loom")

    def diode(self, a: PointSet, b: PointSet) -> float:
        """Refuse: the profile has no diode test."""
        raise UnfitError("this bench has no diode test")

    def insulation(self, a: PointSet, b: PointSet, volts: float, dwell_ms: int) -> float:
        """Refuse: the profile has no insulation test."""
        raise UnfitError("this bench has no insulation test")

    def arm(self, volts: float) -> None:
        """Refuse: the profile has no insulation test."""
        raise UnfitError(f"this bench has no insulation test, at {volts:g} V or any other voltage")

    def temperature(self) -> float | None:
        """Return ``None``: it has no thermometer."""
        return None

    def watch(self, sets: Sequence[PointSet], seconds: float | None = None) -> Iterator[WatchEvent]:
        """Refuse: a bench that cannot sense cannot watch."""
        raise UnfitError("this bench cannot watch")

    @property
    def watched(self) -> WatchSummary | None:
        """``None``: it cannot watch."""
        return None

    def release(self) -> None:
        """Open every crosspoint, and hear that it is done."""
        self._matrix.tell(self._profile.open_all)
        self._done()

    def close(self) -> None:
        """Open every crosspoint and give the instruments back; never raises `BenchError`."""
        if self._closed:
            return
        self._closed = True
        with contextlib.suppress(BenchError):
            self.release()
        self._matrix.close()
        self._meter.close()

    def statistics(self) -> Statistics:
        """Return how many questions were answered."""
        return Statistics(round_trips=self._asked)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _done(self) -> None:
        if (answer := self._ask(self._matrix, "*OPC?")) != "1":
            raise LinkError(f"the matrix answered *OPC? with {answer!r}; 1 was expected")
        text = self._ask(self._matrix, "SYSTem:ERRor?")
        code, _, words = text.partition(",")
        try:
            number = int(code)
        except ValueError:
            raise LinkError(f"the matrix answered SYSTem:ERRor? with {text!r}") from None
        if number:
            raise RefusedError(
                f"the matrix refused a command: {text}",
                code=number,
                command=words,
                cure="Look at the profile.",
            )

    def _ask(self, instrument: Instrument, question: str) -> str:
        answer = instrument.ask(question)
        self._asked += 1
        return answer
