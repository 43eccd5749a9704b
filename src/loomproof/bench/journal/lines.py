"""The form of a journal's lines, both ways.

One JSON object a line, UTF-8. The first is the header: ``schema``, ``address``, ``identity``,
``capabilities`` and ``run``, the mapping that the caller passed in. Each further line is one exchange:
``n`` counts from 1, ``t`` is seconds since the header, ``ask`` the question, and ``answer`` what the bench
said, or ``error`` what went wrong. An infinite value stands as ``"open"``.

The readers raise `ValueError` for whatever the writers would not have written.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import Any

import loomproof.errors as errors
from loomproof.bench.frames import read_set, write_set
from loomproof.bench.seam import (
    Accuracy,
    Capabilities,
    Identity,
    PointSet,
    Statistics,
    WatchEvent,
    WatchSummary,
)
from loomproof.errors import BenchError, RefusedError

SCHEMA = 2
"""2: looks at every feed for a voltage before anything is driven, and asks at the end who the bench is."""

OPEN = "open"
MOST = 9.9e37
"""What no reading reaches: SCPI's infinity."""

# -- writing -------------------------------------------------------------------------------------


def ask_sense(drives: Sequence[PointSet]) -> list[Any]:
    """Return the question that senses these sets."""
    return ["sense", [write_set(drive) for drive in drives]]


def nothing(_: object) -> None:
    """Return what stands for an answer that says nothing but that it is done."""


def sets(found: Sequence[PointSet]) -> list[str]:
    """Return point sets as text."""
    return [write_set(low) for low in found]


def figure(value: float) -> float | str:
    """Return a reading."""
    return OPEN if math.isinf(value) else value


def event(found: WatchEvent | None) -> list[Any] | None:
    """Return a watch event, or what stands for the end of the watch."""
    return None if found is None else [found.number, found.time_us, found.index, write_set(found.low)]


def summary(found: WatchSummary | None) -> list[int] | None:
    """Return how a watch ended."""
    return None if found is None else [found.cycles, found.events, found.lost]


def error(found: BenchError) -> dict[str, Any]:
    """Return what went wrong, so that a replay raises the same."""
    plain: dict[str, Any] = {"kind": type(found).__name__, "message": found.message, "cure": found.cure}
    if isinstance(found, RefusedError):
        plain |= {"code": found.code, "command": found.command}
    return plain


# -- reading -------------------------------------------------------------------------------------


def parse(text: bytes) -> dict[str, Any]:
    """Read one line as an object."""
    try:
        found = json.loads(text)
    except (ValueError, RecursionError) as wrong:
        raise ValueError(f"this is not JSON: {wrong}") from None
    if not isinstance(found, dict):
        raise ValueError("an object was expected")
    return found


def read_sets(answer: object, count: int, points: int) -> list[PointSet]:
    """Read so many point sets of a bench with so many points."""
    if not isinstance(answer, list) or len(answer) != count:
        raise ValueError(f"{count} point sets were expected")
    return [read_set(_text(each), points) for each in answer]


def read_figure(answer: object) -> float:
    """Read a reading; ``inf`` where open."""
    return math.inf if answer == OPEN else _number(answer)


def read_temperature(answer: object) -> float | None:
    """Read a temperature, °C; ``None`` from a bench without a thermometer."""
    return None if answer is None else _number(answer)


def read_event(answer: object, sets_watched: int, points: int) -> WatchEvent | None:
    """Read a watch event; ``None`` at the end of the watch."""
    if answer is None:
        return None
    if not isinstance(answer, list) or len(answer) != 4:
        raise ValueError("a watch event has four fields")
    number, time_us, index = (_count(each) for each in answer[:3])
    found = WatchEvent(number, time_us, index, read_set(_text(answer[3]), points))
    if found.index >= sets_watched:
        raise ValueError(f"the watch had {sets_watched} sets")
    return found


def read_summary(answer: object) -> WatchSummary | None:
    """Read how a watch ended."""
    if answer is None:
        return None
    if not isinstance(answer, list) or len(answer) != 3:
        raise ValueError("three counts were expected")
    return WatchSummary(*(_count(each) for each in answer))


def read_statistics(answer: object) -> Statistics:
    """Read what the line had carried."""
    if not isinstance(answer, dict):
        raise ValueError("an object was expected")
    given = dict(answer)
    extra = given.pop("extra", ())
    counts = {str(key): _count(value) for key, value in given.items()}
    names = {field.name for field in fields(Statistics)} - {"extra"}
    if counts.keys() != names or not isinstance(extra, list):
        raise ValueError(f"the counts {', '.join(sorted(names))} were expected")
    return Statistics(**counts, extra=tuple((_text(key), _count(value)) for key, value in extra))


def read_time(line: Mapping[str, Any]) -> float:
    """Read when a line was written, seconds since the header."""
    return _number(line.get("t"))


def read_error(plain: object) -> BenchError:
    """Read what went wrong, as the error that it was."""
    if not isinstance(plain, dict):
        raise ValueError("an error with kind and message was expected")
    kind = getattr(errors, str(plain.get("kind")), None)
    message, cure = _text(plain.get("message")), _text(plain.get("cure", ""))
    if not (isinstance(kind, type) and issubclass(kind, BenchError)):
        raise ValueError(f"{plain.get('kind')!r} is no error of a bench")
    if kind is RefusedError:
        code, command = plain.get("code"), _text(plain.get("command", ""))
        if not isinstance(code, int):
            raise ValueError("a refusal has a code")
        return RefusedError(message, code=code, command=command, cure=cure)
    return kind(message, cure=cure)


def read_identity(plain: Mapping[str, Any]) -> Identity:
    """Read who measured."""
    return Identity(**{key: _text(value) for key, value in plain.items()})


def read_capabilities(plain: Mapping[str, Any]) -> Capabilities:
    """Read what the bench could do."""
    given = dict(plain)
    for name in ("four_wire", "diode"):
        if not isinstance(given[name], bool):
            raise ValueError(f"{name} is true or false")
    for name in ("points", "settle_min_us", "baud_max"):
        _count(given[name])
    for name in ("reading_ms", "test_current_a", "test_voltage_v", "insulation_v"):
        _number(given[name])
    for name in ("sense_ohm", "clear_ohm", "volt_max", "watch_us"):
        if given[name] is not None:
            _number(given[name])
    for name in ("accuracy", "four_wire_accuracy"):
        given[name] = None if given[name] is None else _accuracy(given[name])
    ohms = given["ohms"]
    given["ohms"] = None if ohms is None else (_number(ohms[0]), _number(ohms[1]))
    given["other"] = tuple((_text(key), _text(value)) for key, value in given["other"])
    return Capabilities(**given)


def _accuracy(pair: Mapping[str, object]) -> Accuracy:
    return Accuracy(_number(pair["ohm"]), _number(pair["ratio"]))


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{value!r} is no text")
    return value


def _count(value: object) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or value < 0:
        raise ValueError(f"{value!r} is no count")
    return value


def _number(value: object) -> float:
    if not isinstance(value, bool) and isinstance(value, int | float) and abs(value) < MOST:
        return float(value)
    raise ValueError(f"{value!r} is no number")


def read_yes_or_no(said: Any) -> bool:
    """Return what a person answered."""
    if not isinstance(said, bool):
        raise ValueError("true or false was expected")
    return said
