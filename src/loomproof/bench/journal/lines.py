"""The form of a journal's lines, both ways.

One JSON object a line, UTF-8. The first is the header: ``schema``, ``address``, ``identity``,
``capabilities`` and ``run``, the mapping that the caller passed in. Each further line is one exchange:
``n`` counts from 1, ``t`` is seconds since the header, ``ask`` the question, and ``answer`` what the bench
said, or ``error`` what went wrong. How questions and answers stand there: `loomproof.bench.questions`.

The readers raise `ValueError` for whatever the writers would not have written.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import loomproof.errors as errors
from loomproof.bench.questions import read_count, read_number, read_text
from loomproof.bench.seam import Accuracy, Capabilities, CapacitanceAccuracy, Identity
from loomproof.errors import BenchError, RefusedError

SCHEMA = 2
"""2: looks at every feed for a voltage before anything is driven, and asks at the end who the bench is."""

# -- writing -------------------------------------------------------------------------------------


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


def read_time(line: Mapping[str, Any]) -> float:
    """Read when a line was written, seconds since the header."""
    return read_number(line.get("t"))


def read_error(plain: object) -> BenchError:
    """Read what went wrong, as the error that it was."""
    if not isinstance(plain, dict):
        raise ValueError("an error with kind and message was expected")
    kind = getattr(errors, str(plain.get("kind")), None)
    message, cure = read_text(plain.get("message")), read_text(plain.get("cure", ""))
    if not (isinstance(kind, type) and issubclass(kind, BenchError)):
        raise ValueError(f"{plain.get('kind')!r} is no error of a bench")
    if kind is RefusedError:
        code, command = plain.get("code"), read_text(plain.get("command", ""))
        if not isinstance(code, int):
            raise ValueError("a refusal has a code")
        return RefusedError(message, code=code, command=command, cure=cure)
    return kind(message, cure=cure)


def read_identity(plain: Mapping[str, Any]) -> Identity:
    """Read who measured."""
    return Identity(**{key: read_text(value) for key, value in plain.items()})


def read_capabilities(plain: Mapping[str, Any]) -> Capabilities:
    """Read what the bench could do."""
    given = dict(plain)
    for name in ("four_wire", "diode"):
        if not isinstance(given[name], bool):
            raise ValueError(f"{name} is true or false")
    for name in ("points", "settle_min_us", "baud_max"):
        read_count(given[name])
    for name in ("reading_ms", "test_current_a", "test_voltage_v", "insulation_v"):
        read_number(given[name])
    for name in ("sense_ohm", "clear_ohm", "volt_max", "watch_us"):
        if given[name] is not None:
            read_number(given[name])
    for name in ("accuracy", "four_wire_accuracy"):
        given[name] = None if given[name] is None else _accuracy(given[name])
    ohms = given["ohms"]
    given["ohms"] = None if ohms is None else (read_number(ohms[0]), read_number(ohms[1]))
    _read_newer(given)
    given["other"] = tuple((read_text(key), read_text(value)) for key, value in given["other"])
    return Capabilities(**given)


def _read_newer(given: dict[str, Any]) -> None:
    """Read what headers of earlier runs do not have: their benches had none of it."""
    if "driver_ohm" in given:
        read_number(given["driver_ohm"])
    if given.get("pulled_at_once") is not None:
        read_count(given["pulled_at_once"])
    if given.get("farad_spread") is not None:
        read_number(given["farad_spread"])
    if given.get("farads") is not None:
        given["farads"] = (read_number(given["farads"][0]), read_number(given["farads"][1]))
    if given.get("beep_ohm") is not None:
        given["beep_ohm"] = (read_number(given["beep_ohm"][0]), read_number(given["beep_ohm"][1]))
    if "wires_in_ohms" in given and not isinstance(given["wires_in_ohms"], bool):
        raise ValueError("wires_in_ohms is true or false")
    if "clips" in given:
        read_count(given["clips"])
    if (pair := given.get("farad_accuracy")) is not None:
        given["farad_accuracy"] = CapacitanceAccuracy(read_number(pair["farad"]), read_number(pair["ratio"]))


def _accuracy(pair: Mapping[str, object]) -> Accuracy:
    return Accuracy(read_number(pair["ohm"]), read_number(pair["ratio"]))


def read_yes_or_no(said: Any) -> bool:
    """Return what a person answered."""
    if not isinstance(said, bool):
        raise ValueError("true or false was expected")
    return said
