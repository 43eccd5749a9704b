"""What a bench answered, as values, in points. A point set is an ``int``; bit 0 is point 1."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Sense:
    """One sense: ``drive`` was driven, ``low`` read low."""

    drive: int
    low: int


@dataclass(frozen=True, slots=True)
class Resistance:
    """One resistance between joined sets, repeated as often as was fixed beforehand; inf is over range."""

    a: int
    b: int
    wires: Literal[2, 4]
    values_ohm: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Diode:
    """Forward voltage from ``a`` to ``b``; inf where no current flowed."""

    a: int
    b: int
    value_v: float


Reading = Sense | Resistance | Diode
