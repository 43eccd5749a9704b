"""What one check of a bench before a proof saw."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Check:
    """One check: its name, whether it passed, and what was seen."""

    name: str
    passed: bool
    text: str
