"""The screen on which a loom is named, as a value: whoever only hands it on needs nothing of the dialogue."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from loomproof.loom.ends import End


@dataclass(frozen=True, slots=True)
class EndLine:
    """One end of the net: what it is called, whether it is meant, whether it is nameless, what is known.

    ``end`` is what it was called when the loom was traced.
    """

    name: str
    chosen: bool
    nameless: bool
    known: str
    ohms: str
    end: End


@dataclass(frozen=True, slots=True)
class Offer:
    """A suggestion: the key that takes it, what it says, and why."""

    key: str
    says: str
    reason: str


@dataclass(frozen=True, slots=True)
class Shown:
    """The screen. ``meant`` is what Enter would do with ``text``; ``refused``: ``said`` is an error.

    ``names`` is what each end of the loom as it was traced is called by now.
    """

    loom: str
    done: int
    of: int
    progress: str
    nameless: str
    heading: str
    ends: tuple[EndLine, ...]
    parts: tuple[str, ...]
    offers: tuple[Offer, ...]
    question: str
    text: str
    cursor: int
    meant: str
    candidates: tuple[tuple[str, str], ...]
    said: str
    refused: bool
    keys: tuple[tuple[str, str], ...]
    touches: int
    names: Mapping[End, End]
