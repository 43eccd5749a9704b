"""A blow that falls on a chosen line of the program while something runs: a stop, a death."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from types import FrameType
from typing import Any

import loomproof

SOURCES = str(Path(loomproof.__file__).parent)


class Lines:
    """Counts the lines of ours that are run within it; at the ``at``-th ``blow`` falls, at none for 0."""

    def __init__(self, at: int, blow: Callable[[], object]) -> None:
        self.count = 0
        self._at, self._blow = at, blow

    def __enter__(self) -> Lines:
        sys.settrace(self._trace)
        return self

    def __exit__(self, *_: object) -> None:
        sys.settrace(None)

    def _trace(self, frame: FrameType, what: str, _: object) -> Any:
        if not frame.f_code.co_filename.startswith(SOURCES):
            return None
        if what == "line":
            self.count += 1
            if self.count == self._at:
                self._blow()
        return self._trace
