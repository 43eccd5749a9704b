"""The person at the bench: everything that a job asks of one, in one object.

What a job tells is an event (`loomproof.measuring.events.Prompt`); what it must know is asked here, and the
answers that a result rests on go into the journal beside the readings. Nobody there answers no.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

from loomproof.jobs.hand_questions import HandAsked, HandReply, Wish
from loomproof.judgement.inspection import Inspection
from loomproof.loom.model import End
from loomproof.measuring.clearance import Person

if TYPE_CHECKING:
    from loomproof.planning.hookup_plan import HookUp


class Operator(Person, Protocol):
    """Who answers for what no bench can see or do.

    What a clearance asks (`confirm`, `type_voltage`, `read_meter`) is asked of a real bench only.

    >>> import loomproof as lp
    >>> class AtTheBench(lp.Unattended):
    ...     def confirm(self, statement):
    ...         return input(f"{statement} (yes) ") == "yes"
    >>> operator: lp.Operator = AtTheBench()
    """

    def inspect(self, items: Sequence[tuple[str, str]]) -> Inspection:
        """What was seen of the loom, by item: name and question each. Empty where nobody looked."""
        ...

    def hold_probe(self, end: End | None) -> bool:
        """Whether the probe (0 V through its resistor) is on this end now; ``None``: off the loom again."""
        ...

    def beep_limit(self) -> str:
        """Up to how many ohms the meter beeps, as its manual says; "" where nobody knows. Asked once."""
        ...

    def probe(self, asked: HandAsked) -> HandReply:
        """What the meter said when the probes were laid so, or what the person would rather do."""
        ...

    def plug(self, hook_up: HookUp, number: int) -> bool:
        """Whether the loom is plugged so now; ``number`` counts from 1. What to plug was told before."""
        ...


@dataclass(frozen=True)
class Unattended:
    """Nobody is there: whatever needs a person is answered no. Enough for a simulated bench.

    ``made_safe`` says beforehand that the cautions hold, for a bench that was made ready by a person.

    >>> import loomproof as lp
    >>> lp.Unattended().confirm("Is all of that done?")
    False
    """

    made_safe: bool = False

    def confirm(self, statement: str) -> bool:
        """Return what was said beforehand."""
        return self.made_safe

    def type_voltage(self, volts: float) -> bool:
        """Nobody types a voltage that can hurt; nothing stands in for that."""
        return False

    def read_meter(self) -> float | None:
        """Nobody has measured."""
        return None

    def inspect(self, items: Sequence[tuple[str, str]]) -> Inspection:
        """Nobody looked."""
        return Inspection()

    def hold_probe(self, end: End | None) -> bool:
        """Nobody holds a probe: it is off the loom."""
        return end is None

    def beep_limit(self) -> str:
        """Nobody knows the meter."""
        return ""

    def probe(self, asked: HandAsked) -> HandReply:
        """Nobody touches anything: the run stops."""
        return HandReply(Wish.STOP)

    def plug(self, hook_up: HookUp, number: int) -> bool:
        """Nobody plugs."""
        return False


class Hand(Protocol):
    """A simulator that this process started, as far as a hand at the loom goes."""

    def tell(self, line: str, *, timeout_s: float = 10.0) -> str:
        """Send one line to it, and return its answer."""
        ...


@dataclass(frozen=True)
class SimulatorOperator:
    """A simulator that holds the probe and plugs itself; what only a person can answer goes to ``person``."""

    hand: Hand
    person: Operator = field(default_factory=Unattended)

    def confirm(self, statement: str) -> bool:
        """Ask the person."""
        return self.person.confirm(statement)

    def type_voltage(self, volts: float) -> bool:
        """Ask the person."""
        return self.person.type_voltage(volts)

    def read_meter(self) -> float | None:
        """Ask the person."""
        return self.person.read_meter()

    def inspect(self, items: Sequence[tuple[str, str]]) -> Inspection:
        """Nothing real can be looked at."""
        return Inspection()

    def hold_probe(self, end: End | None) -> bool:
        """Have the simulator hold the probe on an end, or lift it."""
        return self.hand.tell("lift" if end is None else f"touch {end}").startswith("ok")

    def beep_limit(self) -> str:
        """Ask the person."""
        return self.person.beep_limit()

    def probe(self, asked: HandAsked) -> HandReply:
        """Ask the person."""
        return self.person.probe(asked)

    def plug(self, hook_up: HookUp, number: int) -> bool:
        """It is plugged by the adapter that it was started with."""
        return True


@dataclass
class ScriptedOperator:
    """Answers in turn from a script, and keeps what it was asked, for tests and rehearsals.

    ``answers`` are taken one a question, of the kind that the question wants; when they are used up
    everything is confirmed, held and plugged, and nothing else is known.
    """

    answers: Iterator[object] = field(default_factory=lambda: iter(()))
    asked: list[str] = field(default_factory=list)

    def confirm(self, statement: str) -> bool:
        """Take the next answer."""
        return bool(self._next(statement, True))

    def type_voltage(self, volts: float) -> bool:
        """Take the next answer."""
        return bool(self._next(f"{volts:g} V", True))

    def read_meter(self) -> float | None:
        """Take the next answer: a number, or ``None``."""
        said = self._next("meter", None)
        return float(said) if isinstance(said, int | float) else None

    def inspect(self, items: Sequence[tuple[str, str]]) -> Inspection:
        """Take the next answer: an `Inspection`."""
        said = self._next("inspect", Inspection())
        return said if isinstance(said, Inspection) else Inspection()

    def hold_probe(self, end: End | None) -> bool:
        """Take the next answer."""
        return bool(self._next(f"probe {end}" if end is not None else "probe off", True))

    def beep_limit(self) -> str:
        """Take the next answer: a text."""
        return str(self._next("beep limit", ""))

    def probe(self, asked: HandAsked) -> HandReply:
        """Take the next answer: a `HandReply`; with none left the run stops."""
        said = self._next(f"probe {asked.kind}", None)
        return said if isinstance(said, HandReply) else HandReply(Wish.STOP)

    def plug(self, hook_up: HookUp, number: int) -> bool:
        """Take the next answer."""
        return bool(self._next(f"plug {number}", True))

    def _next(self, question: str, default: object) -> object:
        self.asked.append(question)
        return next(self.answers, default)
