"""Point sets as the scanner link writes them: ``#H`` and hex digits, bit 0 is point 1."""

from __future__ import annotations

import re

_FORM = re.compile(r"#[Hh]([0-9A-Fa-f]+)\Z")


def read_set(text: str) -> int:
    """Read a point set (``#H105`` is points 1, 3 and 9). Raises `ValueError` for anything else."""
    match = _FORM.match(text)
    if not match:
        raise ValueError(f"{text!r} is no point set")
    return int(match[1], 16)


def write_set(points: int) -> str:
    """Write a point set without leading zeros; the empty set is ``#H0``."""
    return f"#H{points:X}"


def indexes(points: int) -> list[int]:
    """Return the positions of the set's points, counted from 0, ascending."""
    found = []
    while points:
        low = points & -points
        found.append(low.bit_length() - 1)
        points ^= low
    return found
