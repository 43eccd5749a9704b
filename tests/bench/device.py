"""A small scanner for the tests of this room, written from the scanner link page alone.

It lives in memory on a clock of the test's own, so nothing sleeps. The loom on it is a list of groups
of joined points; it shares no code with the driver that it tests.
"""

from __future__ import annotations

import binascii
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field


@dataclass
class Clock:
    """A clock that moves only when it is told to."""

    now: float = 100.0

    def __call__(self) -> float:
        return self.now


@dataclass
class Scanner:
    """The device side of the link."""

    clock: Clock
    points: int = 16
    groups: Sequence[frozenset[int]] = ()
    line: int = 0
    capabilities: str = "VOLT=30,OHMS=0.01:1E6,ACC=0.1:0.01,DIOD=1,INS=100,WATCH=500,MSTIME=20"
    identity: str = "Invented Instruments,Pin Scanner,SN1,1.0"
    volts: dict[tuple[int, int], float] = field(default_factory=dict)
    rise_us: int = 0
    stuck_low: int = 0
    dead: int = 0
    settle_us: int = 500
    nonce: bytes = b""
    open: bool = False
    sequence: int = 0
    stored: tuple[bytes, bytes] = (b"", b"")
    buffer: bytes = b""
    executed: list[str] = field(default_factory=list)
    heard_at: float = 0.0
    was_low: int = 0
    busy_s: float = 0.0
    watching: int | None = None
    armed_v: float = 0.0
    refuse: dict[str, str] = field(default_factory=dict)
    most_sets: int = 10_000

    def __post_init__(self) -> None:
        self.line = self.line or 2 * -(-self.points // 4) + 48

    def feed(self, data: bytes) -> bytes:
        *lines, self.buffer = (self.buffer + data).split(b"\n")
        return b"".join(self._line(line) for line in lines if line and len(line) < self.line)

    def reset(self) -> None:
        self.open, self.nonce, self.stored, self.buffer, self.settle_us = False, b"", (b"", b""), b"", 500

    def checked(self, covered: bytes, nonce: bytes) -> bytes:
        return b":%b*%08X" % (covered, binascii.crc32(nonce + covered))

    def _line(self, line: bytes) -> bytes:
        if self.open and self.clock() - self.heard_at > 10.0:
            self.open = False
        star = line.rfind(b"*")
        covered = line[1:star]
        body = covered[2:].decode("ascii", "replace")
        opening = body.startswith("SYST:LINK:OPEN ")
        nonce = b"" if opening else self.nonce
        if not line.startswith(b":") or star < 0 or self.checked(covered, nonce) != line:
            return b""
        if line == self.stored[0]:
            self.heard_at = self.clock()
            return self.stored[1]
        number = int(covered[:2], 16)
        if opening:
            self.open, self.nonce = True, body[15:].encode()
            reply = body[15:]
        elif not self.open or number != (self.sequence + 1) % 256:
            return b""
        else:
            reply = self.execute(body)
        self.sequence, self.heard_at = number, self.clock() + self.busy_s
        answer = self.checked(covered[:2] + reply.encode(), nonce) + b"\n"
        self.stored = (line, answer)
        return answer

    def execute(self, body: str) -> str:
        self.executed.append(body)
        head, _, rest = body.partition(" ")
        if head in self.refuse:
            return self.refuse[head]
        if head in ("SENS:DRIV?", "WATC:STAR") and rest.count(",") + 1 > self.most_sets:
            return 'ERR -223,"Too much data"'
        if head == "*IDN?":
            return self.identity
        if head == "SYST:CAP?":
            return f"LINK=1,POINTS={self.points},LINE={self.line},{self.capabilities}"
        if head == "SENS:SETT":
            self.settle_us = int(rest)
            return "OK"
        if head == "SENS:DRIV?":
            return ",".join(f"#H{self.low(int(text[2:], 16)):X}" for text in rest.split(","))
        if head.startswith("MEAS:TEMP"):
            return "2.15000E+1"
        if head.startswith("MEAS:"):
            a, b, *more = rest.split(",")
            return self.measure(head[5:-1], int(a[2:], 16), int(b[2:], 16), more)
        if head == "SYST:ARM":
            self.armed_v = float(rest)
            return "OK"
        if head == "SYST:LINK?":
            return "1,2,3"
        if head == "*TST?":
            return "0"
        if head == "WATC:STAR":
            self.watching = 0
            return "OK"
        if head == "WATC:STOP":
            count, self.watching = self.watching or 0, None
            return f"10,{count},0"
        return "OK"

    def event(self, time_us: int, index: int, low: int, skip: bool = False) -> bytes:
        number = self.watching or 0
        self.watching = number + 1
        body = f"!!{number},{time_us},{index},#H{low:X}".encode()
        return b"" if skip else self.checked(body, self.nonce) + b"\n"

    def low(self, drive: int) -> int:
        driven = {i + 1 for i in range(self.points) if drive >> i & 1 and not self.dead >> i & 1}
        low = driven.union(*(group for group in self.groups if group & driven))
        found = sum(1 << (point - 1) for point in low) | self.stuck_low
        shown = found | (self.was_low if self.settle_us < self.rise_us else 0)
        self.was_low = found
        return shown

    def measure(self, what: str, a: int, b: int, more: Sequence[str]) -> str:
        if what == "VOLT":
            pair = (a.bit_length(), b.bit_length())
            return f"{self.volts.get(pair, 0.0):.4E}"
        if what == "INS":
            if float(more[0]) > self.armed_v:
                return 'ERR -203,"not armed"'
            self.armed_v = 0.0
            return "5.0E8"
        joined = any(a & self.low(1 << i) for i in range(self.points) if b >> i & 1)
        if what == "DIOD":
            return "0.6" if joined else "9.9E37"
        return "1.25000E-1" if joined else "9.9E37"


Filter = Callable[[bytes], list[bytes]]


@dataclass
class MemoryLine:
    """A line to a scanner in memory. ``to`` and ``fro`` may drop, double, change or hold back."""

    scanner: Scanner
    clock: Clock
    to: Filter = lambda data: [data]
    fro: Filter = lambda data: [data]
    rate: int = 115_200
    arrived: bytes = b""
    closed: bool = False
    sent: list[bytes] = field(default_factory=list)
    device_rate: int = 115_200

    def send(self, data: bytes) -> None:
        self.sent.append(data)
        self.clock.now += 10 * len(data) / self.rate
        if self.rate != self.device_rate:
            return
        for part in self.to(data):
            reply = self.scanner.feed(part)
            if reply:
                self.arrived += b"".join(self.fro(reply))

    def receive(self, timeout_s: float) -> bytes:
        if not self.arrived or timeout_s <= 0.0:
            self.clock.now += timeout_s
        data, self.arrived = self.arrived, b""
        self.clock.now += 10 * len(data) / self.rate
        return data

    def set_rate(self, rate: int) -> None:
        self.rate = rate

    def close(self) -> None:
        self.closed = True
