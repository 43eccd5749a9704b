"""Says a sentence aloud through whatever speech program is installed; silent where there is none."""

from __future__ import annotations

import contextlib
import shutil
import subprocess
from collections.abc import Callable

PROGRAMS = ("espeak-ng", "spd-say", "say")
"""Looked for in this order."""


class Voice:
    """One sentence at a time: a new one cuts the one before short. ``on`` is whether it speaks."""

    def __init__(self, find: Callable[[str], str | None] = shutil.which) -> None:
        self._program = next((found for name in PROGRAMS if (found := find(name))), None)
        self.on = self._program is not None
        self._speaking: subprocess.Popen[bytes] | None = None

    @property
    def there(self) -> bool:
        """Whether there is a program that speaks."""
        return self._program is not None

    def say(self, text: str) -> None:
        """Say it, and do not wait."""
        self.hush()
        if not self.on or self._program is None:
            return
        with contextlib.suppress(OSError):
            self._speaking = subprocess.Popen(
                [self._program, "--", text] if not self._program.endswith("/say") else [self._program, text],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )

    def hush(self) -> None:
        """End what is being said."""
        if self._speaking is not None:
            if self._speaking.poll() is None:
                self._speaking.terminate()
            with contextlib.suppress(subprocess.TimeoutExpired):
                self._speaking.wait(1.0)
            self._speaking = None
