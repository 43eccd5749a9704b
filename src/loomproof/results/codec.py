"""Texts and moments as files hold them, and what a reader of files finds wrong, said with its place."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from pydantic import AfterValidator, Strict, ValidationError


def _writable(text: str) -> str:
    try:
        text.encode()
    except UnicodeEncodeError:
        raise ValueError("a text without halves of signs is expected") from None
    return text


def _moment(text: str) -> str:
    try:
        read = datetime.fromisoformat(text)
    except ValueError:
        read = datetime.min
    if read.tzinfo is None or not 1900 <= read.year <= 9000:
        raise ValueError("a date with time and zone is expected")
    return text


Text = Annotated[str, Strict(), AfterValidator(_writable)]
"""A text that can be written down: JSON can spell halves of signs that are none."""

Moment = Annotated[str, Strict(), AfterValidator(_moment)]
"""A date with time and zone, as text; far enough from the calendar's ends to count from."""


def fault_of(error: ValidationError) -> str:
    """Return the first thing that a value was refused for: ``repeats: Input should be … (found 0)``."""
    first = error.errors(include_url=False)[0]
    place = ".".join(map(str, first["loc"]))
    said = first["msg"].removeprefix("Value error, ")
    if first["type"] == "missing":
        return f"{place} is missing"
    value = first["input"]
    # Of a number of thousands of digits Python makes no text.
    shown = "a number far too large" if isinstance(value, int) and abs(value) > 10**30 else ascii(value)[:60]
    return f"{place}: {said} (found {shown})" if place else f"{said} (found {shown})"
