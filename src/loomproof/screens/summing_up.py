"""Many looms summed up: the files that are asked for, and the lines on the screen."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.errors import Do, Problem, Todo
from loomproof.screens.kept import tell_of_records
from loomproof.screens.notes import How, told
from loomproof.screens.printing import terminal

if TYPE_CHECKING:
    from loomproof.jobs.archive import Archive, Wanted
    from loomproof.jobs.fleet import Answers
    from loomproof.jobs.looking_back import Fleet


def write_asked(
    archive: Archive,
    loom: str | None,
    wanted: Wanted,
    fleet: Fleet,
    files: Mapping[str, Path | None],
    instead: str,
) -> tuple[Path, ...]:
    """Write what is asked for and return where; ``instead`` says how simulated runs get in."""
    from loomproof.jobs.summing_up import summed_up
    from loomproof.reports.words import plural

    written = {what: path for what, path in files.items() if path is not None}
    pages = summed_up(archive, loom, wanted) if {"pdf", "workbook"} & set(written) else None
    for what, path in written.items():
        if what == "plot":
            fleet.plot(path)
        else:
            getattr(pages if what in ("pdf", "workbook") else fleet, f"write_{what}")(path)
    if pages is not None and wanted.simulated is None:
        # The screen tells of both; who reads an empty page beside it must learn why.
        played = sum(one.simulated for one in fleet.shelf.counted)
        if played:
            said = f"Pages and workbook leave out {plural(played, 'run')} on simulated benches"
            click.echo(f"{said}: {instead}.", err=True)
    return tuple(written.values())


def show_lines(fleet: Fleet, written: Sequence[Path]) -> None:
    """Print what the runs come to, then the files that were written."""
    _print(fleet.lines)
    for path in written:
        click.echo(str(path))


def show_tables(archive: Archive, how: How) -> bool:
    """Print what very many proofs come to, as the store's tables have it.

    Return whether the tables are as they were noted.
    """
    from loomproof.jobs.fleet import of_the_store

    _show_answers(of_the_store(archive.store))
    troubles = archive.not_as_noted()
    tell_of_records(troubles)
    _say_what_was_counted(how)
    return not troubles


def show_dataset(dataset: Path, cluster: str, how: How) -> None:
    """Print what very many proofs come to, as a data set has it; ``cluster`` of Spark answers where named."""
    from loomproof.jobs.fleet import of_the_dataset

    _show_answers(of_the_dataset(dataset, cluster))
    _say_what_was_counted(how)


def _show_answers(asked: Iterable[Answers]) -> None:
    for answers in asked:
        _print(answers.lines)


def _say_what_was_counted(how: How) -> None:
    from loomproof.jobs.fleet import COUNTED_FROM

    note = Problem(COUNTED_FROM, severity="warning", do=Do(Todo.CHECK_RECORDS))
    click.echo(told(note, how), err=True)


def _print(lines: Iterable[tuple[str, bool]]) -> None:
    """Print lines, those that are headings in bold."""
    from rich.text import Text

    from loomproof.reports.words import clean

    for line, heading in lines:
        terminal().print(Text(clean(line), style="bold" if heading else ""))
