"""A line that does harm, between a host and a device: seeded, so that a bad day can be repeated.

It works on the bytes of a stream in both directions, knows nothing of the driver under test, and is used
in memory on a clock of the test's own (`simline`) and between real sockets (`proxy`).
"""

from __future__ import annotations

import math
import random
import zlib
from dataclasses import dataclass, field

LIE = b"#H0"


@dataclass(frozen=True)
class Harm:
    """What the line and the device do wrong. Probabilities are per bit (``flip``) or per line."""

    flip: float = 0.0
    lose_byte: float = 0.0
    drop: float = 0.0
    double: float = 0.0
    cut: float = 0.0
    late: float = 0.0
    late_s: float = 0.7
    stale: float = 0.0
    wrong_number: float = 0.0
    flood: float = 0.0
    slow_s: float = 0.0
    reset: float = 0.0
    dead_after: int = 0


@dataclass
class Noise:
    """Applies harm to lines on their way. Returns pieces with the seconds by which each comes late."""

    harm: Harm
    seed: int = 0
    lines: int = 0
    heard: list[bytes] = field(default_factory=list)
    nonces: list[bytes] = field(default_factory=list)
    batches: list[int] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.rng = random.Random(f"{self.seed}/harm")

    @property
    def sets_a_batch(self) -> float:
        """How many sets a sensing command carried, on average, as the host sent them."""
        return sum(self.batches) / len(self.batches) if self.batches else 0.0

    def resets(self) -> bool:
        """Whether the device loses its power now."""
        return self.rng.random() < self.harm.reset

    def to_device(self, data: bytes) -> list[tuple[float, bytes]]:
        """What arrives of the host's bytes."""
        if b"SYST:LINK:OPEN " in data:
            self.nonces.append(data.split(b"SYST:LINK:OPEN ")[1][:8])
        if b"SENS:DRIV?" in data:
            self.batches.append(data.count(b",") + 1)
        return self._way(data)

    def to_host(self, data: bytes) -> list[tuple[float, bytes]]:
        """What arrives of the device's bytes, and what arrives besides."""
        rng, harm = self.rng, self.harm
        found: list[tuple[float, bytes]] = []
        for line in data.splitlines(keepends=True):
            if rng.random() < harm.flood:
                found.append((0.0, self._junk(line)))
            if self.heard and rng.random() < harm.stale:
                found.append((0.0, rng.choice(self.heard)))
            if rng.random() < harm.wrong_number:
                # A device with a fault of its own answers for another command: the check is good.
                found.append((0.0, self._renumbered(line)))
            found += [(late + harm.slow_s, piece) for late, piece in self._way(line)]
        return found

    def new_connection(self) -> None:
        """Remember nothing but what may still be in the channel."""
        self.nonces.clear()

    def remember(self, data: bytes) -> None:
        """Keep replies of an earlier connection, to send them again in a later one."""
        self.heard += data.splitlines(keepends=True)

    def _way(self, data: bytes) -> list[tuple[float, bytes]]:
        rng, harm = self.rng, self.harm
        self.lines += 1
        if harm.dead_after and self.lines > harm.dead_after:
            return []
        if rng.random() < harm.drop:
            return []
        if rng.random() < harm.cut:
            data = data[: rng.randrange(len(data))]
        data = self._bytes(data)
        late = rng.uniform(0.0, 2.0 * harm.late_s) if rng.random() < harm.late else 0.0
        pieces = [(late, data)]
        if rng.random() < harm.double:
            pieces.append((late, data))
        return pieces

    def _bytes(self, data: bytes) -> bytes:
        rng, harm = self.rng, self.harm
        out = bytearray(data)
        if harm.flip:
            # Gaps between flipped bits are geometric, so quiet lines cost nothing.
            place = self._gap(harm.flip)
            while place < 8 * len(out):
                out[place // 8] ^= 1 << (place % 8)
                place += 1 + self._gap(harm.flip)
        if harm.lose_byte:
            out = bytearray(byte for byte in out if rng.random() >= harm.lose_byte)
        return bytes(out)

    def _gap(self, rate: float) -> int:
        return int(math.log(1.0 - self.rng.random()) / math.log(1.0 - rate))

    def _junk(self, line: bytes) -> bytes:
        rng = self.rng
        kind = rng.randrange(3)
        if kind == 0:
            return bytes(rng.randrange(256) for _ in range(rng.randrange(200)))
        if kind == 1:
            return (line[:3] + LIE + b"*%08X\n" % rng.getrandbits(32)) * rng.randrange(1, 20)
        return b":" + b"0" * rng.randrange(5000)

    def _renumbered(self, line: bytes) -> bytes:
        if not self.nonces or not line.startswith(b":") or len(line) < 13:
            return b""
        number = (int(line[1:3], 16) + self.rng.choice((-1, 1, 7))) % 256 if line[1:2] != b"!" else 0
        covered = b"%02X" % number + LIE
        return b":" + covered + b"*%08X\n" % zlib.crc32(self.nonces[-1] + covered)
