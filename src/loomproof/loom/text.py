"""Names and other texts: what a description may hold, and how names stand in a list.

In a list names are separated by blanks; one that holds a blank or a mark with a meaning of its own
stands in double quotes, a double quote within it doubled: ``ECU "rear lamp" S1``.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from functools import lru_cache
from itertools import islice

LONGEST = 32_767
"""Characters in the longest text: what a cell of an XLSX workbook holds."""

_PLAIN = re.compile(r'[^\s\x1c-\x1f:",;=]+')
"""A name that stands in a list without quotes."""


def flaw(text: str) -> str:
    """Return what keeps this text out of a description, or an empty text where nothing does."""
    if text.isprintable() and len(text) <= LONGEST and text[:1] != " " and text[-1:] != " ":
        return ""
    if len(text) > LONGEST:
        return f"is longer than the {LONGEST} characters that a spreadsheet cell holds"
    for mark in text:
        if mark in "\n\r":
            return "holds a line break"
        if unicodedata.category(mark) == "Cc" or mark in "\ufffe\uffff":
            return f"holds the control character U+{ord(mark):04X}"
        if unicodedata.category(mark) == "Cs":
            return f"holds the broken character U+{ord(mark):04X} (half of a pair)"
    return "has a blank at its start or end" if text.strip() != text else ""


def shortened(text: str, most: int = 200) -> str:
    """Return a text cut to what a message can hold."""
    return text if len(text) <= most else f"{text[:most]}…"


def first_of(items: Iterable[object], most: int = 12, *, count: int | None = None) -> str:
    """Return things with commas; of many, the first and how many more: ``1, 2, 3 and 9 more``.

    ``count`` is how many there are where that is known: no more than the first are then taken.
    """
    told = list(items if count is None else islice(items, most))
    count = len(told) if count is None else count
    more = f" and {count - most} more" if count > most else ""
    return ", ".join(map(str, told[:most])) + more


@lru_cache(maxsize=2**14)
def quoted(name: str) -> str:
    """Return the name as it stands in a list: in double quotes where it needs them."""
    if _PLAIN.fullmatch(name):
        return name
    return '"' + name.replace('"', '""') + '"'


def list_of(names: Iterable[str]) -> str:
    """Return names as one text that `names_of` reads back."""
    return " ".join(quoted(name) for name in names)


def names_of(text: str) -> tuple[str, ...]:
    """Read a list of names. Raises `ValueError` with what is wrong."""
    names: list[str] = []
    rest = text.strip()
    while rest:
        name, rest = next_name(rest, text)
        if rest and not rest[0].isspace():
            raise ValueError(f"{text!r}: a blank is missing before {rest!r}")
        names.append(name)
        rest = rest.strip()
    return tuple(names)


def next_name(rest: str, text: str, stops: str = "") -> tuple[str, str]:
    """Take one name off the front of ``rest``; it ends at a blank or at one of ``stops``.

    Returns the name and what follows it. Raises `ValueError` naming ``text`` where a quote is not closed.
    """
    if not rest.startswith('"'):
        stop = next((i for i, mark in enumerate(rest) if mark.isspace() or mark in stops), len(rest))
        return rest[:stop], rest[stop:]
    parts: list[str] = []
    i = 1
    while (close := rest.find('"', i)) >= 0:
        parts.append(rest[i:close])
        if rest[close + 1 : close + 2] != '"':
            return "".join(parts), rest[close + 1 :]
        parts.append('"')
        i = close + 2
    raise ValueError(f"{text!r}: a closing double quote is missing")


def natural(name: str) -> list[tuple[int, int, str]]:
    """Order names as people do: 2 before 10, A9 before A10; the guess where cavities are only listed."""
    parts = re.findall(r"[0-9]{1,18}|[^0-9]+", name[:LONGEST])
    return [(0, int(part), part) if part.isdecimal() else (1, 0, part) for part in parts]


def pointed(text: str) -> str:
    """Return a number's text with a point for the comma that parts its decimals: ``0,75`` is ``0.75``.

    ``1,000`` may be a thousand as well and stays as it is, as does whatever is no number with one comma.
    """
    return text.replace(",", ".") if _COMMA.fullmatch(text.strip()) else text


_COMMA = re.compile(r"[+-]?(?:0,\d+|\d+,(?!\d{3}\D*$)\d+)(?:[eE][+-]?\d+)?")
