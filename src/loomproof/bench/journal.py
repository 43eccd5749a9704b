"""The journal of raw readings: written before an answer is believed, and answered from on replay.

One JSON object a line, UTF-8. The first is the header: ``schema``, ``address``, ``identity``,
``capabilities`` and ``run``, the mapping that the caller passed in. Each further line is one exchange:
``n`` counts from 1, ``t`` is seconds since the header, ``ask`` the question, and ``answer`` what the bench
said, or ``error`` what went wrong. An infinite value stands as ``"open"``.
"""

from __future__ import annotations

import json
import math
import os
import time
from collections.abc import Callable, Generator, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TypeVar

import loomproof.errors as errors
from loomproof.bench.frames import write_set
from loomproof.bench.link import Clock
from loomproof.bench.seam import (
    Accuracy,
    Bench,
    Capabilities,
    Identity,
    PointSet,
    Statistics,
    WatchEvent,
    WatchSummary,
    Wires,
)
from loomproof.errors import BenchError, JournalError, RefusedError

SCHEMA = 1
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
    ) -> None:
        self._bench = bench
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
                "schema": SCHEMA,
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

    def identify(self) -> Identity:
        """Ask who it is; the header holds the answer."""
        return self._bench.identify()

    def capabilities(self) -> Capabilities:
        """Ask what it can do; the header holds the answer."""
        return self._bench.capabilities()

    def set_settle(self, settle_us: int) -> None:
        """Set the settle time, µs."""
        self._through(["settle", settle_us], lambda: self._bench.set_settle(settle_us), _nothing)

    def sense(self, drives: Sequence[PointSet]) -> list[PointSet]:
        """Sense, and write down sets and answers."""
        return self._through(_ask_sense(drives), lambda: self._bench.sense(drives), _sets)

    def resistance(self, a: PointSet, b: PointSet, wires: Wires = 2) -> float:
        """Measure resistance, Ω, and write it down."""
        ask = ["resistance", write_set(a), write_set(b), wires]
        return self._through(ask, lambda: self._bench.resistance(a, b, wires), _figure)

    def voltage(self, a: PointSet, b: PointSet) -> float:
        """Measure voltage, V, and write it down."""
        ask = ["voltage", write_set(a), write_set(b)]
        return self._through(ask, lambda: self._bench.voltage(a, b), _figure)

    def diode(self, a: PointSet, b: PointSet) -> float:
        """Measure forward voltage, V, and write it down."""
        return self._through(["diode", write_set(a), write_set(b)], lambda: self._bench.diode(a, b), _figure)

    def insulation(self, a: PointSet, b: PointSet, volts: float, dwell_ms: int) -> float:
        """Measure insulation resistance, Ω, and write it down."""
        ask = ["insulation", write_set(a), write_set(b), volts, dwell_ms]
        return self._through(ask, lambda: self._bench.insulation(a, b, volts, dwell_ms), _figure)

    def arm(self, volts: float) -> None:
        """Arm the insulation test, and write it down."""
        self._through(["arm", volts], lambda: self._bench.arm(volts), _nothing)

    def temperature(self) -> float | None:
        """Measure temperature, °C, and write it down."""
        return self._through(["temperature"], self._bench.temperature, lambda value: value)

    def watch(
        self, sets: Sequence[PointSet], seconds: float | None = None
    ) -> Generator[WatchEvent, None, None]:
        """Watch, and write down each event before it is passed on."""
        ask = ["watch", [write_set(drive) for drive in sets], seconds]
        events = self._through(ask, lambda: iter(self._bench.watch(sets, seconds)), _nothing)
        try:
            while True:
                event = self._through(["event"], lambda: next(events, None), _event)
                if event is None:
                    return
                yield event
        finally:
            close = getattr(events, "close", None)
            self._through(["watched"], lambda: self._ended(close), _summary)

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

    def release(self) -> None:
        """Release every point and both buses."""
        self._bench.release()

    def close(self) -> None:
        """Close the bench and the journal."""
        try:
            self._bench.close()
        finally:
            self.detach()

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
        self.close()

    def _through(self, ask: list[Any], do: Callable[[], T], plain: Callable[[T], object]) -> T:
        try:
            answer = do()
        except BenchError as error:
            self._line({"ask": ask, "error": _plain_error(error)})
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


class ReplayBench:
    """A bench that answers from a journal, question by question.

    Raises `JournalError` that names the line where the question asked differs from the one written
    down, and where the journal ends before the run does.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        try:
            data = path.read_bytes()
        except OSError as error:
            raise JournalError(f"the journal {path} cannot be read: {error.strerror}") from error
        self._texts = data.split(b"\n")
        self._whole = self._texts.pop() == b""
        self._at = 1
        self._last = 0.0
        self._watched: WatchSummary | None = None
        if not self._texts or (len(self._texts) == 1 and not self._whole):
            raise JournalError(f"the journal {path} has no header", cure="The run ended before it began.")
        head = self._parsed(0)
        if head.get("schema") != SCHEMA:
            raise JournalError(
                f"{path}, line 1: a journal header of schema {SCHEMA} was expected", cure="Is it a journal?"
            )
        try:
            self._identity = Identity(**head["identity"])
            self._capabilities = _capabilities(head["capabilities"])
            self._address = str(head["address"])
            self.run: Mapping[str, Any] = dict(head["run"])
        except (KeyError, TypeError, ValueError) as error:
            raise JournalError(f"{path}, line 1: the header cannot be read: {error}") from error

    @property
    def finished(self) -> bool:
        """Whether every line has been asked for."""
        return self._at >= len(self._texts)

    @property
    def elapsed_s(self) -> float:
        """Seconds between header and the last line answered from."""
        return self._last

    @property
    def address(self) -> str:
        """The address of the bench that measured."""
        return self._address

    def identify(self) -> Identity:
        """Return who measured."""
        return self._identity

    def capabilities(self) -> Capabilities:
        """Return what it could do."""
        return self._capabilities

    def set_settle(self, settle_us: int) -> None:
        """Answer from the journal."""
        self._answer(["settle", settle_us])

    def sense(self, drives: Sequence[PointSet]) -> list[PointSet]:
        """Answer from the journal."""
        return self._read(_ask_sense(drives), lambda answer: [int(text[2:], 16) for text in answer])

    def resistance(self, a: PointSet, b: PointSet, wires: Wires = 2) -> float:
        """Answer from the journal, Ω."""
        return self._read(["resistance", write_set(a), write_set(b), wires], _unfigure)

    def voltage(self, a: PointSet, b: PointSet) -> float:
        """Answer from the journal, V."""
        return self._read(["voltage", write_set(a), write_set(b)], _unfigure)

    def diode(self, a: PointSet, b: PointSet) -> float:
        """Answer from the journal, V."""
        return self._read(["diode", write_set(a), write_set(b)], _unfigure)

    def insulation(self, a: PointSet, b: PointSet, volts: float, dwell_ms: int) -> float:
        """Answer from the journal, Ω."""
        return self._read(["insulation", write_set(a), write_set(b), volts, dwell_ms], _unfigure)

    def arm(self, volts: float) -> None:
        """Answer from the journal."""
        self._answer(["arm", volts])

    def temperature(self) -> float | None:
        """Answer from the journal, °C."""
        return self._read(["temperature"], lambda answer: None if answer is None else float(answer))

    def watch(
        self, sets: Sequence[PointSet], seconds: float | None = None
    ) -> Generator[WatchEvent, None, None]:
        """Yield the events of the journal."""
        self._answer(["watch", [write_set(drive) for drive in sets], seconds])
        try:
            while True:
                answer = self._answer(["event"])
                if answer is None:
                    return
                number, time_us, index, low = answer
                yield WatchEvent(number, time_us, index, int(low[2:], 16))
        finally:
            ended = self._answer(["watched"])
            self._watched = None if ended is None else WatchSummary(*ended)

    @property
    def watched(self) -> WatchSummary | None:
        """How the last watch ended."""
        return self._watched

    def statistics(self) -> Statistics:
        """Answer from the journal."""

        def read(answer: dict[str, Any]) -> Statistics:
            extra = tuple((str(key), int(count)) for key, count in answer.pop("extra"))
            return Statistics(**answer, extra=extra)

        return self._read(["statistics"], read)

    def release(self) -> None:
        """Do nothing: nothing is driven."""

    def close(self) -> None:
        """Do nothing: nothing is open."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _read(self, ask: list[Any], read: Callable[[Any], T]) -> T:
        answer = self._answer(ask)
        try:
            return read(answer)
        except (TypeError, ValueError, KeyError, AttributeError) as error:
            raise JournalError(f"{self._place}: the answer {answer!r} cannot be read") from error

    @property
    def _place(self) -> str:
        return f"{self._path}, line {self._at}"

    def _answer(self, ask: list[Any]) -> Any:
        if self.finished:
            raise JournalError(
                f"{self._path} ends after line {len(self._texts)}, before the run does: it is incomplete",
                cure="Nothing is claimed from an incomplete run; prove the loom again.",
            )
        if self._at == len(self._texts) - 1 and not self._whole:
            raise JournalError(
                f"{self._path}, line {len(self._texts)}: the line is cut off: the run is incomplete",
                cure="Nothing is claimed from an incomplete run; prove the loom again.",
            )
        line = self._parsed(self._at)
        self._at += 1
        if line.get("n") != self._at - 1:
            raise JournalError(f"{self._place}: number {self._at - 1} was expected, {line.get('n')!r} found")
        if line.get("ask") != ask:
            raise JournalError(
                f"{self._place}: the run asks {_brief(ask)}, "
                f"and the journal answers {_brief(line.get('ask'))}",
                cure="Replay with the loom, adapter and options of the run.",
            )
        if "error" in line:
            raise _error_of(line["error"])
        if "answer" not in line:
            raise JournalError(f"{self._place}: there is no answer")
        self._last = float(line["t"])
        return line["answer"]

    def _parsed(self, index: int) -> dict[str, Any]:
        try:
            found = json.loads(self._texts[index])
        except ValueError as error:
            raise JournalError(f"{self._path}, line {index + 1}: this is not JSON: {error}") from error
        if not isinstance(found, dict):
            raise JournalError(f"{self._path}, line {index + 1}: an object was expected")
        return found


def _ask_sense(drives: Sequence[PointSet]) -> list[Any]:
    return ["sense", [write_set(drive) for drive in drives]]


def _nothing(_: object) -> None:
    return None


def _sets(found: Sequence[PointSet]) -> list[str]:
    return [write_set(low) for low in found]


def _figure(value: float) -> float | str:
    return "open" if math.isinf(value) else value


def _unfigure(answer: float | str) -> float:
    return math.inf if answer == "open" else float(answer)


def _event(event: WatchEvent | None) -> list[Any] | None:
    return None if event is None else [event.number, event.time_us, event.index, write_set(event.low)]


def _summary(found: WatchSummary | None) -> list[int] | None:
    return None if found is None else [found.cycles, found.events, found.lost]


def _plain_error(error: BenchError) -> dict[str, Any]:
    plain: dict[str, Any] = {"kind": type(error).__name__, "message": error.message, "cure": error.cure}
    if isinstance(error, RefusedError):
        plain |= {"code": error.code, "command": error.command}
    return plain


def _error_of(plain: Mapping[str, Any]) -> BenchError:
    kind = getattr(errors, str(plain.get("kind")), BenchError)
    message, cure = str(plain.get("message", "")), str(plain.get("cure", ""))
    if kind is RefusedError:
        return RefusedError(
            message, code=int(plain.get("code", 0)), command=str(plain.get("command", "")), cure=cure
        )
    if isinstance(kind, type) and issubclass(kind, BenchError):
        return kind(message, cure=cure)
    return BenchError(message, cure=cure)


def _capabilities(plain: Mapping[str, Any]) -> Capabilities:
    def accuracy(value: Mapping[str, float] | None) -> Accuracy | None:
        return None if value is None else Accuracy(**value)

    given = dict(plain)
    ohms = given["ohms"]
    given["ohms"] = None if ohms is None else (float(ohms[0]), float(ohms[1]))
    given["accuracy"] = accuracy(given["accuracy"])
    given["four_wire_accuracy"] = accuracy(given["four_wire_accuracy"])
    given["other"] = tuple((str(key), str(value)) for key, value in given["other"])
    return Capabilities(**given)


def _brief(ask: object) -> str:
    text = json.dumps(ask, ensure_ascii=False)
    return text if len(text) <= 120 else text[:117] + "..."
