"""A job's events on a terminal: progress in one line, what a person is told on lines of its own."""

from __future__ import annotations

import sys
from collections.abc import Callable, Generator
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

from loomproof.jobs.events import ContactMoved, Event, Progress, Prompt, Touched, finish
from loomproof.screens.printing import line
from loomproof.screens.streams import nobody_there

if TYPE_CHECKING:
    from loomproof.errors import Do
    from loomproof.jobs.learn_adapter import Patience
    from loomproof.jobs.running import Running

T = TypeVar("T")


def on_screen(
    job: Running[T] | Generator[Event, None, T], screen: Screen, more: Callable[[Event], None]
) -> T:
    """Run a job to its end, showing what happens; ``more`` sees each event as well.

    Where its reader went away, the job goes on unseen: nothing that drives is broken off for want of a
    reader. Nobody answers its questions from then on.
    """

    def show(event: Event) -> None:
        try:
            screen.show(event)
        except BrokenPipeError:
            nobody_there()
        more(event)

    try:
        return finish(job, show) if isinstance(job, Generator) else job.run(show)
    finally:
        screen.clear()


class Screen:
    """Standard error: on a terminal progress is one line, written over; else each new stretch is a line.

    ``how`` says how a person asks for what a prompt says can be done.
    """

    def __init__(self, how: Callable[[Do], str] = lambda _: "") -> None:
        self._how = how
        self._terminal = sys.stderr.isatty()
        self._running = False

    def show(self, event: Event) -> None:
        """Show one event, where it is for people."""
        if isinstance(event, Progress):
            self._step(event)
        elif isinstance(event, Prompt):
            self._line(event.text)
            for each in event.lines:
                line(each, "  - ", err=True)
            if event.do is not None and (said := self._how(event.do)):
                line(said, "  ", err=True)
        elif isinstance(event, ContactMoved):
            self._line(f"at {event.time_s:.1f} s: {', '.join(map(str, event.cavities))} changed", "  ")

    def clear(self) -> None:
        """Take the line of progress away."""
        if self._terminal:
            click.echo("\r\x1b[K", nl=False, err=True)
        self._running = False

    def _step(self, step: Progress) -> None:
        if not self._terminal:
            if step.done == 0:
                click.echo(f"  {step.what} …", err=True)
            return
        count = f" {step.done} of {step.total}" if step.total else ""
        left = "" if step.remaining_s is None or step.remaining_s < 5 else f", about {step.remaining_s:.0f} s"
        click.echo(f"\r\x1b[K  {step.what} …{count}{left}", nl=False, err=True)
        self._running = True

    def _line(self, text: str, head: str = "") -> None:
        if self._running:
            self.clear()
        line(text, head, err=True)


def show_touched(event: Touched, *, learning: bool) -> None:
    """Say what a touch was: its point and cavities; whose eyes are at the probe hears it."""
    if sys.stderr.isatty():
        click.echo("\a", nl=False, err=True)
    points, ends = (", ".join(map(str, each)) for each in (event.points, event.cavities))
    click.echo(
        f"{ends}: point {points}" if learning else f"point {points}: {ends or 'no lead of the adapter'}"
    )


def on_touching(
    job: Running[T] | Generator[Event, None, T], screen: Screen, target: Path | None = None, ends: int = 0
) -> None:
    """Run a job that is touched through, each touch said; at its end what ``target`` holds of its ends."""
    told = []

    def tell(event: Event) -> None:
        if isinstance(event, Touched):
            told.append(event)
            show_touched(event, learning=target is not None)

    try:
        on_screen(job, screen, tell)
    finally:
        if told and target is not None and target.exists():
            from loomproof.jobs.adapters import read_adapter
            from loomproof.reports.words import plural

            known = len(read_adapter(target).entries)
            click.echo(f"{target}: {known} of {plural(ends, 'end')} learned.", err=True)


def at_the_probe(wait_s: float) -> Patience:
    """Return how long a touch is waited for, s, and what the person there types meanwhile: u, s or d."""
    from loomproof.jobs.learn_adapter import Patience, Word
    from loomproof.screens.terminal_operator import typed_meanwhile

    words = {"u": Word.UNDO, "s": Word.SKIP, "d": Word.DONE}
    return Patience(wait_s, said=lambda: words.get(typed_meanwhile()))
