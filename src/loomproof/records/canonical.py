"""Canonical JSON (RFC 8785): one document, one text, one hash."""

from __future__ import annotations

import hashlib
import json
from collections import deque
from collections.abc import Mapping

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
        made = rfc8785.dumps(plain)  # type: ignore[arg-type]  # its JSON type is recursive and private
    except (rfc8785.CanonicalizationError, UnicodeError, RecursionError) as error:
        raise RecordError(
            f"this cannot be written as canonical JSON: {error}",
            cure="NaN, infinity, half a surrogate pair and whole numbers from 2^53 on have none.",
        ) from error
    return _noted(made)


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
        again = data if hashlib.sha256(data).digest() in _CANONICAL else rfc8785.dumps(plain)
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
