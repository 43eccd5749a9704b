"""What can happen while a loom is named: the probe touches, ohms come, keys are pressed."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from loomproof.loom.model import End


class Key(StrEnum):
    """What a key does, whichever it is."""

    ENTER = "enter"
    COMPLETE = "complete"
    ERASE = "erase"
    ERASE_WORD = "erase word"
    CLEAR = "clear"
    LEFT = "left"
    RIGHT = "right"
    FIRST = "first"
    LAST = "last"
    OTHER_END = "other end"
    OTHER_END_BACK = "other end, back"
    NEXT = "next nameless"
    PREVIOUS = "previous nameless"
    UNDO = "undo"
    STOP = "stop"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Letters:
    """Letters typed or pasted."""

    text: str


@dataclass(frozen=True, slots=True)
class Touch:
    """The probe touched these ends of the loom, and points on which no lead of the adapter is."""

    ends: tuple[End, ...]
    bare_points: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Lifted:
    """The probe is off again."""


@dataclass(frozen=True, slots=True)
class Measured:
    """Between two ends so many ohms were read, with the expanded uncertainty (k = 2); inf is open."""

    a: End
    b: End
    ohm: float
    u_ohm: float


Happened = Key | Letters | Touch | Lifted | Measured
