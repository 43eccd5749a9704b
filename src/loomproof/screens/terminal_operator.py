"""The operator at the terminal; where there is none, nobody has answered."""

from __future__ import annotations

import math
import select
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from loomproof.jobs.hand_questions import HandAsked, HandReply
    from loomproof.judgement.inspection import Inspection
    from loomproof.loom.model import End
    from loomproof.planning.hookup_plan import HookUp
    from loomproof.screens.hand_screen import HandScreen


@dataclass(frozen=True)
class TerminalOperator:
    """The person at the terminal; ``made_safe`` says beforehand that the cautions hold."""

    made_safe: bool = False
    _screen: HandScreen | None = field(default=None, init=False, repr=False, compare=False)

    def confirm(self, statement: str) -> bool:
        """Ask whether this holds, unless it was said beforehand."""
        return self.made_safe or confirmed(statement)

    def type_voltage(self, volts: float) -> bool:
        """Ask to type a test voltage that can hurt; nothing stands in for that."""
        if not sys.stdin.isatty():
            return False
        return _typed(f"Type {volts:g} to put {volts:g} V on this loom").strip() == f"{volts:g}"

    def read_meter(self) -> float | None:
        """Ask what a meter shows on the loom, V; ``None`` where nobody has measured."""
        if not sys.stdin.isatty():
            return None
        text = "This bench measures no voltage. What is the largest that the meter shows, V (Enter: not read)"
        try:
            volts = float(_typed(text).strip().replace(",", "."))
        except ValueError:
            return None
        return volts if math.isfinite(volts) else None

    def inspect(self, items: Sequence[tuple[str, str]]) -> Inspection:
        """Ask what was seen of a loom, item by item; ask nobody where there is no terminal."""
        from loomproof.judgement.inspection import Inspection

        if not sys.stdin.isatty():
            return Inspection()
        click.echo("Look the loom over. Say what you see; Enter alone says that it is in order.", err=True)
        return Inspection(tuple((name, _typed(f"  {question}")) for name, question in items))

    def hold_probe(self, end: End | None) -> bool:
        """Have the probe held on an end, or taken off."""
        if not sys.stdin.isatty():
            return end is None
        if end is None:
            _typed("Take the probe off the loom, then Enter")
            return True
        asked = f"Hold the probe (0 V through its resistor, never mains earth) on {end}"
        return not _typed(f"{asked}, then Enter; n leaves it out").strip()

    def beep_limit(self) -> str:
        """Ask up to how many ohms the meter beeps."""
        if not sys.stdin.isatty():
            return ""
        click.echo(
            "A beep proves as much as the meter's threshold says; its manual has the figure.", err=True
        )
        return _typed(
            "Up to how many ohms does your meter beep? (One figure, as 50, or two, as 30-60)"
        ).strip()

    def probe(self, asked: HandAsked) -> HandReply:
        """Ask what the meter says with the probes laid so; where there is no terminal the run stops."""
        from loomproof.jobs.hand_questions import HandReply, Wish
        from loomproof.screens.hand_screen import HandScreen

        if not sys.stdin.isatty():
            return HandReply(Wish.STOP)
        if self._screen is None:
            object.__setattr__(self, "_screen", HandScreen())
        assert self._screen is not None
        return self._screen.ask(asked)

    def plug(self, hook_up: HookUp, number: int) -> bool:
        """Ask whether it is plugged so, until it is or the person stops; what to plug stands above."""
        while sys.stdin.isatty():
            said = _typed("Is it plugged so? [y: yes, s: stop for now, Enter: not yet]").strip().casefold()
            if said in ("y", "yes"):
                return True
            if said in ("s", "stop"):
                return False
            if said:
                click.echo(
                    "Plug it as it stands above, then type y; s stops, and it goes on later.", err=True
                )
        click.echo("Standard input is no terminal, so nobody can say that it is plugged so.", err=True)
        return False


def confirmed(question: str) -> bool:
    """Ask on the terminal; where there is none, nobody has confirmed."""
    if not sys.stdin.isatty():
        return False
    _on_a_line_of_its_own()
    return click.confirm(question, default=False, err=True)


def _on_a_line_of_its_own() -> None:
    """Take away the line of progress that a question would stand behind."""
    if sys.stderr.isatty():
        click.echo("\r\x1b[K", nl=False, err=True)


def _typed(question: str) -> str:
    _on_a_line_of_its_own()
    return str(click.prompt(question, default="", show_default=False, err=True))


def typed_meanwhile() -> str:
    """Return the line that was typed since it was last asked, "" for none; waits for nothing."""
    if not sys.stdin.isatty():
        return ""
    if sys.platform == "win32":
        import msvcrt

        return sys.stdin.readline().strip() if msvcrt.kbhit() else ""
    ready, _, _ = select.select([sys.stdin], [], [], 0.0)
    return sys.stdin.readline().strip() if ready else ""
