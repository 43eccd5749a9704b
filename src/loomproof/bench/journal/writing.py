"""Writes the journal: every answer stands in it before it is believed."""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable, Generator, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TypeVar

from loomproof.bench.frames import write_set
from loomproof.bench.journal import lines
from loomproof.bench.link import Clock
from loomproof.bench.seam import (
    Bench,
    Capabilities,
    Identity,
    Opening,
    PointSet,
    Statistics,
    WatchEvent,
    WatchSummary,
    Wires,
    tell_end,
)
from loomproof.errors import BenchError, JournalError

T = TypeVar("T")


class JournaledBench:
    """A bench whose every answer is in the journal before the caller has it.

    The file must not exist yet: a journal is never overwritten. Raises `JournalError` where it cannot be
    written; what could not be written is not believed.
    """

    def __init__(
        self,
        bench: Bench,
        path: Path,
        run: Mapping[str, object] | None = None,
        *,
        clock: Clock = time.monotonic,
        touch: Callable[[str | None], bool] = lambda _: False,
    ) -> None:
        self._bench = bench
        self._touch = touch
        self._path = path
        self._clock = clock
        self._count = 0
        try:
            # Unbuffered: a line is with the operating system when write returns, even if we are killed.
            self._file = path.open("xb", buffering=0)
        except OSError as error:
            raise JournalError(
                f"the journal {path} cannot be made: {error.strerror}",
                cure="Name a new file, in a folder that exists.",
            ) from error
        self._start = clock()
        self._put(
            {
                "schema": lines.SCHEMA,
                "address": bench.address,
                "identity": asdict(bench.identify()),
                "capabilities": asdict(bench.capabilities()),
                "run": dict(run or {}),
            }
        )

    @property
    def path(self) -> Path:
        """Where the journal is."""
        return self._path

    @property
    def elapsed_s(self) -> float:
        """Seconds between header and last line."""
        return self._last

    @property
    def address(self) -> str:
        """The address of the bench."""
        return self._bench.address

    @property
    def opening(self) -> Opening:
        """The opening of the bench that is written down."""
        return self._bench.opening

    def identify(self) -> Identity:
        """Ask who it is; the header holds the answer."""
        return self._bench.identify()

    def confirm(self) -> None:
        """Ask again who it is, and write down that it is the same."""
        self._through(["confirm"], self._bench.confirm, lines.nothing)

    def capabilities(self) -> Capabilities:
        """Ask what it can do; the header holds the answer."""
        return self._bench.capabilities()

    def set_settle(self, settle_us: int) -> None:
        """Set the settle time, µs."""
        self._through(["settle", settle_us], lambda: self._bench.set_settle(settle_us), lines.nothing)

    def sense(self, drives: Sequence[PointSet]) -> list[PointSet]:
        """Sense, and write down sets and answers."""
        return self._through(lines.ask_sense(drives), lambda: self._bench.sense(drives), lines.sets)

    def resistance(self, a: PointSet, b: PointSet, wires: Wires = 2) -> float:
        """Measure resistance, Ω, and write it down."""
        ask = ["resistance", write_set(a), write_set(b), wires]
        return self._through(ask, lambda: self._bench.resistance(a, b, wires), lines.figure)

    def voltage(self, a: PointSet, b: PointSet) -> float:
        """Measure voltage, V, and write it down."""
        ask = ["voltage", write_set(a), write_set(b)]
        return self._through(ask, lambda: self._bench.voltage(a, b), lines.figure)

    def diode(self, a: PointSet, b: PointSet) -> float:
        """Measure forward voltage, V, and write it down."""
        return self._through(
            ["diode", write_set(a), write_set(b)], lambda: self._bench.diode(a, b), lines.figure
        )

    def insulation(self, a: PointSet, b: PointSet, volts: float, dwell_ms: int) -> float:
        """Measure insulation resistance, Ω, and write it down."""
        ask = ["insulation", write_set(a), write_set(b), volts, dwell_ms]
        return self._through(ask, lambda: self._bench.insulation(a, b, volts, dwell_ms), lines.figure)

    def arm(self, volts: float) -> None:
        """Arm the insulation test, and write it down."""
        self._through(["arm", volts], lambda: self._bench.arm(volts), lines.nothing)

    def temperature(self) -> float | None:
        """Measure temperature, °C, and write it down."""
        return self._through(["temperature"], self._bench.temperature, lambda value: value)

    def watch(
        self, sets: Sequence[PointSet], seconds: float | None = None
    ) -> Generator[WatchEvent, None, None]:
        """Watch, and write down each event before it is passed on."""
        ask = ["watch", [write_set(drive) for drive in sets], seconds]
        events = self._through(ask, lambda: iter(self._bench.watch(sets, seconds)), lines.nothing)
        try:
            while True:
                event = self._through(["event"], lambda: next(events, None), lines.event)
                if event is None:
                    return
                yield event
        finally:
            close = getattr(events, "close", None)
            self._through(["watched"], lambda: self._ended(close), lines.summary)

    def _ended(self, close: Callable[[], None] | None) -> WatchSummary | None:
        if close is not None:
            close()
        return self._bench.watched

    @property
    def watched(self) -> WatchSummary | None:
        """How the last watch ended."""
        return self._bench.watched

    def statistics(self) -> Statistics:
        """Return what the line has carried, and write it down: a record tells it."""
        return self._through(["statistics"], self._bench.statistics, asdict)

    def touched(self, end: str | None) -> bool:
        """Have a person hold the probe on an end (``None``: take it off), and write down whether it is so."""
        return self._through(["touched", end], lambda: self._touch(end), bool)

    def release(self) -> None:
        """Release every point and both buses."""
        self._bench.release()

    def close(self) -> None:
        """Close the bench and the journal."""
        try:
            self._bench.close()
        finally:
            self.detach()

    @property
    def released(self) -> bool:
        """Whether the bench confirmed, when it was closed, that every point is released."""
        return self._bench.released

    def detach(self) -> None:
        """Close the journal and leave the bench open, for the next run on it."""
        if not self._file.closed:
            try:
                os.fsync(self._file.fileno())
            finally:
                self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            self.close()
        except BaseException as stop:
            tell_end(stop, released=self._bench.released)
            raise
        tell_end(error, released=self._bench.released)

    def _through(self, ask: list[Any], do: Callable[[], T], plain: Callable[[T], object]) -> T:
        try:
            answer = do()
        except BenchError as error:
            self._line({"ask": ask, "error": lines.error(error)})
            raise
        self._line({"ask": ask, "answer": plain(answer)})
        return answer

    _last = 0.0

    def _line(self, what: dict[str, Any]) -> None:
        self._count += 1
        self._last = round(self._clock() - self._start, 6)
        self._put({"n": self._count, "t": self._last, **what})

    def _put(self, what: dict[str, Any]) -> None:
        data = json.dumps(what, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode() + b"\n"
        try:
            written = self._file.write(data)
        except (OSError, ValueError) as error:
            raise JournalError(
                f"the journal {self._path} cannot be written: {error}",
                cure="Make room, and start the run again.",
            ) from error
        if written != len(data):
            raise JournalError(
                f"the journal {self._path} took half a line", cure="Make room, and start again."
            )
