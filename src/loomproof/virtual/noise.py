"""A line that misbehaves on command: bits flip, bytes go missing, lines come twice, all of it stalls."""

from __future__ import annotations

import random

from loomproof.errors import UsageError, suggestion
from loomproof.virtual.faults import quantity

WORDS = ("flip", "drop", "double", "stall", "cut", "mend")


class Noise:
    """What happens to bytes on their way, in both directions. Seeded, so that a bad day can be repeated."""

    def __init__(self, seed: int = 0) -> None:
        self._rng = random.Random(f"{seed}/line")
        self.flip = self.drop = self.double = 0.0
        self.cut = False
        self.stalled_until_s = 0.0

    def set(self, order: str, now_s: float) -> str:
        """Obey ``flip 1e-4``, ``drop 1e-4``, ``double 0.1``, ``stall 3``, ``cut`` or ``mend``."""
        word, _, value = order.partition(" ")
        if word not in WORDS:
            near = suggestion(word, WORDS)
            raise UsageError(f"a line cannot {word!r}", cure=near or f"It can {', '.join(WORDS)}.")
        if word in ("cut", "mend"):
            self.cut = word == "cut"
            if word == "mend":
                self.flip = self.drop = self.double = self.stalled_until_s = 0.0
            return f"line {word}"
        try:
            number = quantity(value.strip())
        except ValueError:
            raise UsageError(f"line {word} wants a number, not {value!r}") from None
        if word == "stall":
            self.stalled_until_s = now_s + number
        elif number > 1.0:
            raise UsageError(f"line {word} wants a probability from 0 to 1, not {value}")
        else:
            setattr(self, word, number)
        return f"line {word} {number:g}"

    def pass_on(self, data: bytes) -> bytes:
        """Return what arrives of the bytes sent."""
        if self.cut:
            return b""
        if not (self.flip or self.drop or self.double):
            return data
        rng = self._rng
        found = bytearray()
        for byte in data:
            if rng.random() < self.drop:
                continue
            if self.flip and rng.random() < 1.0 - (1.0 - self.flip) ** 8:
                byte ^= 1 << rng.randrange(8)
            found.append(byte)
        if self.double and rng.random() < self.double:
            found += found
        return bytes(found)
