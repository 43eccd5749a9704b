"""What a person with a meter is asked, and what they may answer, as values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from loomproof.loom.model import End


class HandKind(StrEnum):
    """What is asked. ``WHOLE``: one net, which should beep everywhere; ``APART``: nets that should be silent.

    ``CHAIN``: the same, and what is silent is clipped to black before the next. ``AGAIN``: a pair that was
    touched before. ``FOLLOW``: it beeped against several that were joined; which of them it came from.
    ``OHMS`` and ``DIODE``: a figure is typed. ``ZERO``: the probes touch each other, and the figure is taken
    off those in ohms. ``TRY``: the probes touch each other, and the meter beeps.
    """

    WHOLE = "whole"
    APART = "apart"
    CHAIN = "chain"
    AGAIN = "again"
    FOLLOW = "follow"
    OHMS = "ohms"
    DIODE = "diode"
    ZERO = "zero"
    TRY = "try"


@dataclass(frozen=True, slots=True)
class HandAsked:
    """One question: black on all of ``black``, joined, red over ``red``, in the order in which to go.

    ``touches`` were made of about ``of``. ``colours`` has the colours of wires at cavities, where known.
    ``may_leave_out``: whether this may be left unanswered, and then stands as never swept.
    """

    kind: HandKind
    black: tuple[End, ...] = ()
    red: tuple[End, ...] = ()
    touches: int = 0
    of: int = 0
    colours: Mapping[End, str] = field(default_factory=dict)
    part: str = ""
    may_leave_out: bool = False


class Wish(StrEnum):
    """What a person would rather do than answer: take the last answer back, stop until another day, leave
    this one out."""

    BACK = "back"
    STOP = "stop"
    LEAVE_OUT = "leave out"


@dataclass(frozen=True, slots=True)
class HandReply:
    """An answer: where it beeped, or a figure (Ω or V, inf for none); or a wish instead."""

    wish: Wish | None = None
    beeped: tuple[End, ...] = ()
    figure: float = 0.0
