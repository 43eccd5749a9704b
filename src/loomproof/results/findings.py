"""A fault found, as a value: what, where, on which evidence, and how to mend it.

The same values are found by diagnosis, stand in the results document and are read back from it: the
document's codec reads and writes dataclasses as they are.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import ClassVar
from urllib.parse import quote

from pydantic import ConfigDict

from loomproof.loom.ends import End
from loomproof.notebook import Shown
from loomproof.results.places import Place


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


_STRICT = ConfigDict(extra="forbid", allow_inf_nan=False)


@dataclass(frozen=True, slots=True)
class Evidence:
    """One observation behind a finding, in words, with its figures where it has them (Ω, k = 2).

    A path that is open has no figure: what is not finite is kept as ``None``.
    """

    text: str
    measured_ohm: float | None = None
    uncertainty_ohm: float | None = None
    expected_ohm: float | None = None
    limit_ohm: float | None = None
    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    def __post_init__(self) -> None:
        for name in ("measured_ohm", "uncertainty_ohm", "expected_ohm", "limit_ohm"):
            ohm = getattr(self, name)
            if ohm is not None and not math.isfinite(ohm):
                object.__setattr__(self, name, None)


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
    __pydantic_config__: ClassVar[ConfigDict] = _STRICT


@dataclass(frozen=True, slots=True)
class Finding(Shown):
    """One fault. ``places`` are where to look first, most likely first; ``cause`` goes beyond ``kind``.

    ``cause`` is a code: ``broken_wire`` is a wire that reads open, at a contact or on its way, and
    ``resistive_wire`` one that reads high; which of the two it is say ``place`` and ``places``.

    ``title`` says what and where, without a reading: figures stand in the evidence. ``wire_colours`` stands
    beside ``wires``, one for one. ``cost`` is what it adds to the explanation, in broken wires; ``proved``
    says that the search came to its end, so that nothing cheaper explains the same.

    ``key`` is its identity from proof to proof as a document states it, "" where it does not; ask `identity`.
    """

    kind: Kind
    severity: Severity
    title: str
    cavities: tuple[End, ...] = ()
    wires: tuple[str, ...] = ()
    components: tuple[str, ...] = ()
    cause: str = ""
    evidence: tuple[Evidence, ...] = ()
    places: tuple[str, ...] = ()
    repair: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    cost: float | None = None
    proved: bool = True
    wire_colours: tuple[str, ...] = ()
    key: str = ""
    place: Place | None = None
    """Where along its wires it lies, by measurement; ``None`` where nothing was read for that."""
    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    @property
    def identity(self) -> str:
        """Its key; worked out from what it names where none is stated.

        >>> import loomproof as lp
        >>> document = lp.verify("tests/records/with_grades/fail.record.json").document()
        >>> document.findings[0].title, document.findings[0].identity
        ('W2 (black/red) open between BODY:2 and LAMP:2', 'open?wire=W2')
        """
        return self.key or finding_key(
            self.kind, self.cause, self.wires, self.components, map(str, self.cavities)
        )

    def stated(self, colours: Mapping[str, str]) -> Finding:
        """Return it as a document states it: with its key, and beside each wire its colour ("": none)."""
        own = replace(self, key="", wire_colours=tuple(colours.get(name, "") for name in self.wires))
        return replace(own, key=own.identity)


class Findings(tuple[Finding, ...], Shown):
    """Findings in their order, which a notebook shows one below the other."""

    __slots__ = ()
