"""The device's side of the scanner link: bytes in, bytes out, against a clock that the caller holds.

Plain lines are for a person at a terminal while no link is open; checked lines carry a sequence number
and a CRC over the connection's nonce. The rules are those of ``firmware_notes/scanner_link.md``.
"""

from __future__ import annotations

import re
import zlib
from collections import deque
from typing import NamedTuple

from loomproof.virtual.commands import Answer, Commands, Refused, Watch, header_of
from loomproof.virtual.pointsets import write_set
from loomproof.virtual.scanner import Scanner
from loomproof.virtual.solve import NoSolutionError

FIRST_BAUD = 115_200
LINK_IDLE_S = 10.0
WATCH_IDLE_S = 5.0
BAUD_TRIAL_S = 2.0
PLAIN_FRAME_BYTES = 1
CHECKED_FRAME_BYTES = 13
MOST_WAITING_BYTES = 16_384
QUIET_CYCLES = 3

_CHECKED = re.compile(rb":([0-9A-F]{2})(.*)\*([0-9A-F]{8})\Z", re.DOTALL)
_NONCE = re.compile(r"[0-9A-F]{8}\Z")


class Sent(NamedTuple):
    """Bytes for the host: not before ``ready_s``, at ``baud``."""

    ready_s: float
    data: bytes
    baud: int


class _Line(NamedTuple):
    body: bytes
    arrived_s: float


def checked(nonce: bytes, sequence: bytes, body: bytes) -> bytes:
    """Return a checked line: ``:SSbody*CCCCCCCC`` LF."""
    crc = zlib.crc32(nonce + sequence + body)
    return b":%b%b*%08X\n" % (sequence, body, crc)


class Device:
    """One scanner on one line. Call `feed` with what arrives, then `step` for what goes out."""

    def __init__(self, scanner: Scanner) -> None:
        self.scanner = scanner
        self.commands = Commands(scanner)
        self.waiting_bytes = 0
        self.loom_s = 0.0
        self._part = bytearray()
        self._overlong = False
        self._inbox: deque[_Line] = deque()
        self.power_on(0.0)

    # State

    def power_on(self, now_s: float) -> None:
        """Start anew, as at power-on or reset: released, no link, first rate, counters at zero."""
        self.commands.power_on()
        self.lines = self.dropped = self.repeated = 0
        self._part.clear()
        self._overlong = False
        self._inbox.clear()
        self._out: list[Sent] = []
        self.busy_s = now_s
        self._line_good_s = now_s
        self._close()

    def _close(self) -> None:
        self.nonce: bytes | None = None
        self._sequence = 0
        self._stored_line = b""
        self._stored_reply = b""
        self._resent_busy = False
        self._command_end_s = 0.0
        self.baud = FIRST_BAUD
        self._trial_end_s: float | None = None

    # Bytes in

    def feed(self, data: bytes, now_s: float) -> None:
        """Take bytes from the line; a line longer than ``LINE`` is dropped to its LF."""
        limit = self.scanner.make.line_bytes
        for piece in _split(data):
            ended = piece.endswith(b"\n")
            if self._overlong:
                self._overlong = not ended
                continue
            self._part += piece
            if len(self._part) > limit:
                self._part.clear()
                self.dropped += 1
                self._overlong = not ended
            elif ended:
                body = bytes(self._part[:-1])
                self._part.clear()
                body = body.removesuffix(b"\r")
                if body:
                    self._inbox.append(_Line(body, now_s))

    # Time

    def step(self, now_s: float) -> list[Sent]:
        """Do what is due and return what is to be sent, in order."""
        self._expire(now_s)
        while self._inbox and now_s >= self.busy_s:
            self._take(self._inbox.popleft(), now_s)
        self._run_watch(now_s)
        out, self._out = self._out, []
        return out

    def wake_s(self, now_s: float) -> float:
        """Return when `step` has something to do next, if nothing arrives; infinity if nothing."""
        due = [float("inf")]
        if self._inbox:
            due.append(self.busy_s)
        if self.nonce is not None:
            due.append(self._command_end_s + LINK_IDLE_S)
        if self._trial_end_s is not None:
            due.append(self._trial_end_s)
        watch = self.commands.watch
        if watch:
            due.append(self._line_good_s + WATCH_IDLE_S)
            due.append(now_s + max(watch.cycle_s, 0.01))
        return min(due)

    def _expire(self, now_s: float) -> None:
        ends = []
        if self._trial_end_s is not None:
            ends.append(self._trial_end_s)
        if self.nonce is not None:
            ends.append(self._command_end_s + LINK_IDLE_S)
        # A line that came in time and still waits to be looked at keeps the link open.
        if any(now_s > end and not any(line.arrived_s <= end for line in self._inbox) for end in ends):
            self.commands.release()
            self._close()

    # Lines

    def _take(self, line: _Line, now_s: float) -> None:
        self.loom_s += (len(line.body) + 1) * 10.0 / self.baud
        if not line.body.startswith(b":"):
            self._plain(line, now_s)
            return
        match = _CHECKED.match(line.body)
        if not match:
            self.dropped += 1
            return
        sequence, body, crc = match.groups()
        opening = header_of(body.decode("ascii", "replace")) == "SYST:LINK:OPEN"
        nonce = b"" if opening else self.nonce
        if nonce is None or zlib.crc32(nonce + sequence + body) != int(crc, 16):
            self.dropped += 1
        elif self._stored_line and line.body == self._stored_line:
            self._repeat(line, now_s)
        elif opening:
            self._open(line, sequence, body, now_s)
        elif int(sequence, 16) == (self._sequence + 1) % 256:
            self._good(now_s)
            self._execute(line, sequence, body, now_s)
        else:
            self.dropped += 1

    def _good(self, now_s: float) -> None:
        self.lines += 1
        self._line_good_s = now_s
        self._trial_end_s = None

    def _repeat(self, line: _Line, now_s: float) -> None:
        self._good(now_s)
        self.repeated += 1
        if line.arrived_s < self.busy_s:
            # It came while the command was still being executed: however often, it is answered once.
            if self._resent_busy:
                return
            self._resent_busy = True
        self._send(self._stored_reply, now_s)

    def _plain(self, line: _Line, now_s: float) -> None:
        if self.nonce is not None:
            self.dropped += 1
            return
        self._good(now_s)
        body = line.body.decode("ascii", "replace")
        answer = self._answer(body, now_s, PLAIN_FRAME_BYTES)
        self.busy_s = now_s + answer.work_s
        self._send(answer.text.encode() + b"\n", self.busy_s)

    def _open(self, line: _Line, sequence: bytes, body: bytes, now_s: float) -> None:
        self.lines += 1
        self._line_good_s = now_s
        word = body.decode("ascii", "replace").partition(" ")[2]
        if not _NONCE.match(word):
            text = self.commands.refuse(
                Refused(-102, "Syntax error; a nonce of eight hex digits is expected")
            )
            self._send(checked(b"", sequence, text.encode()), now_s)
            return
        baud, self._trial_end_s = self.baud, None
        self.commands.release()
        self._close()
        self.baud = baud
        self.nonce = word.encode()
        self._sequence = int(sequence, 16)
        self._store(line, checked(b"", sequence, word.encode()), now_s)

    def _execute(self, line: _Line, sequence: bytes, body: bytes, now_s: float) -> None:
        text = body.decode("ascii", "replace")
        self._sequence = int(sequence, 16)
        nonce = self.nonce or b""
        answer = self._answer(text, now_s, CHECKED_FRAME_BYTES)
        self.busy_s = now_s + answer.work_s
        self._store(line, checked(nonce, sequence, answer.text.encode()), self.busy_s)
        self._after(header_of(text), text, answer)

    def _store(self, line: _Line, reply: bytes, done_s: float) -> None:
        self._stored_line, self._stored_reply = line.body, reply
        self._resent_busy = False
        self._command_end_s = done_s
        self._send(reply, done_s)

    def _after(self, header: str, text: str, answer: Answer) -> None:
        """What happens to the line itself once the reply is on its way."""
        if answer.text != "OK":
            return
        if header == "SYST:LINK:CLOS":
            self._close()
        elif header == "SYST:BAUD":
            self.baud = int(text.partition(" ")[2])
            self._trial_end_s = self.busy_s + BAUD_TRIAL_S

    def _answer(self, body: str, now_s: float, frame_bytes: int) -> Answer:
        try:
            answer = self._link_command(body) or self.commands.execute(
                body, time_s=now_s, loom_s=self.loom_s, frame_bytes=frame_bytes
            )
        except Refused as refusal:
            answer = Answer(self.commands.refuse(refusal))
        except NoSolutionError as error:
            answer = Answer(self.commands.refuse(Refused(-310, f"System error; {error}")))
        self.loom_s += answer.work_s + (len(answer.text) + frame_bytes) * 10.0 / self.baud
        return answer

    def _link_command(self, body: str) -> Answer | None:
        header, space, word = body.partition(" ")
        header = header_of(header)
        if space and header in ("SYST:LINK?", "SYST:LINK:CLOS"):
            raise Refused(-108, "Parameter not allowed")
        if header == "SYST:LINK?":
            return Answer(f"{self.lines},{self.dropped},{self.repeated}")
        if header not in ("SYST:LINK:CLOS", "SYST:BAUD", "SYST:LINK:OPEN"):
            return None
        if self.commands.watch:
            raise Refused(-221, "Settings conflict; a watch is running")
        if header == "SYST:LINK:OPEN":
            raise Refused(-221, "Settings conflict; only a checked line opens the link")
        if header == "SYST:LINK:CLOS":
            self.commands.release()
            return Answer("OK")
        if not word.isascii() or not word.isdecimal():
            raise Refused(-104, "Data type error; a rate is expected")
        if self.nonce is None:
            raise Refused(-221, "Settings conflict; no link is open")
        if not 300 <= int(word) <= self.scanner.make.baud_max:
            raise Refused(-222, f"Data out of range; 300 to {self.scanner.make.baud_max}")
        return Answer("OK")

    # Watching

    def _run_watch(self, now_s: float) -> None:
        watch = self.commands.watch
        if watch is None or now_s < self.busy_s:
            return
        idle_end_s = self._line_good_s + WATCH_IDLE_S
        due = int((min(now_s, idle_end_s) - watch.began_s) / watch.cycle_s)
        while watch.cycles < due:
            self._watch_cycle(watch, now_s)
            if watch.quiet_cycles >= QUIET_CYCLES and watch.version == self.scanner.version:
                # Nothing can change before the next contact opens or closes: those cycles are counted only.
                change_s = self.scanner.network.next_change_s(self.loom_s) - watch.loom_s
                watch.cycles = max(watch.cycles, int(min(due, change_s / watch.cycle_s)))
        if now_s >= idle_end_s:
            self._event(idle_end_s, now_s, -1, 0)
            self.commands.release()

    def _watch_cycle(self, watch: Watch, now_s: float) -> None:
        at_s = watch.cycles * watch.cycle_s
        self.loom_s = max(self.loom_s, watch.loom_s + at_s)
        each_s = self.commands.vector_s()
        watch.quiet_cycles += 1
        for index, drive in enumerate(watch.sets):
            low = self.scanner.sense(drive, self.loom_s + index * each_s, self.commands.settle_s)
            if low != watch.seen[index]:
                watch.seen[index] = low
                watch.quiet_cycles = 0
                self._event(watch.began_s + at_s, now_s, index, low)
        if watch.version != self.scanner.version:
            watch.version, watch.quiet_cycles = self.scanner.version, 0
        watch.cycles += 1

    def _event(self, at_s: float, now_s: float, index: int, low: int) -> None:
        watch = self.commands.watch
        assert watch is not None
        micros = round((at_s - watch.began_s) * 1e6)
        body = f"!{watch.events},{micros},{index},{write_set(low)}".encode()
        watch.events += 1
        if self.waiting_bytes + sum(len(sent.data) for sent in self._out) > MOST_WAITING_BYTES:
            watch.lost += 1
        elif self.nonce is None:
            self._send(body + b"\n", now_s)
        else:
            self._send(checked(self.nonce, b"!", body), now_s)

    def _send(self, data: bytes, ready_s: float) -> None:
        self._out.append(Sent(ready_s, data, self.baud))


def _split(data: bytes) -> list[bytes]:
    """Split after each LF and nowhere else."""
    pieces = data.split(b"\n")
    return [piece + b"\n" for piece in pieces[:-1]] + ([pieces[-1]] if pieces[-1] else [])
