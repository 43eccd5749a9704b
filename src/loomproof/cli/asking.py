"""What a person is asked at the terminal; where there is none, nobody has answered."""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass

import click

from loomproof.cautions import BEFORE_AN_INSULATION_TEST


@dataclass(frozen=True)
class Terminal:
    """The person at the terminal, as a clearance asks one; ``made_safe`` says that the cautions hold."""

    made_safe: bool = False

    def confirm(self, statement: str) -> bool:
        """Ask whether this holds, unless it was said beforehand."""
        return self.made_safe or confirmed(statement)

    def type_voltage(self, volts: float) -> bool:
        """Ask to type a test voltage; nothing stands in for that."""
        return voltage_typed(volts)

    def read_meter(self) -> float | None:
        """Ask what a meter shows on the loom, V."""
        return meter_read()


def confirmed(question: str) -> bool:
    """Ask on the terminal; where there is none, nobody has confirmed."""
    return sys.stdin.isatty() and click.confirm(question, default=False, err=True)


def voltage_typed(volts: float) -> bool:
    """Ask a person to type a test voltage that can hurt; where there is no terminal, nobody has."""
    if not sys.stdin.isatty():
        return False
    for text in BEFORE_AN_INSULATION_TEST:
        click.echo(f"  - {text}", err=True)
    typed = click.prompt(
        f"Type {volts:g} to put {volts:g} V on this loom", default="", show_default=False, err=True
    )
    return str(typed).strip() == f"{volts:g}"


def meter_read() -> float | None:
    """Ask what a meter shows on the loom, V; ``None`` where there is no terminal, or nobody has measured."""
    if not sys.stdin.isatty():
        return None
    text = "This bench measures no voltage. What is the largest that the meter shows, V (Enter: not read)"
    typed = str(click.prompt(text, default="", show_default=False, err=True)).strip().replace(",", ".")
    try:
        volts = float(typed)
    except ValueError:
        return None
    return volts if math.isfinite(volts) else None


def probe_held(end: str | None) -> bool:
    """Have a person hold the probe on an end, or take it off; where there is no terminal, nobody does."""
    if not sys.stdin.isatty():
        return end is None
    if end is None:
        click.prompt("Take the probe off the loom, then Enter", default="", show_default=False, err=True)
        return True
    text = (
        f"Hold the probe (0 V through its resistor, never mains earth) on {end}, then Enter; n leaves it out"
    )
    return not str(click.prompt(text, default="", show_default=False, err=True)).strip()


def looked_over() -> tuple[str, ...]:
    """Ask on the terminal what was seen of a loom, item by item; ask nobody where there is none."""
    from loomproof.judgement.inspection import ITEMS, Inspection

    if not sys.stdin.isatty():
        return ()
    click.echo("Look the loom over. Say what you see; Enter alone says that it is in order.", err=True)
    notes = tuple(
        (name, click.prompt(f"  {question}", default="", show_default=False, err=True))
        for name, question in ITEMS
    )
    return Inspection(notes).lines
