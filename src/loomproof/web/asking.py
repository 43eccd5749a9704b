"""The operator on a page: what a job must know becomes a question there, and waits for its answer."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from loomproof.jobs.hand_questions import HandAsked, HandReply, Wish
from loomproof.judgement.inspection import Inspection
from loomproof.loom.model import End
from loomproof.planning.hookup_plan import HookUp


@dataclass(frozen=True)
class Question:
    """What a person is asked: of which ``kind`` the answer is, in words, and what belongs to it.

    ``kind``: ``yes`` (yes or no), ``text`` (a line, which may be empty), ``notes`` (a line for each of
    ``items``, name and question each). ``end`` is the end that it is about, as a page names it.
    """

    kind: str
    text: str
    items: tuple[tuple[str, str], ...] = ()
    yes: str = "Yes"
    no: str = "No"
    end: str = ""


@dataclass(frozen=True)
class PageOperator:
    """Whoever drives; ``ask`` puts a question on the page and returns what was answered."""

    ask: Callable[[Question], Any]

    def confirm(self, statement: str) -> bool:
        """Ask whether this holds."""
        return self.ask(Question("yes", statement)) is True

    def type_voltage(self, volts: float) -> bool:
        """Ask to type a test voltage that can hurt; nothing stands in for that."""
        return _text(self.ask(Question("text", f"Type {volts:g} to put {volts:g} V on this loom"))) == (
            f"{volts:g}"
        )

    def read_meter(self) -> float | None:
        """Ask what a meter shows on the loom, V; ``None`` where nobody has measured."""
        said = self.ask(
            Question(
                "text",
                "This bench measures no voltage. What is the largest that the meter shows, V? "
                "Leave it empty where nobody has read it.",
            )
        )
        try:
            volts = float(_text(said).replace(",", "."))
        except ValueError:
            return None
        return volts if math.isfinite(volts) else None

    def inspect(self, items: Sequence[tuple[str, str]]) -> Inspection:
        """Ask what was seen of a loom, item by item."""
        said = self.ask(
            Question(
                "notes",
                "Look the loom over. Say what you see; a line left empty says that it is in order.",
                tuple(items),
            )
        )
        if not isinstance(said, dict):
            return Inspection()
        return Inspection(tuple((name, _text(said.get(name))) for name, _ in items))

    def hold_probe(self, end: End | None) -> bool:
        """Have the probe held on an end, or taken off."""
        if end is None:
            return self.ask(Question("yes", "Take the probe off the loom.", yes="It is off")) is True
        text = f"Hold the probe (0 V through its resistor, never mains earth) on {end}."
        question = Question("yes", text, yes="It is there", no="Leave this end out", end=str(end))
        return self.ask(question) is True

    def beep_limit(self) -> str:
        """Nobody reads a hand meter for a page: that is done at a terminal."""
        return ""

    def probe(self, asked: HandAsked) -> HandReply:
        """Nobody reads a hand meter for a page: the run stops."""
        return HandReply(Wish.STOP)

    def plug(self, hook_up: HookUp, number: int) -> bool:
        """Ask whether it is plugged so; what to plug stands above."""
        text = f"Is it plugged as hook-up {number} says?"
        return self.ask(Question("yes", text, yes="It is plugged so", no="Stop for now")) is True


def _text(said: object) -> str:
    return said.strip() if isinstance(said, str) else ""
