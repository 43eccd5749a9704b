"""A fault found, as a value: what, where, on which evidence, and how to mend it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from urllib.parse import quote

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


ONE_PATH = ("leak", "added_part")
"""Causes of one thing: a path where nothing should be. Which of them it is called goes by its ohms alone."""


def finding_key(
    kind: str, cause: str, wires: Iterable[str], components: Iterable[str], cavities: Iterable[str]
) -> str:
    """Return the identity of a finding, without figures: what it is, and where.

    Two proofs of one loom that find the same fault give the same key, whatever they read and however grave
    it is. Where is wires and parts; where neither is known, cavities (as text). Written
    ``open?wire=W3&part=R1``, names percent-coded (RFC 3986), so that no name can be taken for two.
    """
    places = [("wire", name) for name in sorted(set(wires))]
    places += [("part", name) for name in sorted(set(components))]
    places = places or [("cavity", name) for name in sorted(set(cavities))]
    what = "path" if cause in ONE_PATH else kind
    return f"{what}?" + "&".join(f"{thing}={quote(name, safe=':')}" for thing, name in places)


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
    components: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Finding:
    """One fault. ``places`` are where to look first, most likely first; ``cause`` goes beyond ``kind``.

    ``title`` says what and where, without a reading: figures stand in the evidence.

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

    @property
    def key(self) -> str:
        """Its identity, as `finding_key` writes it."""
        return finding_key(self.kind, self.cause, self.wires, self.components, map(str, self.cavities))
