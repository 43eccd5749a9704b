"""The bench as the rest of the program sees it: its questions stand here once, whatever answers them.

A driver is a `Bench` with four methods of its own: `identify`, `capabilities`, `_answer` (one question, one
answer) and `_disconnect`. What is true of every bench stands in the base: what is asked fits its points and
its abilities, a closed one is asked nothing, and leaving a ``with`` block releases every point, whatever
happened.
"""

from __future__ import annotations

import math
import warnings
from abc import ABC, abstractmethod
from collections.abc import Generator, Sequence
from types import TracebackType
from typing import Self

from loomproof.bench import questions as q
from loomproof.bench.seam import (
    Capabilities,
    Identity,
    Opening,
    PointSet,
    Statistics,
    WatchEvent,
    WatchSummary,
    Wires,
    check_pair,
    points_of,
    tell_end,
)
from loomproof.errors import BenchError, NoBenchError, UnfitError


class Bench(ABC):
    """A pin scanner, a switch matrix with a meter, or a simulator behind its link.

    Used as a context manager: leaving it releases every point and closes the line. All verbs raise
    `NoBenchError` where it is closed, `UnfitError` where it lacks what is asked for, `ValueError` for two
    sets of which one is empty or that overlap, and otherwise the `BenchError` that the hardware met with.
    """

    address = ""
    """The address that it was opened with, as text."""

    _opening: Opening | None = None
    _watched: WatchSummary | None = None
    _holding = False
    _closed = False
    _released = False

    # -- what a driver writes --------------------------------------------------------------------

    @abstractmethod
    def identify(self) -> Identity:
        """Return who answered when it was opened."""

    @abstractmethod
    def capabilities(self) -> Capabilities:
        """Return what it said it can do when it was opened."""

    @abstractmethod
    def _answer(self, question: q.Question) -> q.Answer:
        """Put one question to the hardware, and return its answer: true, or an error under `BenchError`.

        Only what the bench is able to is asked, on points that it has.
        """

    @abstractmethod
    def _disconnect(self) -> None:
        """Give the line back; what is driven has been released as far as that was possible."""

    def _let_go(self) -> bool:
        """Release every point for good. Return whether the bench confirmed it."""
        self._answer(q.Release())
        return True

    def _holds(self, opening: Opening | None = None) -> None:
        """Note that a line is held from now on, by this opening where it is known."""
        self._opening = opening or self._opening
        self._holding, self._closed = True, False

    # -- what may be asked -----------------------------------------------------------------------

    @property
    def opening(self) -> Opening:
        """This opening of the bench, one and the same until it is closed."""
        if self._opening is None:
            raise NoBenchError(f"the bench at {self.address} has not been opened")
        return self._opening

    def ask(self, question: q.Question) -> q.Answer:
        """Put one question, checked; the verbs below say the same with the kind of their answer."""
        if self._closed and not isinstance(question, q.Carried):  # what was carried can still be told
            raise NoBenchError(f"the bench at {self.address} is closed")
        able = self.capabilities()
        if why := q.refusal(question, able):
            raise UnfitError(why)
        asked = q.points_asked(question)
        if not isinstance(question, q.Sense | q.Watch) and asked:
            check_pair(*asked)
        for given in asked:
            if given < 0 or given.bit_length() > able.points:
                raise UnfitError(
                    f"point {points_of(given)[-1] if given > 0 else 0} was asked for; the bench has "
                    f"{able.points} points",
                    cure="Take an adapter that fits this bench, or a bench with more points.",
                )
        return self._answer(question)

    def sense(self, drives: Sequence[PointSet]) -> list[PointSet]:
        """For each set in turn: drive it, wait, read all, release. Return the points that read low."""
        answer = self.ask(question := q.Sense(tuple(drives)))
        if not isinstance(answer, list) or len(answer) != len(drives):
            raise self._unbelieved(question, answer)
        return answer

    def set_settle(self, settle_us: int) -> None:
        """Set the wait between driving and reading, µs."""
        self.ask(q.Settle(settle_us))

    def resistance(self, a: PointSet, b: PointSet, wires: Wires = 2) -> float:
        """Measure from all of ``a`` joined to all of ``b`` joined, Ω; inf where open or over range."""
        return self._reading(q.Resistance(a, b, wires))

    def voltage(self, a: PointSet, b: PointSet) -> float:
        """Measure the voltage found on the loom, ``a`` against ``b``, nothing driven, V."""
        return self._reading(q.Voltage(a, b))

    def diode(self, a: PointSet, b: PointSet) -> float:
        """Measure the forward voltage from ``a`` to ``b``, V; inf where no current flows."""
        return self._reading(q.Diode(a, b))

    def capacitance(self, a: PointSet, b: PointSet) -> float | None:
        """Measure ``a`` joined against ``b`` joined and at 0 V, F; inf over range, ``None`` if unsettled."""
        answer = self.ask(question := q.Capacitance(a, b))
        if answer is None:
            return None
        if not isinstance(answer, int | float) or math.isnan(answer):
            raise self._unbelieved(question, answer)
        return answer

    def sweep(self, black: PointSet, red: PointSet, *, chained: bool = False) -> PointSet | None:
        """Have a person sweep ``red``, the other lead on ``black``; where it beeped, ``None``: left out."""
        answer = self.ask(question := q.Sweep(black, red, chained))
        if answer is None:
            return None
        if not isinstance(answer, list) or len(answer) != 1:
            raise self._unbelieved(question, answer)
        return answer[0]

    def arm(self, volts: float) -> None:
        """Allow one `insulation` at up to this voltage within ten seconds."""
        self.ask(q.Arm(volts))

    def insulation(self, a: PointSet, b: PointSet, volts: float, dwell_ms: int) -> float:
        """Measure insulation resistance, Ω, after `arm`; the loom is discharged before this returns."""
        return self._reading(q.Insulation(a, b, volts, dwell_ms))

    def temperature(self) -> float | None:
        """Measure the temperature at the bench, °C; ``None`` where it cannot."""
        answer = self.ask(question := q.Temperature())
        if answer is not None and not isinstance(answer, int | float):
            raise self._unbelieved(question, answer)
        return answer

    def watch(
        self, sets: Sequence[PointSet], seconds: float | None = None
    ) -> Generator[WatchEvent, None, None]:
        """Sense these sets over and over and yield changes; stop after so long, or when it is closed.

        Raises `LostEventError` where an event was lost on the line and `LinkError` where the watch ended by
        itself: what was not seen is not claimed to be stable. `watched` tells how it ended.
        """
        self._watched = None
        self.ask(q.Watch(tuple(sets), seconds))
        try:
            while (event := self.ask(question := q.NextEvent(len(sets)))) is not None:
                if not isinstance(event, WatchEvent):
                    raise self._unbelieved(question, event)
                yield event
        finally:
            if not self._closed:
                ended = self.ask(q.Watched())
                self._watched = ended if isinstance(ended, WatchSummary) else None

    @property
    def watched(self) -> WatchSummary | None:
        """How the last watch ended; ``None`` before one has."""
        return self._watched

    def confirm(self) -> None:
        """Ask again who it is, on the open connection. Raises `UnfitError` where it is another by now."""
        self.ask(q.Confirm())

    def statistics(self) -> Statistics:
        """Return what the line has carried so far; zeros where there is none."""
        answer = self.ask(q.Carried())
        return answer if isinstance(answer, Statistics) else Statistics()

    def release(self) -> None:
        """Release every point and both buses. Safe at any time, any number of times."""
        self.ask(q.Release())

    def _reading(self, question: q.Question) -> float:
        answer = self.ask(question)
        if not isinstance(answer, int | float) or math.isnan(answer):
            raise self._unbelieved(question, answer)
        return answer

    def _unbelieved(self, question: q.Question, answer: q.Answer) -> UnfitError:
        return UnfitError(
            f"the driver of the bench at {self.address} answered {question} with {answer!r:.80}",
            cure="It is of no use as it is: look for a newer one.",
        )

    # -- the way out -----------------------------------------------------------------------------

    def close(self) -> None:
        """Release and give the line back, once; never raises `BenchError`. `released` says how it went.

        An order to stop that comes in the middle of this is heeded after it.
        """
        if self._closed:
            return
        try:
            try:
                self._end()
            except BaseException:
                self._end()
                raise
        finally:
            self._closed, self._holding = True, False
            self._disconnect()

    def _end(self) -> None:
        try:
            self._released = self._let_go()
        except BenchError:  # the line is gone
            self._released = False

    @property
    def released(self) -> bool:
        """Whether the bench confirmed, when it was closed, that every point is released."""
        return self._released

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            self.close()
        except BaseException as stop:
            tell_end(stop, released=self._released)
            raise
        tell_end(error, released=self._released)

    def __del__(self) -> None:
        """Say so where it was never closed: its points may still be driven."""
        if self._holding:
            warnings.warn(
                f"the bench at {self.address} was never closed; its points may still be driven. "
                "Open it in a with block",
                ResourceWarning,
                stacklevel=2,
                source=self,
            )


class TimedBench(Bench):
    """A bench that knows how long the run has taken: a journaled one, or a journal being replayed."""

    @property
    @abstractmethod
    def elapsed_s(self) -> float:
        """Seconds since the run began."""

    @abstractmethod
    def touched(self, end: str | None) -> bool:
        """Whether a person now holds the probe on this end; ``None``: whether it is off the loom again."""
