"""Answers from a journal, question by question; the numbers of a replayed run are those of the run."""

from __future__ import annotations

import json
from collections.abc import Callable, Generator, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TypeVar

from loomproof.bench.frames import write_set
from loomproof.bench.journal import lines
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
)
from loomproof.errors import JournalError, NoBenchError, ReplayError

T = TypeVar("T")
_NOT_OF_THIS_RUN = "Replay with the loom, adapter and options of the run."
_CHANGED = "It was damaged or changed since it was written; take it from a backup, or prove again."


class ReplayBench:
    """A bench that answers from a journal, question by question.

    Raises `ReplayError` that names the line where the question asked differs from the one written down,
    or where an answer cannot have come from a bench; `JournalError` where the journal ends before the
    run does.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._closed = False
        try:
            data = path.read_bytes()
        except OSError as error:
            raise ReplayError(f"the journal {path} cannot be read: {error.strerror}") from error
        self._texts = data.split(b"\n")
        self._whole = self._texts.pop() == b""
        self._at = 1
        self._last = 0.0
        self._watched: WatchSummary | None = None
        if not self._texts or (len(self._texts) == 1 and not self._whole):
            raise JournalError(f"the journal {path} has no header", cure="The run ended before it began.")
        head = self._parsed(0)
        written = head.get("schema")
        if isinstance(written, int) and 1 <= written < lines.SCHEMA:
            raise ReplayError(
                f"{path} is a journal of form {written}, and this program asks as form {lines.SCHEMA} does: "
                "it has no answer to some of the questions",
                cure="Replay it with the version of loomproof that its record names, or prove the loom "
                "again.",
            )
        if written != lines.SCHEMA:
            raise ReplayError(
                f"{path}, line 1: a journal header of schema {lines.SCHEMA} was expected",
                cure="Is it a journal?",
            )
        try:
            self._identity = lines.read_identity(head["identity"])
            self._capabilities = lines.read_capabilities(head["capabilities"])
            self._address = str(head["address"])
            self.run: Mapping[str, Any] = dict(head["run"])
            self._opening = Opening(simulated=self.run.get("simulated") is True)
        except (KeyError, IndexError, TypeError, ValueError, AttributeError) as error:
            raise ReplayError(f"{path}, line 1: the header cannot be read: {error}", cure=_CHANGED) from error

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

    @property
    def opening(self) -> Opening:
        """The journal, opened; it says whether the bench was simulated."""
        return self._opening

    def identify(self) -> Identity:
        """Return who measured."""
        return self._identity

    def confirm(self) -> None:
        """Answer from the journal."""
        self._answer(["confirm"])

    def capabilities(self) -> Capabilities:
        """Return what it could do."""
        return self._capabilities

    def set_settle(self, settle_us: int) -> None:
        """Answer from the journal."""
        self._answer(["settle", settle_us])

    def sense(self, drives: Sequence[PointSet]) -> list[PointSet]:
        """Answer from the journal."""
        points = self._capabilities.points
        return self._read(lines.ask_sense(drives), lambda said: lines.read_sets(said, len(drives), points))

    def resistance(self, a: PointSet, b: PointSet, wires: Wires = 2) -> float:
        """Answer from the journal, Ω."""
        check_pair(a, b)
        return self._read(["resistance", write_set(a), write_set(b), wires], lines.read_figure)

    def voltage(self, a: PointSet, b: PointSet) -> float:
        """Answer from the journal, V."""
        return self._read(["voltage", write_set(a), write_set(b)], lines.read_figure)

    def diode(self, a: PointSet, b: PointSet) -> float:
        """Answer from the journal, V."""
        return self._read(["diode", write_set(a), write_set(b)], lines.read_figure)

    def insulation(self, a: PointSet, b: PointSet, volts: float, dwell_ms: int) -> float:
        """Answer from the journal, Ω."""
        ask = ["insulation", write_set(a), write_set(b), volts, dwell_ms]
        return self._read(ask, lines.read_figure)

    def arm(self, volts: float) -> None:
        """Answer from the journal."""
        self._answer(["arm", volts])

    def temperature(self) -> float | None:
        """Answer from the journal, °C."""
        return self._read(["temperature"], lines.read_temperature)

    def watch(
        self, sets: Sequence[PointSet], seconds: float | None = None
    ) -> Generator[WatchEvent, None, None]:
        """Yield the events of the journal."""
        points = self._capabilities.points
        self._answer(["watch", lines.sets(sets), seconds])
        try:
            while True:
                found = self._read(["event"], lambda said: lines.read_event(said, len(sets), points))
                if found is None:
                    return
                yield found
        finally:
            self._watched = self._read(["watched"], lines.read_summary)

    @property
    def watched(self) -> WatchSummary | None:
        """How the last watch ended."""
        return self._watched

    def statistics(self) -> Statistics:
        """Answer from the journal."""
        return self._read(["statistics"], lines.read_statistics)

    def touched(self, end: str | None) -> bool:
        """Answer from the journal what the person said."""
        return self._read(["touched", end], lines.read_yes_or_no)

    def release(self) -> None:
        """Do nothing: nothing is driven."""

    def close(self) -> None:
        """Answer no more questions."""
        self._closed = True

    @property
    def released(self) -> bool:
        """Yes: nothing is driven."""
        return True

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
            raise self._wrong(f"the answer {_brief(answer)} cannot be read: {error}") from error

    def _wrong(self, what: str, cure: str = _CHANGED) -> ReplayError:
        return ReplayError(f"{self._path}, line {self._at}: {what}", cure=cure)

    def _answer(self, ask: list[Any]) -> Any:
        if self._closed:
            raise NoBenchError(f"the replay of {self._path} is closed")
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
            raise self._wrong(f"number {self._at - 1} was expected, {line.get('n')!r} found")
        if line.get("ask") != ask:
            raise self._wrong(
                f"the run asks {_brief(ask)}, and the journal answers {_brief(line.get('ask'))}",
                cure=_NOT_OF_THIS_RUN,
            )
        try:
            self._last = lines.read_time(line)
            error = lines.read_error(line["error"]) if "error" in line else None
        except ValueError as wrong:
            raise self._wrong(f"the line cannot be read: {wrong}") from wrong
        if error is not None:
            raise error
        if "answer" not in line:
            raise self._wrong("there is no answer")
        return line["answer"]

    def _parsed(self, index: int) -> dict[str, Any]:
        try:
            return lines.parse(self._texts[index])
        except ValueError as error:
            raise ReplayError(f"{self._path}, line {index + 1}: {error}", cure=_CHANGED) from error


def _brief(said: object) -> str:
    text = json.dumps(said, ensure_ascii=False)
    return text if len(text) <= 120 else text[:117] + "..."
