"""Answers from a journal, question by question; the numbers of a replayed run are those of the run."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, TypeVar

from loomproof.bench import questions as q
from loomproof.bench.interface import TimedBench
from loomproof.bench.journal import lines
from loomproof.bench.seam import Capabilities, Identity, Opening
from loomproof.errors import JournalError, ReplayError

T = TypeVar("T")
_NOT_OF_THIS_RUN = "Replay with the loom, adapter and options of the run."
_CHANGED = "It was damaged or changed since it was written; take it from a backup, or prove again."


class ReplayBench(TimedBench):
    """A bench that answers from a journal, question by question.

    Raises `ReplayError` that names the line where the question asked differs from the one written down,
    or where an answer cannot have come from a bench; `JournalError` where the journal ends before the
    run does.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        try:
            data = path.read_bytes()
        except OSError as error:
            raise ReplayError(f"the journal {path} cannot be read: {error.strerror}") from error
        self._texts = data.split(b"\n")
        self._whole = self._texts.pop() == b""
        self._at = 1
        self._last = 0.0
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
            self.address = str(head["address"])
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

    def identify(self) -> Identity:
        """Return who measured."""
        return self._identity

    def capabilities(self) -> Capabilities:
        """Return what it could do."""
        return self._capabilities

    def _answer(self, question: q.Question) -> q.Answer:
        if isinstance(question, q.Release):  # nothing is driven
            return None
        points = self._capabilities.points
        return self._read(q.plain(question), lambda said: q.read_answer(question, said, points))

    def _disconnect(self) -> None:
        """Hold nothing."""

    def touched(self, end: str | None) -> bool:
        """Answer from the journal what the person said."""
        return self._read(["touched", end], lines.read_yes_or_no)

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _read(self, ask: list[Any], read: Callable[[Any], T]) -> T:
        answer = self._line(ask)
        try:
            return read(answer)
        except (TypeError, ValueError, KeyError, AttributeError) as error:
            raise self._wrong(f"the answer {_brief(answer)} cannot be read: {error}") from error

    def _wrong(self, what: str, cure: str = _CHANGED) -> ReplayError:
        return ReplayError(f"{self._path}, line {self._at}: {what}", cure=cure)

    def _line(self, ask: list[Any]) -> Any:
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
