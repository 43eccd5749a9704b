"""The host side of the scanner link: stop-and-wait, at most once, and nothing believed unchecked.

A `Line` carries bytes and knows nothing; a `Link` turns it into commands and replies that are true or
an error. Time is injected (``clock``), and waiting happens only in `Line.receive`.
"""

from __future__ import annotations

import contextlib
import secrets
import time
from collections import deque
from collections.abc import Callable
from typing import Protocol

from loomproof.bench.frames import EVENT, FRAME_BYTES, Frame, Splitter, read_refusal, seal, unseal
from loomproof.bench.seam import Statistics
from loomproof.errors import LinkError, RefusedError

GRACE_S = 0.5
"""What a reply may take beyond its bytes and the device's own work."""

PATIENCE_S = 10.0
"""How long a host goes on without progress before it gives up."""

IDLE_CLOSE_S = 10.0
"""How long after the last good command a device closes the link by itself."""

RENEW_AFTER_S = IDLE_CLOSE_S - 2.0
"""After so long without a good reply the link is opened anew rather than trusted to be open still."""

RELEASE_S = 1.0
"""How long a release waits for the device's word beyond what the device still has to do."""

PROBE = "*CLS"
"""The shortest command without effect on a reading; finds out where the device's count stands."""

PROBED = "OK"
"""What a probe is answered with."""

Clock = Callable[[], float]


class Line(Protocol):
    """A byte stream to a device: two verbs. Raises `LinkError` where it is gone."""

    @property
    def rate(self) -> int:
        """Bits per second, ten to a byte; the rate to reckon with where the stream has none."""
        ...

    def send(self, data: bytes) -> None:
        """Send all of these bytes."""
        ...

    def receive(self, timeout_s: float) -> bytes:
        """Return what has arrived, after at most this time; empty where nothing has."""
        ...

    def set_rate(self, rate: int) -> None:
        """Change the rate on this side; does nothing where the stream has none."""
        ...

    def close(self) -> None:
        """Give the stream back. Safe to call any number of times; never raises."""
        ...


def fresh_nonce() -> str:
    """Return a nonce: eight upper-case hex digits."""
    return secrets.token_hex(4).upper()


class Link:
    """Commands and replies over a line. One command is outstanding at a time."""

    def __init__(
        self,
        line: Line,
        *,
        clock: Clock = time.monotonic,
        nonces: Callable[[], str] = fresh_nonce,
        patience_s: float = PATIENCE_S,
        longest: int = 4096,
    ) -> None:
        self.line = line
        self.patience_s = patience_s
        self.events: deque[Frame] = deque()
        self._clock = clock
        self._nonces = nonces
        self._nonce = b""
        self._sequence = 0
        self._splitter = Splitter(longest)
        self._progress_at = clock()
        self._good_at = self._asked_at = self._done_at = clock()
        self._round_trips = self._repeated = self._dropped = self._sent = self._received = 0
        self._abandoned = 0
        self._stalled = False
        self._unanswered = True
        self._last_sent = b""
        self._in_doubt = True
        self._busy_until = clock()
        self.ended = False

    @property
    def idle_s(self) -> float:
        """Seconds since the last good reply."""
        return self._clock() - self._good_at

    @property
    def left_alone_s(self) -> float:
        """The longest that the device can have been left alone, s: since the last command that it answered
        was sent and done with. Its reply may have lain on the way, or waited for this machine to look at it.
        """
        return self._clock() - self._done_at

    def now(self) -> float:
        """Return the link's clock, s."""
        return self._clock()

    def expect_lines_of(self, longest: int) -> None:
        """Make room for lines as long as the device says that it sends, bytes."""
        self._splitter.longest = max(longest, self._splitter.longest)

    def open(self, *, patience_s: float | None = None) -> None:
        """Open the link with a fresh nonce. Raises `LinkError` where nothing answers as a device should."""
        self._in_doubt = True
        nonce = self._nonces()
        self._nonce = b""
        self.events.clear()
        self._progress_at = self._asked_at = self._clock()
        self._sequence = (self._sequence + 1) % 256
        body = f"SYST:LINK:OPEN {nonce}"
        command = seal(self._sequence, body, b"")
        patience = self.patience_s if patience_s is None else patience_s
        while True:
            frame = self._exchange(command, (self._sequence,), len(nonce), 0.0, wanted=nonce)
            if frame is not None:
                break
            self._give_up_after(patience, body)
        self._nonce = nonce.encode("ascii")
        self._progress()

    def ask(
        self, body: str, *, reply_bytes: int, busy_s: float = 0.0, patience_s: float | None = None
    ) -> str:
        """Send a command and return its reply's body.

        ``reply_bytes`` is the longest that the reply's body can be; ``busy_s`` is the time that the
        device itself needs. Raises `LinkError` after the patience without a good reply, `RefusedError`
        where the device refuses.
        """
        command = self._next(body)
        patience = (self.patience_s if patience_s is None else patience_s) + busy_s
        while True:
            frame = self._exchange(command, (self._sequence,), reply_bytes, busy_s)
            if frame is not None:
                return self._accepted(frame, body)
            self._give_up_after(patience, body)

    def ask_twice(self, body: str, *, reply_bytes: int, busy_s: float = 0.0) -> str | None:
        """Send a command that may be abandoned; after two failures return ``None``, the count found again.

        Only for a command whose execution leaves nothing behind, such as a sense, and which is never answered
        as the probe is. Where the answer comes after all while the count is looked for, it is the answer.
        """
        command = self._next(body)
        for _ in range(2):
            frame = self._exchange(command, (self._sequence,), reply_bytes, busy_s)
            if frame is not None:
                return self._accepted(frame, body)
            self._give_up_after(self.patience_s + busy_s, body)
        self._stalled = True
        late = self._find_count(busy_s)
        if late is not None:
            return self._accepted(late, body)
        self._abandoned += 1
        return None

    def listen(self, timeout_s: float) -> None:
        """Wait for watch events, at most this long or until one has come; they gather in ``events``."""
        deadline = self._clock() + timeout_s
        while not self.events and (left := deadline - self._clock()) > 0:
            for line in self._splitter.feed(self._take(left)):
                self._sort(line)

    def statistics(self) -> Statistics:
        """Return the counters since the line was opened."""
        return Statistics(
            self._round_trips,
            self._repeated,
            self._dropped,
            self._sent,
            self._received,
            (("abandoned", self._abandoned),),
        )

    def end(self) -> bool:
        """Release every point and close the link. Return whether the device confirmed the release.

        What was broken off in the middle of a command does not know which number the device waits for. An
        opening command is taken with any number and releases by itself, so the link is opened anew first.
        Where the line holds nothing back, a device that lives hears this after whatever came before. A watch
        that was under way has nothing to be told any more, and ``ended`` says so.
        """
        self.ended = True
        for _ in range(2):
            try:
                if self._in_doubt or self.left_alone_s >= RENEW_AFTER_S:
                    busy_s = max(0.0, self._busy_until - self._clock())
                    self.open(patience_s=RELEASE_S + busy_s)
                released = self.ask("ROUT:OPEN:ALL", reply_bytes=2, patience_s=RELEASE_S) == "OK"
                break
            except RefusedError:
                return False
            except LinkError:
                if self._nonce == b"":  # not even a new link could be opened
                    return False
        else:
            return False
        with contextlib.suppress(LinkError, RefusedError):  # the device closes by itself
            self.ask("SYST:LINK:CLOS", reply_bytes=2, patience_s=RELEASE_S)
        return released

    def _next(self, body: str) -> bytes:
        self._in_doubt = True
        self._asked_at = self._clock()
        self._sequence = (self._sequence + 1) % 256
        if not self._stalled:
            self._progress_at = self._clock()
        return seal(self._sequence, body, self._nonce)

    def _accepted(self, frame: Frame, command: str) -> str:
        self._progress()
        refusal = read_refusal(frame.body)
        if refusal is None:
            return frame.body
        code, text = refusal
        raise RefusedError(
            f"the scanner refused {_short(command)}: {code}, {text}", code=code, command=command
        )

    def _progress(self) -> None:
        self._progress_at = self._clock()
        self._stalled = False
        self._in_doubt = False

    def _exchange(
        self,
        command: bytes,
        sequences: tuple[int, ...],
        reply_bytes: int,
        busy_s: float,
        *,
        wanted: str | None = None,
    ) -> Frame | None:
        """Send once and wait for a good reply with one of these sequence numbers, as long as it may take."""
        # What came before the command was sent cannot be its answer.
        for line in self._splitter.feed(self._take(0.0)):
            self._dropped += self._sort(line) is not None
        data = command
        if self._unanswered:
            # Half a reply is not continued by the next one; and an LF ends what a cut command may have
            # left at the device, where an empty line is ignored.
            self._splitter.forget()
            data = b"\n" + command
        self._busy_until = self._clock() + busy_s
        self.line.send(data)
        self._sent += len(data)
        self._repeated += command == self._last_sent
        self._unanswered, self._last_sent = True, command
        wire_s = 10.0 * (len(command) + reply_bytes + FRAME_BYTES) / self.line.rate
        deadline = self._clock() + wire_s + busy_s + GRACE_S
        while (left := deadline - self._clock()) > 0:
            found = None
            for line in self._splitter.feed(self._take(left)):
                frame = self._sort(line)
                if frame is None:
                    continue
                if found is None and frame.sequence in sequences and wanted in (None, frame.body):
                    found = frame
                else:
                    self._dropped += 1
            if found is not None:
                self._unanswered = False
                self._round_trips += 1
                self._good_at = self._clock()
                self._done_at = min(self._good_at, self._asked_at + busy_s)
                return found
        return None

    def _take(self, timeout_s: float) -> bytes:
        data = self.line.receive(timeout_s)
        self._received += len(data)
        return data

    def _sort(self, line: bytes) -> Frame | None:
        frame = unseal(line, self._nonce)
        if frame is None:
            self._dropped += 1
        elif frame.sequence == EVENT:
            self.events.append(frame)
            return None
        return frame

    def _find_count(self, busy_s: float) -> Frame | None:
        """Find where the device's count stands after a command was abandoned.

        It is at ``n``, the abandoned command's number, or one before. A probe with ``n`` and one with
        ``n + 1`` go out in turn. Once the second has been sent, only its own reply ends the search: a
        number that may still be answered is never used for another command.

        Returns the answer of the abandoned command where that came late: a device that took the command
        takes no probe with its number, so what is numbered ``n`` and does not answer a probe answers it.
        """
        n, beyond = self._sequence, (self._sequence + 1) % 256
        number, reached, beyond_sent = n, False, False
        late: Frame | None = None
        while True:
            beyond_sent = beyond_sent or number == beyond
            probe = seal(number, PROBE, self._nonce)
            # Before the second was sent nothing true is numbered like its answer.
            frame = self._exchange(probe, (n, beyond) if beyond_sent else (n,), 64, busy_s)
            if frame is not None and frame.sequence == n and frame.body != PROBED:
                late = late or frame
            if frame is not None and (frame.sequence == beyond or not beyond_sent):
                self._sequence = frame.sequence
                self._in_doubt = False
                return late
            reached = reached or frame is not None
            self._give_up_after(self.patience_s + busy_s, PROBE)
            number = beyond if reached or number == n else n

    def _give_up_after(self, patience_s: float, command: str) -> None:
        waited = self._clock() - self._progress_at
        if waited >= patience_s:
            raise LinkError(
                f"no good reply to {_short(command)} for {waited:.1f} s",
                cure="Look at cable, power and rate; what was measured before this is in the journal, "
                "and nothing is claimed from it.",
            )


def _short(command: str) -> str:
    return command if len(command) <= 40 else command[:37] + "..."
