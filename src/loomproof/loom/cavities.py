"""Cavity rows as text: ``1-16 / 17-32``, seen from the mating face.

Names are separated by blanks, rows by a slash, ``.`` is a gap. A range counts up or down and keeps its
leading zeros and the letters before its number: ``01-09``, ``A1-A8``, ``16-9``, ``A-F``. A name that holds
a blank, a slash or a double quote, or looks like a range or a gap, stands in double quotes.
"""

from __future__ import annotations

import re

from loomproof.loom.text import next_name

Rows = tuple[tuple[str, ...], ...]

_RANGE = re.compile(r"(?P<head>\D*?)(?P<first>\d{1,6})-(?P<again>\D*?)(?P<last>\d{1,6})", re.ASCII)
_LETTERS = re.compile(r"(?P<first>[A-Z])-(?P<last>[A-Z])|(?P<low>[a-z])-(?P<high>[a-z])", re.ASCII)

MOST_CAVITIES = 10_000
"""Cavities in one connector; more is a slip of the hand."""


def read_rows(text: str) -> Rows:
    """Read cavity rows. Raises `ValueError` with what is wrong."""
    rows: list[list[str]] = [[]]
    rest = text.strip()
    if not rest:
        return ()
    while rest:
        if rest[0] == "/":
            rows.append([])
            rest = rest[1:].lstrip()
            continue
        is_literal = rest[0] == '"'
        name, rest = next_name(rest, text, "/")
        if is_literal and not name:
            raise ValueError(f"{text!r}: a name between the double quotes is missing")
        if is_literal and rest and not (rest[0].isspace() or rest[0] == "/"):
            raise ValueError(f"{text!r}: a blank is missing before {rest!r}")
        rest = rest.lstrip()
        rows[-1] += [name] if is_literal else _expanded(name)
        if sum(map(len, rows)) > MOST_CAVITIES:
            raise ValueError(f"more than {MOST_CAVITIES} cavities")
    if not all(rows):
        raise ValueError(f"{text!r}: a row is empty")
    return tuple(tuple(row) for row in rows)


def _expanded(name: str) -> list[str]:
    if name == ".":
        return [""]
    if match := _RANGE.fullmatch(name):
        head, first, last = match["head"], match["first"], match["last"]
        if match["again"] not in ("", head):
            return [name]
        low, high = (first, last) if int(first) <= int(last) else (last, first)
        if len(low) > len(high) or (high[0] == "0" and len(low) != len(high)):
            raise ValueError(f"{name!r}: both ends of a range need the same leading zeros")
        if int(high) - int(low) >= MOST_CAVITIES:
            raise ValueError(f"{name!r}: more than {MOST_CAVITIES} cavities")
        width = len(low)
        numbers = [f"{head}{n:0{width}d}" for n in range(int(low), int(high) + 1)]
        return numbers if low == first else numbers[::-1]
    if match := _LETTERS.fullmatch(name):
        first, last = (match["first"] or match["low"]), (match["last"] or match["high"])
        step = 1 if first <= last else -1
        return [chr(code) for code in range(ord(first), ord(last) + step, step)]
    return [name]


def write_rows(rows: Rows) -> str:
    """Return rows as text that `read_rows` reads back; runs of three or more become ranges."""
    return " / ".join(" ".join(_compressed(row)) for row in rows)


def _compressed(row: tuple[str, ...]) -> list[str]:
    parts: list[str] = []
    i = 0
    while i < len(row):
        stop = i + 1
        for step in (1, -1):
            j = i + 1
            while j < len(row) and row[j] == _after(row[j - 1], step):
                j += 1
            if j > stop:
                stop = j
        run = row[i:stop]
        as_range = f"{run[0]}-{run[-1]}"
        if len(run) >= 3 and _reads_as(as_range, run):
            parts.append(as_range)
        else:
            parts += [_written(name) for name in run]
        i = stop
    return parts


def _reads_as(text: str, names: tuple[str, ...]) -> bool:
    try:
        return read_rows(text) == (names,)
    except ValueError:
        return False


def _after(name: str, step: int) -> str:
    match = re.fullmatch(r"(\D*)(\d{1,6})", name, re.ASCII)
    if match and int(match[2]) + step >= 0:
        return (
            f"{match[1]}{int(match[2]) + step:0{len(match[2])}d}"
            if match[2][0] == "0"
            else (f"{match[1]}{int(match[2]) + step}")
        )
    if len(name) == 1 and name.isascii() and name.isalpha():
        return chr(ord(name) + step)
    return ""


def _written(name: str) -> str:
    if not name:
        return "."
    if name != "." and _reads_as(name, (name,)):
        return name
    return '"' + name.replace('"', '""') + '"'
