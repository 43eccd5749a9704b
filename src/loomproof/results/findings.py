"""A fault found, as a value: what, where, on which evidence, and how to mend it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from loomproof.loom.model import End


class Kind(StrEnum):
    """What a finding is; these words are the ``kind`` of the results document."""

    OPEN = "open"
    SHORT = "short"
    MISWIRE = "miswire"
    HIGH_RESISTANCE = "high_resistance"
    LEAKAGE = "leakage"
    REVERSED = "reversed"
    WRONG_VALUE = "wrong_value"
    MISSING_COMPONENT = "missing_component"
    UNEXPECTED_COMPONENT = "unexpected_component"
    INTERMITTENT = "intermittent"


class Severity(StrEnum):
    """Whether a finding fails the loom."""

    FAULT = "fault"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Evidence:
    """One observation behind a finding, in words, with its figures where it has them (Ω, k = 2)."""

    text: str
    measured_ohm: float | None = None
    uncertainty_ohm: float | None = None
    expected_ohm: float | None = None
    limit_ohm: float | None = None


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another explanation that fits as well, and what would tell it apart."""

    text: str
    cause: str = ""
    cavities: tuple[End, ...] = ()
    wires: tuple[str, ...] = ()
    repair: tuple[str, ...] = ()
    tell_apart: str = ""


@dataclass(frozen=True, slots=True)
class Finding:
    """One fault. ``places`` are where to look first, most likely first; ``cause`` goes beyond ``kind``.

    ``cost`` is what it adds to the explanation, in broken wires; ``proved`` says that the search came to its
    end, so that nothing cheaper explains the same.
    """

    kind: Kind
    severity: Severity
    title: str
    cavities: tuple[End, ...]
    wires: tuple[str, ...] = ()
    components: tuple[str, ...] = ()
    cause: str = ""
    evidence: tuple[Evidence, ...] = ()
    places: tuple[str, ...] = ()
    repair: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    cost: float = 0.0
    proved: bool = True
