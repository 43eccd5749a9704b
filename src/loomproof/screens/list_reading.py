"""What was understood of a list, and the questions that it leaves open."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, TypeVar

import click

from loomproof.errors import UsageError
from loomproof.screens.notes import in_full, told

if TYPE_CHECKING:
    from loomproof.jobs.importing import Imported, ListImport
    from loomproof.loom.lists.questions import Question
    from loomproof.loom.lists.reading import Reading
    from loomproof.screens.notes import How

T = TypeVar("T")

MOST_SHOWN = 12
"""So many rows that are left out, and changes, are shown unless all are asked for."""


def some(items: Sequence[T], said: Callable[[T], str], more: str, how: How, *, everything: bool) -> None:
    """Show items, one a line; of a long list the first and how many more there are."""
    # One line in the place of one line would save nothing.
    shown = items if everything or len(items) <= MOST_SHOWN + 1 else items[:MOST_SHOWN]
    for each in shown:
        click.echo(f"  {said(each)}", err=True)
    if len(items) > len(shown):
        click.echo(f"  {len(items) - len(shown)} {more} ({in_full(how)}).", err=True)


def asked(read: ListImport, how: How, *, everything: bool) -> ListImport:
    """Show what is understood of a list, and ask on the terminal what it leaves open."""
    from loomproof.loom.lists.questions import FILE

    if read.strange:
        click.echo(f"The headings are not those that {FILE} speaks of; it is not used.", err=True)
    show_reading(read.reading, how, everything=everything)
    while read.reading.questions and sys.stdin.isatty():
        question = read.reading.questions[0]
        try:
            read = read.answered(question, _ask(question))
        except UsageError as error:  # What was typed is no column or variant of the list: it is asked again.
            click.echo(f"{error} {error.cure}".strip(), err=True)
            continue
        show_reading(read.reading, how, everything=everything)
    return read


def _ask(question: Question) -> str:
    from loomproof.jobs.importing import LEAVE
    from loomproof.loom.lists.questions import FREE

    click.echo(f"{question.text[:1].upper()}{question.text[1:]}", err=True)
    name = question.name.partition(" ")[0]
    if name in ("column", "connector"):
        free = "  Column (heading, letter or number)" if name == "column" else "  Connector"
        return str(click.prompt(free, err=True))
    if name in FREE:
        return str(click.prompt(f"  Answer ({', '.join(question.answers)})", err=True))
    kind = click.Choice([*question.answers, *(() if question.must else (LEAVE,))], case_sensitive=False)
    return str(click.prompt("  Answer", type=kind, err=True))


def show_reading(reading: Reading, how: How, *, everything: bool = False) -> None:
    """Show what was understood of a list, before anything is written."""
    from loomproof.jobs.importing import KINDS, facts_of
    from loomproof.reports.words import clean

    click.echo(f"{reading.file}: {KINDS[reading.kind]}.", err=True)
    for head, text in facts_of(reading):
        click.echo(f"  {head:<15} {clean(text)}", err=True)
    if reading.sample:
        click.echo("  as read:", err=True)
        for row, text in reading.sample:
            click.echo(f"    row {row:<5} {clean(text)}", err=True)
    some(
        reading.left_out,
        lambda each: clean(told(each, how)),
        "more rows are left out",
        how,
        everything=everything,
    )


def confirmed(read: ListImport, how: How, cure: str, *, yes: bool, everything: bool, over: bool) -> Imported:
    """Have the list confirmed where nobody has, say what changed since the last issue, and write the loom.

    ``cure`` says what else confirms it: raises `UsageError` with it where nobody can be asked.
    """
    from loomproof.reports.words import clean

    read.made()
    if read.unsure and not yes:
        if not sys.stdin.isatty():
            raise UsageError("nobody has confirmed these columns", cure=cure)
        click.confirm("Is this right?", abort=True, err=True)
    changed = read.changes()
    if changed is not None:
        head = (
            f"Changed since {read.target} was written:"
            if changed
            else "Nothing changed since the last issue."
        )
        click.echo(head, err=True)
        some(changed, clean, "more", how, everything=everything)
    return read.write(over=over)
