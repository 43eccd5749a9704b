"""A person with a meter as a bench: what was answered is kept, what was not is asked of the person.

The bench knows no screen: `attach` gives it whoever asks the person. Answers stand in an `AnswerLog` before
they are believed, and a run that asks the same again is answered from it; so a person can go back one answer,
and go on tomorrow.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, assert_never

from loomproof.bench import questions as q
from loomproof.bench.address import HandAddress
from loomproof.bench.interface import TimedBench
from loomproof.bench.journal.lines import read_time
from loomproof.bench.link import Clock
from loomproof.bench.seam import Accuracy, Capabilities, Identity, Opening, Statistics
from loomproof.errors import JournalError, NoBenchError

MOST_CAVITIES = 4096
USUAL_BEEP_OHM = (25.0, 100.0)
"""What a meter is planned with that nobody has described: 50 ohms, by a factor of two (common practice)."""

USUAL_ACCURACY = Accuracy(0.5, 0.02)
"""Of a meter whose limits of error nobody has stated: no hand meter in order is worse (assumption)."""

MOST_OHM = 2e6
TEST_A, TEST_V = 0.003, 9.0
"""No hand meter puts more than this through a loom while it reads ohms, beeps or tests diodes, nor has a
higher voltage than its battery block (common practice; the meter's manual states its own)."""

READING_MS = 8000.0
"""About what a person takes to lay two probes on and type a figure (assumption)."""


class TakenBack(Exception):  # noqa: N818 - the person's wish, not an error
    """The person took the last answer back: whatever runs starts again, answered from what is left."""


class AnswerLog:
    """What a person answered, in order, in a file where one is given; each line is written before it counts.

    ``head`` says what it belongs to: a file with another head is not gone on with. Raises `JournalError`.
    """

    def __init__(self, path: Path | None = None, head: dict[str, Any] | None = None) -> None:
        self._path, self._head = path, head or {}
        self.answers: list[dict[str, Any]] = []
        self.begun = ""
        if path is not None and path.exists():
            self._read(path)

    def _read(self, path: Path) -> None:
        try:
            read = path.read_bytes()
            if cut := len(read) - (read.rfind(b"\n") + 1):  # the last answer was never whole
                os.truncate(path, len(read) - cut)
            lines = [json.loads(line) for line in read.split(b"\n")[:-1]]
            begun = str(lines[0].pop("begun"))
            if lines[0] != self._head:
                return
            for line in lines[1:]:
                if "back" in line:
                    self.answers.pop()
                else:
                    read_time(line)
                    self.answers.append({"ask": list(line["ask"]), "answer": line["answer"], "t": line["t"]})
            self.begun = begun
        except (OSError, ValueError, KeyError, IndexError, TypeError, AttributeError) as wrong:
            raise JournalError(
                f"what was begun by hand, {path}, cannot be read: {wrong}",
                cure="Begin anew: write anew into the bench's address.",
            ) from wrong

    def begin(self, begun: str) -> None:
        """Start the file, where there is one and nothing of this was begun before."""
        if self.begun:
            return
        self.answers, self.begun = [], begun
        if self._path is not None:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            self._path.unlink(missing_ok=True)
            self._put({**self._head, "begun": begun})

    def add(self, ask: list[Any], answer: object, time_s: float) -> None:
        """Keep an answer."""
        line = {"ask": ask, "answer": answer, "t": time_s}
        self._put(line)
        self.answers.append(line)

    def take_back(self) -> None:
        """Forget the last answer."""
        self._put({"back": 1})
        self.answers.pop()

    def end(self) -> None:
        """The run has ended and stands elsewhere: the file goes."""
        if self._path is not None:
            self._path.unlink(missing_ok=True)

    def _put(self, line: dict[str, Any]) -> None:
        if self._path is None:
            return
        try:
            with self._path.open("ab", buffering=0) as file:
                file.write(json.dumps(line, separators=(",", ":")).encode() + b"\n")
                os.fsync(file.fileno())
        except OSError as error:
            raise JournalError(
                f"the answer cannot be kept: {error}", cure="Make room; it was not taken."
            ) from error


class HandBench(TimedBench):
    """A person with a meter; what a loom gets is that meter's current."""

    def __init__(self, where: HandAddress) -> None:
        self.address = str(where)
        self.where = where
        self._able = Capabilities(
            MOST_CAVITIES,
            sense_ohm=None,
            clear_ohm=None,
            ohms=(0.0, MOST_OHM),
            accuracy=Accuracy(*where.accuracy) if where.accuracy else USUAL_ACCURACY,
            diode=True,
            reading_ms=READING_MS,
            test_current_a=TEST_A,
            test_voltage_v=TEST_V,
            beep_ohm=where.beeps or USUAL_BEEP_OHM,
            clips=where.clips,
            wires_in_ohms=where.ohms,
        )
        self._log = AnswerLog()
        self._person: Callable[[q.Question], q.Answer] | None = None
        self._clock: Clock = time.monotonic
        self._next = self._count = 0
        self._elapsed_s = self._before_s = self._began_s = 0.0
        self._holds(Opening())

    def attach(
        self, person: Callable[[q.Question], q.Answer], log: AnswerLog, clock: Clock, since_s: float = 0.0
    ) -> None:
        """Have questions answered from this log, and where it ends by ``person``.

        ``since_s`` seconds ago it was begun; where a clock was set back meanwhile its last answer counts.
        """
        self._person, self._log, self._clock = person, log, clock
        self._before_s = max(since_s, log.answers[-1]["t"] if log.answers else 0.0)
        self._began_s = clock()
        self.rewind()

    def rewind(self) -> None:
        """Begin to answer from the first again: a run starts anew."""
        self._next, self._count, self._elapsed_s = 0, 0, 0.0

    @property
    def log(self) -> AnswerLog:
        """What was answered."""
        return self._log

    @property
    def elapsed_s(self) -> float:
        """Seconds from when the log was begun to the last answer."""
        return self._elapsed_s

    def identify(self) -> Identity:
        """Return who measures: a person, with this meter."""
        return Identity("a person with", "a multimeter", self.where.meter or "not named", "")

    def capabilities(self) -> Capabilities:
        """Return what a person with such a meter can do."""
        return self._able

    def touched(self, end: str | None) -> bool:
        """Nobody holds a probe of this bench on an end without a point: every cavity is touched anyway."""
        return end is None

    def _answer(self, question: q.Question) -> q.Answer:
        self._count += 1
        match question:
            case q.Sweep() | q.Resistance() | q.Diode():
                return self._asked(question)
            case q.Carried():
                return Statistics(round_trips=self._count)
            case q.Confirm() | q.Release() | q.Temperature():
                return None
            case q.Sense() | q.Settle() | q.Voltage() | q.Capacitance() | q.Arm() | q.Insulation():
                return None  # never asked: its capabilities lack them
            case q.Watch() | q.NextEvent() | q.Watched():
                return None
            case _:
                assert_never(question)

    def _asked(self, question: q.Question) -> q.Answer:
        ask = q.plain(question)
        if self._next < len(self._log.answers):
            line = self._log.answers[self._next]
            if line["ask"] != ask:
                raise JournalError(
                    f"the run asks {ask}, and what was begun by hand goes on with {line['ask']}",
                    cure="It was begun with another version of the program: begin anew.",
                )
            self._next += 1
            self._elapsed_s = line["t"]
            return q.read_answer(question, line["answer"], MOST_CAVITIES)
        if self._person is None:
            raise NoBenchError(
                f"nobody answers at {self.address}",
                cure="By hand a loom is proved and retested, at a terminal; the rest wants a scanner.",
            )
        plain = q.plain_answer(self._person(question))
        self._elapsed_s = round(self._before_s + self._clock() - self._began_s, 3)
        self._log.add(ask, plain, self._elapsed_s)
        self._next += 1
        return q.read_answer(question, plain, MOST_CAVITIES)

    def _disconnect(self) -> None:
        self._person = None
