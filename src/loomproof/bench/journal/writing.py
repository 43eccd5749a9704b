"""Writes the journal: every answer stands in it before it is believed."""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any, TypeVar

from loomproof.bench import questions as q
from loomproof.bench.interface import Bench, TimedBench
from loomproof.bench.journal import lines
from loomproof.bench.link import Clock
from loomproof.bench.seam import Capabilities, Identity, Opening
from loomproof.errors import BenchError, JournalError

T = TypeVar("T")

_ENCODER = json.JSONEncoder(ensure_ascii=False, allow_nan=False, separators=(",", ":"))


class JournaledBench(TimedBench):
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
        self.address = bench.address
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
    def opening(self) -> Opening:
        """The opening of the bench that is written down."""
        return self._bench.opening

    def identify(self) -> Identity:
        """Ask who it is; the header holds the answer."""
        return self._bench.identify()

    def capabilities(self) -> Capabilities:
        """Ask what it can do; the header holds the answer."""
        return self._bench.capabilities()

    def _answer(self, question: q.Question) -> q.Answer:
        if isinstance(question, q.Release):  # at any time, and after the journal is closed as well
            return self._bench.ask(question)
        return self._through(q.plain(question), lambda: self._bench.ask(question), q.plain_answer)

    def touched(self, end: str | None) -> bool:
        """Have a person hold the probe on an end (``None``: take it off), and write down whether it is so."""
        return self._through(["touched", end], lambda: self._touch(end), bool)

    def _let_go(self) -> bool:
        self._bench.close()
        return self._bench.released

    def _disconnect(self) -> None:
        self.detach()

    def detach(self) -> None:
        """Close the journal and leave the bench open, for the next run on it."""
        if not self._file.closed:
            try:
                os.fsync(self._file.fileno())
            finally:
                self._file.close()

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
        data = _ENCODER.encode(what).encode() + b"\n"
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
