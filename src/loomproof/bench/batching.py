"""How many sets go into one sensing command: as many as fit the line, fewer on a line that fails.

A device counts each set of its answer with a comma, the last one's too, so the host does as well.
"""

from __future__ import annotations

from collections.abc import Sequence

from loomproof.bench.frames import FRAME_BYTES, write_set
from loomproof.bench.seam import PointSet

SENSE = "SENS:DRIV? "
TOO_MUCH_DATA = -223
"""The code with which a device refuses a command whose answer could outgrow its line."""

CLEAN_BEFORE_GROWTH = 16
_HEAD_BYTES = len(write_set(0)) - 1
"""What stands before the hexadecimal digits of a set."""


class Batches:
    """Sizes batches by the longest possible reply; ``line_bytes`` and ``points`` are the device's own."""

    def __init__(self, line_bytes: int, points: int) -> None:
        self._line_bytes = line_bytes
        self._set_bytes = -(-points // 4) + 2
        self._budget = line_bytes
        self._most: int | None = None
        self._clean = 0

    def after(self, drives: Sequence[PointSet], start: int) -> Sequence[PointSet]:
        """Return the next batch: at least one set, and as many as command and reply have room for."""
        sent, told = FRAME_BYTES + len(SENSE) - 1, FRAME_BYTES
        stop = start
        while stop < len(drives):
            sent += 1 + _HEAD_BYTES + max(1, -(-drives[stop].bit_length() // 4))
            told += 1 + self._set_bytes
            if stop > start and (max(sent, told) > self._budget or stop - start == self._most):
                break
            stop += 1
        return drives[start:stop]

    def reply_bytes(self, count: int) -> int:
        """Return how long the reply to so many sets can be."""
        return count * (self._set_bytes + 1)

    def refused(self, count: int) -> None:
        """Never send so many sets at once again: the device reckons with a longer answer than we do."""
        self._most = max(1, count * 3 // 4)

    def failed(self) -> None:
        """Halve what follows."""
        self._budget, self._clean = self._budget // 2, 0

    def passed(self) -> None:
        """Count a clean one; after sixteen of them what follows doubles."""
        self._clean += 1
        if self._clean >= CLEAN_BEFORE_GROWTH and self._budget < self._line_bytes:
            self._budget, self._clean = min(2 * self._budget, self._line_bytes), 0
