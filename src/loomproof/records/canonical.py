"""Canonical JSON (RFC 8785): one document, one text, one hash."""

from __future__ import annotations

import hashlib
import json
from collections import deque
from collections.abc import Mapping
from typing import cast

import rfc8785

from loomproof.errors import RecordError, SealError

MOST_BYTES = 64 * 1024 * 1024
"""A record beyond this is refused unread: the largest looms stay far below it."""

_EXACT = 2**53 - 1
_EXACT_DIGITS = len(str(_EXACT))

_CANONICAL: deque[bytes] = deque(maxlen=16)
"""SHA-256 of the last texts that this process made, or found to be, canonical.

A record is checked where it is sealed, drawn and issued. Whether its form is canonical is a matter of its
bytes alone, and is worked out once."""


def canonical(plain: object) -> bytes:
    """Return the canonical JSON of plain values as UTF-8; `RecordError` where there is none."""
    try:
        made = _dumps(plain)
    except (rfc8785.CanonicalizationError, UnicodeError, RecursionError) as error:
        raise RecordError(
            f"this cannot be written as canonical JSON: {error}",
            cure="NaN, infinity, half a surrogate pair and whole numbers from 2^53 on have none.",
        ) from error
    return _noted(made)


def _dumps(plain: object) -> bytes:
    """Return the canonical JSON, by the standard library where it writes these values alike."""
    try:
        return _ENCODER.encode(_alike(plain)).encode()
    except (_OtherwiseError, UnicodeError, RecursionError):
        return rfc8785.dumps(plain)  # type: ignore[arg-type]  # its JSON type is recursive and private


_ENCODER = json.JSONEncoder(
    ensure_ascii=False, allow_nan=False, check_circular=False, sort_keys=True, separators=(",", ":")
)


class _OtherwiseError(Exception):
    """The standard library writes, or orders, something here otherwise than RFC 8785."""


def _alike(value: object) -> object:
    """Return a value of which the standard library's JSON is the canonical one.

    RFC 8785 orders names by UTF-16 code units (3.2.3), which in ASCII are characters. It writes doubles as
    ECMAScript does (3.2.2.3): without a fraction as whole numbers, else in Python's digits, and as Python
    does from 1E-4 to 1E16 and under 1E-9. Raises `_OtherwiseError` for all else.
    """
    kind = type(value)
    if kind is str or value is None or kind is bool:
        return value
    if kind is dict:
        entries = cast("dict[object, object]", value)
        for name in entries:
            if type(name) is not str or not name.isascii():
                raise _OtherwiseError
        return {name: _alike(entry) for name, entry in entries.items()}
    if kind is list or kind is tuple:
        return [_alike(entry) for entry in cast("list[object]", value)]
    if kind is float:
        number = cast(float, value)
        size = abs(number)
        if number.is_integer():
            if size <= _EXACT:
                return int(number)
        elif 1e-4 <= size < 1e16 or size < 1e-9:
            return number
    elif kind is int and -_EXACT <= cast(int, value) <= _EXACT:
        return value
    raise _OtherwiseError


def canonical_object(members: Mapping[str, bytes]) -> bytes:
    """Return the canonical JSON of an object whose members are canonical JSON already.

    Names are ASCII, whose order RFC 8785 (section 3.2.3) takes by their code units.
    """
    inside = b",".join(canonical(name) + b":" + members[name] for name in sorted(members))
    return _noted(b"{" + inside + b"}")


def _noted(made: bytes) -> bytes:
    _CANONICAL.append(hashlib.sha256(made).digest())
    return made


def sha256_hex(data: bytes) -> str:
    """Return SHA-256 (FIPS 180-4) as 64 lower-case hex digits."""
    return hashlib.sha256(data).hexdigest()


def read_canonical(data: bytes, name: str) -> dict[str, object]:
    """Parse bytes that must be the canonical form of one JSON object.

    `SealError` names ``name`` and the first byte that differs, so that a changed blank or a doubled key
    is found as surely as a changed value.
    """
    if len(data) > MOST_BYTES:
        raise SealError(f"{name}: {len(data)} bytes are more than a record can have ({MOST_BYTES})")
    try:
        plain = json.loads(data.decode("utf-8"), parse_int=_number, parse_constant=_refuse)
        again = data if hashlib.sha256(data).digest() in _CANONICAL else _dumps(plain)
    except UnicodeDecodeError as error:
        raise SealError(f"{name}: byte {error.start + 1}: not UTF-8 text", cure=_CURE) from error
    except json.JSONDecodeError as error:
        raise SealError(f"{name}: byte {error.pos + 1}: not JSON: {error.msg}", cure=_CURE) from error
    except RecursionError as error:
        raise SealError(f"{name}: nested more deeply than any record", cure=_CURE) from error
    except (ValueError, rfc8785.CanonicalizationError) as error:
        raise SealError(f"{name}: no canonical form: {error}", cure=_CURE) from error
    if again != data:
        place = next((i for i, (a, b) in enumerate(zip(again, data, strict=False)) if a != b), None)
        at = min(len(again), len(data)) if place is None else place
        raise SealError(f"{name}: byte {at + 1}: not in canonical form", cure=_CURE)
    _noted(data)
    if not isinstance(plain, Mapping):
        raise SealError(f"{name}: not a record: the outermost value must be an object", cure=_CURE)
    return dict(plain)


_CURE = "The file was changed after it was sealed, or it is no loomproof record. Ask the signer for it again."


def _number(text: str) -> int | float:
    if len(text) < _EXACT_DIGITS:
        return int(text)
    # Canonical numbers are IEEE 754 doubles; from 2^53 on one may be written without a point.
    value = float(text)
    return int(value) if abs(value) <= _EXACT else value


def _refuse(text: str) -> float:
    raise ValueError(f"{text} is not JSON")
