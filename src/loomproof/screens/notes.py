"""Problems that are worth a look, those of one sort together."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, TypeAlias

import click

from loomproof.errors import Do, Problem, Todo

if TYPE_CHECKING:
    from loomproof.jobs.adapters import CheckedAdapter

How: TypeAlias = Callable[[Do | None], str]
"""How a person asks for what the program can do; "" for nothing."""

MOST_ALIKE = 3
"""So many warnings of one sort (same table, same column, same cure) are shown unless all are asked for."""


def show_notes(notes: Sequence[Problem], how: How, *, everything: bool) -> None:
    """Say what an import noticed, folded to the screen; in short unless everything is asked for."""
    from loomproof.reports.listing import Paragraph
    from loomproof.screens.printing import terminal

    console = terminal(err=True)
    click.echo("Worth a look:", err=True)
    show_grouped(
        notes if everything else [note.brief for note in notes],
        len(notes) if everything else MOST_ALIKE,
        lambda text: console.print(Paragraph(text, "  ", "    ")),
        how,
    )
    if not everything and any(note.short for note in notes):
        click.echo(f"  Long lists of names are cut short: {how(Do(Todo.ALL))}", err=True)


def show_grouped(problems: Sequence[Problem], most: int, show: Callable[[str], object], how: How) -> None:
    """Show warnings, of each sort so many and then how many more there are."""
    from loomproof.errors import alike

    for sort in alike(problems):
        # One line in the place of one line would save nothing.
        shown = sort if len(sort) <= most + 1 else sort[:most]
        for problem in shown:
            show(told(problem, how))
        if left := len(sort) - len(shown):
            place = sort[0].place_of_sort
            show(f"{f'{place}: ' if place else ''}{left} more of this sort ({in_full(how)}).")


def in_full(how: How) -> str:
    """Return how all of a list is asked for, within a sentence."""
    return how(Do(Todo.ALL)).removesuffix(".")


def told(problem: Problem, how: How) -> str:
    """Return a problem with its place and what to do, and how that is asked for."""
    return " ".join(filter(None, (str(problem), how(problem.do))))


def show_adapter(table: str, found: CheckedAdapter, how: How) -> None:
    """Say what does not fit of an adapter table, and what it comes to."""
    from loomproof.reports.words import plural

    for problem in found.problems:
        click.echo(f"{problem.severity}: {told(problem, how)}")
    click.echo(
        f"{table}: {plural(len(found.adapter.entries), 'lead')}, "
        f"{plural(len(found.missing), 'cavity', 'cavities')} without a point, "
        f"zeroed {found.adapter.zeroed or 'never'}."
    )
