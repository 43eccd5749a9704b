"""How a command ends and what commands share of what they write.

The exit code of what a command found is noted before it is shown: a reader that goes away changes none.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

import click

from loomproof.errors import LoomproofError

if TYPE_CHECKING:
    from loomproof.jobs.events import Event
    from loomproof.jobs.keep import Orders
    from loomproof.jobs.running import Running

T = TypeVar("T")

EXIT_CODES = {"pass": 0, "fail": 1, "incomplete": 3, "undecided": 4}
"""Exit code for each verdict."""


@dataclass
class Found:
    """The exit code as soon as it is known; ``None`` while the command has not come so far."""

    code: int | None = None


def found(code: int) -> int:
    """Note the exit code of the command that runs, everything done but showing it; return it."""
    context = click.get_current_context(silent=True)
    noted = None if context is None else context.find_object(Found)
    if noted is not None:
        noted.code = code
    return code


def drawn(job: Running[T] | Generator[Event, None, T], more: Callable[[Event], None] = lambda _: None) -> T:
    """Run a job to its end on a screen that says what to type; ``more`` sees each event as well.

    Where it stops before its end, the error says what to type to go on with it.
    """
    from loomproof.cli.cures import how, say_how_to_go_on
    from loomproof.screens.progress import Screen, on_screen

    try:
        return on_screen(job, Screen(how), more)
    except LoomproofError as stopped:
        say_how_to_go_on(stopped, click.get_current_context(silent=True))
        raise


def held_to_the_end() -> Orders:
    """Hold orders to stop until the command that runs has ended, its results shown."""
    from loomproof.jobs.keep import Orders
    from loomproof.screens.signals import held

    context = click.get_current_context(silent=True)
    return Orders() if context is None else context.with_resource(held())
