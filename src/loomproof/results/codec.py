"""Texts and moments as files hold them, and what a reader of files finds wrong, said with its place."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from pydantic import AfterValidator, PlainSerializer, PlainValidator, Strict, ValidationError


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


def _points(text: object) -> int:
    points = int(text, 16) if isinstance(text, str) and text.startswith("0x") else -1
    if points < 0:
        raise ValueError("points as a hex text such as 0x1f are expected")
    return points


Text = Annotated[str, Strict(), AfterValidator(_writable)]
"""A text that can be written down: JSON can spell halves of signs that are none."""

Points = Annotated[int, PlainValidator(_points), PlainSerializer(hex, return_type=str)]
"""A set of points, bit 0 for point 1, which stands as a hex text."""

Moment = Annotated[str, Strict(), AfterValidator(_moment)]
"""A date with time and zone, as text; far enough from the calendar's ends to count from."""


def fault_of(error: ValidationError) -> str:
    """Return the first thing that a value was refused for: ``repeats: Input should be … (found 0)``."""
    first = error.errors(include_url=False)[0]
    place = ".".join(map(str, first["loc"]))
    said = first["msg"].removeprefix("Value error, ")
    if first["type"] == "missing":
        return f"{place} is missing"
    if first["type"] == "json_invalid":  # it says what and where; what was found may be a whole file
        return said
    value = first["input"]
    # Of a number of thousands of digits Python makes no text.
    shown = "a number far too large" if isinstance(value, int) and abs(value) > 10**30 else ascii(value)[:60]
    return f"{place}: {said} (found {shown})" if place else f"{said} (found {shown})"
