"""Zeros as they are kept: the adapter's table holds the last one, this file every one, dated."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path
from typing import Annotated

from pydantic import Field, TypeAdapter

from loomproof.bench.seam import Identity
from loomproof.measuring.line_file import append, can_append, kept_lines
from loomproof.measuring.zero import LeadReading
from loomproof.results.codec import Moment

_Size = Annotated[float, Field(ge=0.0, allow_inf_nan=False)]


@dataclass(frozen=True, slots=True)
class LeadZero:
    """What one lead was zeroed to: `LeadReading` at its point."""

    point: Annotated[int, Field(gt=0)]
    ohm: Annotated[float, Field(allow_inf_nan=False)]
    u_ohm: _Size
    spread_ohm: _Size = 0.0


@dataclass(frozen=True, slots=True)
class Zero:
    """One zeroing of an adapter's leads on one bench.

    ``date`` is RFC 3339, UTC; ``wiring`` that of the adapter (`Adapter.wiring`).
    """

    maker: str
    model: str
    serial: str
    date: Moment
    wiring: str
    leads: tuple[LeadZero, ...]


@cache
def _codec() -> TypeAdapter[Zero]:
    return TypeAdapter(Zero)


def zero_of(who: Identity, date: str, wiring: str, leads: Mapping[int, LeadReading]) -> Zero:
    """Return what was learned as it is kept, leads by point."""
    found = (LeadZero(point, one.ohm, one.u_ohm, one.spread_ohm) for point, one in sorted(leads.items()))
    return Zero(who.maker, who.model, who.serial, date, wiring, tuple(found))


def keep_zero(found: Zero, path: Path) -> None:
    """Add a zeroing to the end of the file of them, flushed to the disk. Raises `StoreError`."""
    append(path, line_of(found), "zeros")


def line_of(found: Zero) -> str:
    """Return a zeroing as its line in the file."""
    return json.dumps(asdict(found), ensure_ascii=False, allow_nan=False)


def can_keep_zero(path: Path) -> None:
    """See that a zeroing can be kept before the bench is asked. Raises `StoreError`."""
    can_append(path, "zeros")


def kept_zeros(path: Path) -> Iterator[Zero]:
    """Yield the zeros of a file, oldest first; none where there is no file. Raises `InputError`."""
    return kept_lines(path, lambda line: _codec().validate_json(line, strict=True), "zero")
