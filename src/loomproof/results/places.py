"""Where along its wires a fault lies, as a value of the results document."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar, Literal

from pydantic import ConfigDict

from loomproof.loom.ends import End

_STRICT = ConfigDict(extra="forbid", allow_inf_nan=False)

HAIR = 1e-6
"""So small a part of the last place is no more than what a binary figure is off a decimal one."""


def rounded_up(value: float, places: int = 2) -> str:
    """Return a length or share in words that is no less than it: ``0.62``."""
    return f"{math.ceil(value * 10**places - HAIR) / 10**places:.{places}f}"


def rounded_down(value: float, places: int = 2) -> str:
    """Return a length or share in words that is no more than it: ``0.62``."""
    return f"{math.floor(value * 10**places + HAIR) / 10**places:.{places}f}"


@dataclass(frozen=True, slots=True)
class BundlePart:
    """What of a stretch lies in one bundle: from ``low_m`` to ``high_m``, counted from its end at ``begin``.

    ``bundle`` "" is the wire's own tail outside of bundles, counted from the connector ``begin``. ``whole``:
    it is all of the bundle.
    """

    bundle: str
    begin: str
    low_m: float
    high_m: float
    whole: bool = False
    __pydantic_config__: ClassVar[ConfigDict] = _STRICT


@dataclass(frozen=True, slots=True)
class Span:
    """Where a wire runs through one bundle, m from the end from which the place on it is counted."""

    bundle: str
    low_m: float
    high_m: float
    __pydantic_config__: ClassVar[ConfigDict] = _STRICT


@dataclass(frozen=True, slots=True)
class WirePlace:
    """A stretch of a wire that holds the place: from ``low_m`` to ``high_m``, counted from its end ``end``.

    ``bundle`` is the one that its middle runs through, "" where none is described; ``bundle_low_m`` and
    ``bundle_high_m`` are then counted from ``bundle_from``, the place where that bundle begins. Where it
    reaches past a fork, ``passes`` has every bundle that it lies in. ``wire_m`` is the wire's length, m.
    ``runs`` are the bundles that it runs through. ``as_share``: no length is given, so all is told as if the
    wire were one metre long.
    """

    wire: str
    end: End
    low_m: float
    high_m: float
    share: float
    bundle: str = ""
    bundle_from: str = ""
    bundle_low_m: float | None = None
    bundle_high_m: float | None = None
    passes: tuple[BundlePart, ...] = ()
    wire_m: float | None = None
    as_share: bool = False
    runs: tuple[Span, ...] = ()
    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    @property
    def middle_m(self) -> float:
        """The middle of the stretch, m from ``end``."""
        return (self.low_m + self.high_m) / 2

    @property
    def u_m(self) -> float:
        """The expanded uncertainty of the middle (k = 2), where this is the only stretch, m."""
        return (self.high_m - self.low_m) / 2


@dataclass(frozen=True, slots=True)
class Place:
    """Where a fault lies, by measurement.

    ``answer``: ``contact`` (or crimp, or joint) at ``ends``, ``near`` it or at it, ``wire`` within
    ``stretches``, ``connector`` between ``ends``, ``either`` of several that the readings do not tell apart,
    ``none`` where none can be claimed, for ``reason``. ``share`` is how probable it is; stretches hold the
    place with 95 %. ``text`` says it in words, ``basis`` on what it rests, ``readings`` how many were taken
    for it.
    """

    answer: Literal["contact", "near", "wire", "connector", "either", "none"]
    text: str
    share: float = 0.0
    ends: tuple[End, ...] = ()
    stretches: tuple[WirePlace, ...] = ()
    basis: str = ""
    reason: str = ""
    readings: int = 0
    __pydantic_config__: ClassVar[ConfigDict] = _STRICT


@dataclass(frozen=True, slots=True)
class NetFarads:
    """What a sound net had against all else at 0 V: all its wires together, F, U (k = 2), without leads."""

    wires: tuple[str, ...]
    length_m: float
    farad: float
    u_farad: float
    __pydantic_config__: ClassVar[ConfigDict] = _STRICT

    @property
    def f_per_m(self) -> float:
        """What a metre of it had, F."""
        return self.farad / self.length_m


@dataclass(frozen=True, slots=True)
class KnownFarads:
    """What a loom's nets had when it passed, in a run that ended then (RFC 3339)."""

    run: str
    ended: str
    nets: tuple[NetFarads, ...]
    __pydantic_config__: ClassVar[ConfigDict] = _STRICT


@dataclass(frozen=True, slots=True)
class SharedPlace:
    """One place of a bundle at which several findings lie: one damage, not many.

    ``findings`` are their keys, ``wires`` what is damaged. The place is from ``low_m`` to ``high_m`` of
    ``bundle``, counted from where it begins, ``begin``; where it passes a fork, ``passes`` has every bundle
    in which it lies. ``causes`` say what does such damage, in words.
    """

    findings: tuple[str, ...]
    wires: tuple[str, ...]
    bundle: str
    begin: str
    low_m: float
    high_m: float
    text: str
    passes: tuple[BundlePart, ...] = ()
    causes: tuple[str, ...] = ()
    __pydantic_config__: ClassVar[ConfigDict] = _STRICT
