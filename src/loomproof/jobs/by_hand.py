"""A run by hand: a person answers all that it asks, goes back, stops and goes on; then it is written down.

The run itself is a generator that asks the bench. It is run over and over, answered from what was said so
far, until it ends; so taking an answer back is running it again without that answer. The journal is written
from the same answers afterwards.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Generator, Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar

from loomproof.bench import questions as q
from loomproof.bench.address import HandAddress, parse_address, read_beeps
from loomproof.bench.by_hand import MOST_CAVITIES, AnswerLog, HandBench, TakenBack
from loomproof.bench.frames import read_set
from loomproof.bench.interface import Bench
from loomproof.bench.seam import singles
from loomproof.electrics.expectation import expect
from loomproof.errors import BrokenOffError, Todo, UsageError
from loomproof.jobs.at_bench import BenchAt
from loomproof.jobs.files import now, rfc3339
from loomproof.jobs.hand_questions import HandAsked, HandKind, HandReply, Wish
from loomproof.jobs.operator import Operator
from loomproof.loom.model import End, Loom
from loomproof.measuring.clearance import Clearance
from loomproof.measuring.events import Event, Prompt
from loomproof.planning.net_access import scope_of
from loomproof.planning.request import Request
from loomproof.planning.touches import effort_of
from loomproof.records.canonical import sha256_hex
from loomproof.records.data_folder import home

T = TypeVar("T")
_UNSAID = "nobody has said up to how many ohms the meter beeps; what a beep proves is not known"
METER = "hand_meter.txt"
"""The file of a person's data folder that remembers up to how many ohms the meter beeps."""


def known_meter(address: BenchAt, operator: Operator) -> BenchAt:
    """Return where a bench is; of a person with a meter with what is said of its beep, asked once.

    Raises `UsageError` where nobody knows it.
    """
    where = parse_address(address) if isinstance(address, str) else None
    if not isinstance(where, HandAddress) or where.beeps is not None:
        return address
    kept = home() / METER
    said = kept.read_text(encoding="utf-8").strip() if kept.exists() else ""
    if not said and (said := operator.beep_limit().strip()):
        read_beeps(said)
        kept.parent.mkdir(parents=True, exist_ok=True)
        kept.write_text(said + "\n", encoding="utf-8")
    if not said:
        raise UsageError(
            _UNSAID,
            cure="The meter's manual says so, or resistors of known value tell.",
            do=Todo.BEEPS,
        )
    return f"{replace(where, beeps=read_beeps(said))}" + ("&anew" if where.anew else "")


def answered(
    bench: Bench,
    request: Request,
    clearance: Clearance,
    operator: Operator,
    what: str,
    run: Callable[[], Generator[Event, None, T]],
) -> Generator[Event, None, Request]:
    """Have a person answer all that ``run`` asks, where a person is the bench; else do nothing.

    ``what`` tells this run from others of the same loom. Afterwards the bench answers the same run from what
    was said. Returns the request as it was started: of a run that is gone on with on another day, then.
    Raises `BrokenOffError` where the person stops; what was answered is kept and gone on with.
    """
    if not isinstance(bench, HandBench):
        return request
    if bench.where.beeps is None:
        raise UsageError(_UNSAID, do=Todo.BEEPS)
    loom = request.loom
    log = _log(bench, loom, what)
    if log.answers:
        day = datetime.fromisoformat(log.begun)
        yield Prompt(
            f"This was begun on {day:%Y-%m-%d at %H:%M}, and {len(log.answers)} questions are answered: it "
            "goes on there. If anything on the loom was changed since, stop and begin anew (anew in the "
            "address)."
        )
    log.begin(rfc3339(now()))
    person = _Person(operator, log, request, clearance.capabilities.clips)
    # Wall time: no other clock goes on from one sitting to the next.
    since_s = (now() - datetime.fromisoformat(log.begun)).total_seconds()
    bench.attach(person, log, time.monotonic, since_s)
    while True:
        bench.rewind()
        try:
            yield from run()
            break
        except TakenBack:
            continue
    bench.rewind()
    return replace(request, started=rfc3339(datetime.fromisoformat(log.begun)))


def written(bench: Bench) -> None:
    """Note that a run by hand stands in a journal now: what was kept to go on with goes."""
    if isinstance(bench, HandBench):
        bench.log.end()


def clock_of(bench: Bench) -> Callable[[], float]:
    """Return the clock of a journal: of a run by hand when each answer was given."""
    return (lambda: bench.elapsed_s) if isinstance(bench, HandBench) else time.monotonic


def _log(bench: HandBench, loom: Loom, what: str) -> AnswerLog:
    head = {"schema": 1, "what": what, "loom": loom.name, "digest": loom.digest, "bench": bench.address}
    name = sha256_hex(repr(sorted(head.items())).encode())[:24]
    path: Path = home() / "by_hand" / f"{name}.jsonl"
    if bench.where.anew:
        path.unlink(missing_ok=True)
    return AnswerLog(path, head)


class _Person:
    """Puts the bench's questions to the operator, in cavities and with how far it is."""

    def __init__(self, operator: Operator, log: AnswerLog, request: Request, clips: int) -> None:
        self._operator, self._log = operator, log
        loom = request.loom
        expectation = expect(loom)
        scope = scope_of(expectation, request.adapter.point_of)
        self._end_of: Mapping[int, End] = scope.end_of
        self._place_of = scope.place_of
        self._net_of = expectation.net_of
        self._of = effort_of(scope, clips).touches
        self._colours = {
            end: " ".join(dict.fromkeys(wire.colour for wire in wires if wire.colour))
            for end, wires in loom.wires_at.items()
        }
        self._parts = {
            frozenset(part.ends): part.name for part in loom.components if part.fitted and len(part.ends) == 2
        }
        self._zero_ohm: float | None = None
        self._tried = False

    def __call__(self, question: q.Question) -> q.Answer:
        if isinstance(question, q.Sweep):
            return self._sweep(question.black, question.red, chained=question.chained)
        if isinstance(question, q.Resistance):
            return self._figure(HandKind.OHMS, question.a, question.b) - self._zero()
        if isinstance(question, q.Diode):
            return self._figure(HandKind.DIODE, question.b, question.a)  # red, which is plus, on the anode
        raise AssertionError(question)

    def _sweep(self, black: int, red: int, *, chained: bool) -> q.Answer:
        while not self._tried:
            tried = self._ask(HandAsked(HandKind.TRY))
            self._tried = bool(tried.figure)
        on, over = self._ends(black), self._ends(red)
        nets = {self._net_of[end] for end in (*on, *over)}
        before = [
            each for line in self._log.answers if (each := _asked_before(line, black, red, self._order))
        ]
        if chained:
            kind = HandKind.CHAIN
        elif before and len(over) == 1:
            kind = HandKind.AGAIN
        elif HandKind.FOLLOW in before:
            kind = HandKind.FOLLOW
        else:
            kind = HandKind.WHOLE if len(nets) == 1 else HandKind.APART
        apart = kind in (HandKind.APART, HandKind.CHAIN)
        reply = self._ask(HandAsked(kind, on, over, may_leave_out=apart))
        if reply.wish is Wish.LEAVE_OUT:
            return None
        point_of = {end: point for point, end in self._end_of.items()}
        return [sum(1 << (point_of[end] - 1) for end in dict.fromkeys(reply.beeped) if end in over)]

    def _figure(self, kind: HandKind, black: int, red: int) -> float:
        if kind is HandKind.OHMS:
            self._zero()
        on, over = self._ends(black), self._ends(red)
        part = self._parts.get(frozenset((*on, *over)), "")
        return self._ask(HandAsked(kind, on, over, part=part)).figure

    def _zero(self) -> float:
        if self._zero_ohm is None:
            said = self._ask(HandAsked(HandKind.ZERO)).figure
            self._zero_ohm = said if math.isfinite(said) else 0.0
        return self._zero_ohm

    def _ask(self, asked: HandAsked) -> HandReply:
        touches = touches_of(self._log)
        colours = {end: self._colours[end] for end in (*asked.black, *asked.red) if self._colours.get(end)}
        told = HandAsked(
            asked.kind,
            asked.black,
            asked.red,
            touches,
            max(self._of, touches),
            colours,
            asked.part,
            asked.may_leave_out,
        )
        while True:
            try:
                reply = self._operator.probe(told)
            except KeyboardInterrupt:
                reply = HandReply(Wish.STOP)
            if reply.wish is Wish.STOP:
                raise BrokenOffError(
                    f"stopped after {touches} touches of about {told.of}; nothing is claimed yet",
                    cure="All answers are kept: the same command goes on from here, today or another day.",
                )
            if reply.wish is Wish.BACK:
                if not self._log.answers:
                    continue
                self._log.take_back()
                raise TakenBack
            if reply.wish is Wish.LEAVE_OUT and not asked.may_leave_out:
                continue
            return reply

    def _order(self, one: int) -> int:
        return self._place_of[self._end_of[one.bit_length()]]

    def _ends(self, points: int) -> tuple[End, ...]:
        ends = [self._end_of[one.bit_length()] for one in singles(points)]
        return tuple(sorted(ends, key=self._place_of.__getitem__))


def _asked_before(
    line: Mapping[str, Any], black: int, red: int, order: Callable[[int], int]
) -> HandKind | None:
    """Return what a sweep is after an earlier one: the same pair again, or what a beep is followed down by.

    ``order`` says in which order the ends of a chain were touched: those before an end were clipped on.
    """
    if line["ask"][0] != "sweep":
        return None
    there, over = (read_set(str(each), MOST_CAVITIES) for each in line["ask"][1:3])
    beeped = read_set(line["answer"][0], MOST_CAVITIES) if line["answer"] else 0

    def bunch(one: int) -> int:
        if not line["ask"][3]:
            return there
        before = [each for each in singles(over & ~beeped) if order(each) < order(one)]
        return there | sum(before)

    if any(one & black and not red & ~bunch(one) for one in singles(over & beeped)):
        return HandKind.FOLLOW
    pairs = ((black, red), (red, black))
    return (
        HandKind.AGAIN if any(q & one and p & bunch(one) for p, q in pairs for one in singles(over)) else None
    )


def touches_of(log: AnswerLog) -> int:
    """Return how many touches the answers so far took."""
    count, held = 0, 0
    for line in log.answers:
        ask = line["ask"]
        if ask[0] != "sweep":
            count, held = count + 2, 0
            continue
        black, red = (read_set(str(each), MOST_CAVITIES) for each in ask[1:3])
        chained, beeped = bool(ask[3]), read_set(line["answer"][0], MOST_CAVITIES) if line["answer"] else 0
        count += (
            (black & ~held).bit_count() + red.bit_count() + ((red & ~beeped).bit_count() if chained else 0)
        )
        held = black | (red & ~beeped if chained else 0)
    return count
