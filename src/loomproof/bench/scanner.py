"""The scanner as a bench: primitives over a link, in batches sized by the longest possible reply."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Generator, Sequence
from typing import Self, assert_never

from loomproof.bench import questions as q
from loomproof.bench.batching import SENSE, TOO_MUCH_DATA, Batches
from loomproof.bench.capability_report import NOT_THE_LINK, Told, read_capabilities, read_identity
from loomproof.bench.frames import (
    FRAME_BYTES,
    is_no_number,
    read_amount,
    read_number,
    read_set,
    write_number,
    write_set,
)
from loomproof.bench.interface import Bench
from loomproof.bench.link import PATIENCE_S, RENEW_AFTER_S, Clock, Line, Link, fresh_nonce
from loomproof.bench.seam import (
    Capabilities,
    Identity,
    PointSet,
    Statistics,
    WatchEvent,
    WatchSummary,
    opening_of,
    tell_end,
    total_of,
)
from loomproof.bench.watching import watch_events
from loomproof.errors import LinkError, NoBenchError, RefusedError, UnfitError

DEFAULT_SETTLE_US = 500
NUMBER_BYTES = 24
TEXT_BYTES = 400
SILENT_S = 2.0
"""After so long without a good reply the device is asked again who it is."""

RATE_TRIAL_S = 2.0


class ScannerBench(Bench):
    """A pin scanner behind a line. Made by `connect`, which opens the link and asks who answers.

    ``reach`` makes a new line to the same address, for `reconnect`; ``on_close`` runs after the line
    is closed (the simulator's process ends there).
    """

    started_here = False

    def __init__(
        self,
        reach: Callable[[], Line],
        address: str,
        *,
        clock: Clock = time.monotonic,
        nonces: Callable[[], str] = fresh_nonce,
        patience_s: float = PATIENCE_S,
        on_close: Callable[[], None] | None = None,
    ) -> None:
        self._reach = reach
        self.address = address
        self._clock = clock
        self._nonces = nonces
        self._patience_s = patience_s
        self._on_close = on_close
        self._link: Link | None = None
        self._identity: Identity | None = None
        self._told: Told | None = None
        self._settle_us: int | None = None
        self._batches = Batches(0, 0)
        self._watching = False
        self._events: Generator[WatchEvent, None, None] | None = None
        self._summary: WatchSummary | None = None
        self._before: list[Statistics] = []

    # -- coming and going ------------------------------------------------------------------------

    def connect(self, *, patience_s: float | None = None) -> Self:
        """Open the line and the link and identify the device. Raises `NoBenchError` where none answers."""
        try:
            link = self._attach()
            try:
                link.open(patience_s=self._patience_s if patience_s is None else patience_s)
            except LinkError as error:
                raise NoBenchError(
                    f"nothing at {self.address} answers as a pin scanner: {error.message}",
                    cure="Is it switched on, are port and rate right, and does no other program hold it?",
                ) from error
            self._bind(*self._meet())
            return self
        except BaseException as error:
            self.close()
            tell_end(error, released=None)
            raise

    def reconnect(self) -> None:
        """Open anew after the line was lost, and go on only with the same device.

        Raises `UnfitError` where another scanner answers, or the same with other points, and
        `NoBenchError` where the address cannot be reached; it may be tried again then. Settings are lost
        but for the settle time, which is set again; an insulation test must be armed again.
        """
        if self._link is not None:
            link, self._link = self._link, None
            self._before.append(link.statistics())
            link.line.close()
        self._attach().open()
        self._opening = None
        self._meet_again()

    def _attach(self) -> Link:
        self._link = Link(self._reach(), clock=self._clock, nonces=self._nonces, patience_s=self._patience_s)
        self._holds()
        return self._link

    def _meet(self) -> tuple[Identity, Told]:
        """Ask who answers and what it can do. Nothing is believed of it before both are known."""
        identity = read_identity(self._plain("*IDN?", TEXT_BYTES))
        return identity, read_capabilities(self._plain("SYST:CAP?", TEXT_BYTES))

    def _bind(self, identity: Identity, told: Told) -> None:
        self._identity, self._told = identity, told
        self._holds(self._opening or opening_of(identity, started_here=self.started_here))
        self.link.expect_lines_of(told.line_bytes)
        self._batches = Batches(told.line_bytes, told.capabilities.points)

    def _meet_again(self) -> None:
        identity, told = self._meet()
        if self._identity is not None and (identity, told) != (self._identity, self._told):
            known = self._known.capabilities
            self.close()
            raise UnfitError(
                f"another scanner answers at {self.address}: {_named(identity, told.capabilities)}, "
                f"and the run is bound to {_named(self._identity, known)}",
                cure="Plug the first one in again, or start a new run.",
            )
        self._bind(identity, told)
        if self._settle_us is not None:
            self._plain(f"SENS:SETT {self._settle_us}", 2)

    def _let_go(self) -> bool:
        return self._link is not None and self._link.end()

    def _disconnect(self) -> None:
        if self._link is not None:
            link, self._link = self._link, None
            self._before.append(link.statistics())
            link.line.close()
        if self._on_close is not None:
            self._on_close()

    # -- who it is -------------------------------------------------------------------------------

    def identify(self) -> Identity:
        """Return who answered when the link was opened."""
        if self._identity is None:
            raise NoBenchError(f"the bench at {self.address} has not been connected")
        return self._identity

    def _same(self) -> None:
        found = read_identity(self._plain("*IDN?", TEXT_BYTES))
        known = self.identify()
        if found != known:
            self.close()
            named, bound = (_named(each, self._known.capabilities) for each in (found, known))
            raise UnfitError(
                f"another scanner answers at {self.address}: {named}, and the run is bound to {bound}",
                cure="Plug the first one in again, or start a new run.",
            )

    def capabilities(self) -> Capabilities:
        """Return what it said it can do when the link was opened."""
        return self._known.capabilities

    # -- what it is asked ------------------------------------------------------------------------

    def _answer(self, question: q.Question) -> q.Answer:
        reading_ms = self.capabilities().reading_ms
        match question:
            case q.Sense(drives):
                return self._sense(drives)
            case q.Settle(settle_us):
                self._ok(f"SENS:SETT {settle_us}")
                self._settle_us = settle_us
            case q.Resistance(a, b, wires):
                return self._measure("RES" if wires == 2 else "FRES", a, b, reading_ms)
            case q.Voltage(a, b):
                volts = self._measure("VOLT", a, b, reading_ms)
                return abs(volts) if math.isinf(volts) else volts
            case q.Diode(a, b):
                return self._measure("DIOD", a, b, reading_ms)
            case q.Capacitance(a, b):
                return self._capacitance(a, b, reading_ms)
            case q.Arm(volts):
                self._ok(f"SYST:ARM {write_number(volts)}")
            case q.Insulation(a, b, volts, dwell_ms):
                tail = f",{write_number(volts)},{dwell_ms}"
                return self._measure("INS", a, b, reading_ms + dwell_ms, tail)
            case q.Temperature():
                return self._temperature()
            case q.Watch(sets, seconds):
                self._summary, self._events = None, self._watch(sets, seconds)
            case q.NextEvent():
                return next(self._events, None) if self._events is not None else None
            case q.Watched():
                if self._events is not None:
                    self._events.close()
                return self._summary
            case q.Confirm():
                self._renew()
                self._same()
            case q.Carried():
                now = [self._link.statistics()] if self._link is not None else []
                return total_of([*self._before, *now])
            case q.Release():
                self._ok("ROUT:OPEN:ALL")
            case q.Sweep():  # never asked: its capabilities lack it
                return None
            case _:
                assert_never(question)
        return None

    def _sense(self, drives: Sequence[PointSet]) -> list[PointSet]:
        """Sense in batches as large as both lines allow; what the device finds too long is sent in parts.

        After two failures they halve, and after sixteen clean ones they double again.
        """
        batches = self._batches
        answers: list[PointSet] = []
        while len(answers) < len(drives):
            batch = batches.after(drives, len(answers))
            body = SENSE + ",".join(write_set(drive) for drive in batch)
            reply_bytes = batches.reply_bytes(len(batch))
            busy_s = len(batch) * self._waits * (self._settle_us or DEFAULT_SETTLE_US) * 1e-6
            self._renew()
            if len(batch) == 1:
                reply = self.link.ask(body, reply_bytes=reply_bytes, busy_s=busy_s)
            else:
                try:
                    told = self.link.ask_twice(body, reply_bytes=reply_bytes, busy_s=busy_s)
                except RefusedError as refusal:
                    if refusal.code != TOO_MUCH_DATA:
                        raise
                    batches.refused(len(batch))
                    continue
                if told is None:
                    batches.failed()
                    continue
                reply = told
            answers += self._sets(reply, len(batch))
            batches.passed()
        return answers

    @property
    def _waits(self) -> int:
        """How often the device waits its settle time for one set: once for each part that it pulls up."""
        able = self.capabilities()
        return -(-able.points // able.pulled_at_once) if able.pulled_at_once else 1

    def _sets(self, reply: str, count: int) -> list[PointSet]:
        texts = reply.split(",")
        if len(texts) != count:
            raise LinkError(f"the scanner gave {len(texts)} answers to {count} sets; none is believed")
        try:
            return [read_set(text, self.capabilities().points) for text in texts]
        except ValueError as error:
            raise LinkError(f"the scanner answered outside the scanner link: {error}") from None

    def _temperature(self) -> float | None:
        try:
            return self._number("MEAS:TEMP?", 0.0)
        except RefusedError:  # it has no thermometer
            return None

    def _capacitance(self, a: PointSet, b: PointSet, work_ms: float) -> float | None:
        body = f"MEAS:CAP? {write_set(a)},{write_set(b)}"
        reply = self._ask(body, NUMBER_BYTES, busy_s=work_ms / 1000.0)
        if is_no_number(reply):
            return None
        return abs(farad) if math.isinf(farad := self._number_of(body, reply, read_number)) else farad

    def self_test(self) -> int:
        """Run the device's own self-test with nothing plugged in; 0 is passed."""
        reply = self._ask("*TST?", NUMBER_BYTES, busy_s=5.0)
        if not reply.replace("+", "-").removeprefix("-").isdecimal():
            raise LinkError(f"the scanner answered *TST? with {reply!r}; a whole number was expected")
        return int(reply)

    def _measure(self, what: str, a: PointSet, b: PointSet, work_ms: float, tail: str = "") -> float:
        read = read_number if what == "VOLT" else read_amount
        return self._number(f"MEAS:{what}? {write_set(a)},{write_set(b)}{tail}", work_ms / 1000.0, read)

    def _number(self, body: str, busy_s: float, read: Callable[[str], float] = read_amount) -> float:
        return self._number_of(body, self._ask(body, NUMBER_BYTES, busy_s=busy_s), read)

    def _number_of(self, body: str, reply: str, read: Callable[[str], float]) -> float:
        try:
            return read(reply)
        except ValueError as error:
            message = f"the scanner answered {body!r} without a reading: {error}"
            raise LinkError(message, cure=NOT_THE_LINK) from None

    def _watch(self, sets: Sequence[PointSet], seconds: float | None) -> Generator[WatchEvent, None, None]:
        """Start a watch with the first event that is asked for, and end it with the last."""
        body = "WATC:STAR " + ",".join(write_set(drive) for drive in sets)
        too_many = UnfitError(f"{len(sets)} sets do not fit one line of this bench; watch fewer at a time")
        if len(body) + FRAME_BYTES > self._known.line_bytes:
            raise too_many
        try:
            self._ok(body)
        except RefusedError as refusal:
            if refusal.code != TOO_MUCH_DATA:
                raise
            raise too_many from refusal
        self._watching = True
        try:
            yield from watch_events(self.link, len(sets), self.capabilities().points, seconds, self._ended)
        finally:
            self._watching = False

    def _ended(self, summary: WatchSummary) -> None:
        self._summary = summary

    # -- the line --------------------------------------------------------------------------------

    def switch_rate(self, rate: int) -> bool:
        """Change the line's rate; return whether it holds. Where it does not, both sides fall back."""
        if rate > self.capabilities().baud_max:
            return False
        link = self.link
        old = link.line.rate
        try:
            self._ok(f"SYST:BAUD {rate}")
        except RefusedError:
            return False
        link.line.set_rate(rate)
        try:
            link.ask("SYST:LINK?", reply_bytes=3 * NUMBER_BYTES, patience_s=RATE_TRIAL_S / 2)
            return True
        except LinkError:
            link.line.set_rate(old)
        until = link.now() + RATE_TRIAL_S  # by then the device is back at the old rate, its link closed
        while (left := until - link.now()) > 0:
            link.line.receive(left)
        link.open()
        self._meet_again()
        return False

    @property
    def _known(self) -> Told:
        if self._told is None:
            raise NoBenchError(f"the bench at {self.address} has not been connected")
        return self._told

    @property
    def line_bytes(self) -> int:
        """The longest line that the device takes and gives, its line end included."""
        return self._known.line_bytes

    @property
    def link(self) -> Link:
        """The open link. Raises `NoBenchError` where the bench is closed."""
        if self._link is None:
            raise NoBenchError(f"the bench at {self.address} is closed")
        return self._link

    def _renew(self) -> None:
        """Open the link again before a device that heard nothing for a while closes it by itself.

        After a shorter silence it is asked who it is. The line was held: what was cleared stays cleared.
        """
        if self._watching or self.link.left_alone_s < SILENT_S:
            return
        if self.link.left_alone_s >= RENEW_AFTER_S:
            self.link.open()
            self._meet_again()
        else:
            self._same()

    def _ask(self, body: str, reply_bytes: int, *, busy_s: float = 0.0) -> str:
        self._renew()
        return self.link.ask(body, reply_bytes=reply_bytes, busy_s=busy_s)

    def _plain(self, body: str, reply_bytes: int) -> str:
        return self.link.ask(body, reply_bytes=reply_bytes)

    def _ok(self, body: str) -> None:
        reply = self._ask(body, 2)
        if reply != "OK":
            raise LinkError(f"the scanner answered {body!r} with {reply!r}; OK was expected")


def _named(identity: Identity, able: Capabilities) -> str:
    return f"{identity.maker} {identity.model} {identity.serial} ({able.points} points, {identity.firmware})"
