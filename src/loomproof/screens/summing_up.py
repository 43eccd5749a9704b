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


def show_answers(
    archive: Archive | None,
    dataset: Path | None,
    cluster: str,
    how: How,
    page: Path | None,
    pictures: Path | None,
) -> bool:
    """Print what very many proofs come to, as a data set has it or the archive's store; write page and
    pictures.

    Return whether the store's tables are as they were noted, which a data set says nothing of.
    """
    from loomproof.jobs.fleet import COUNTED_FROM, of_the_dataset, of_the_store

    store = archive.store if archive else None
    asked = of_the_dataset(dataset, cluster) if dataset else of_the_store(store)
    for answers in asked:
        _print(answers.lines)
    if page or pictures:
        from loomproof.jobs.fleet_report import wanted

        for path in wanted(asked, dataset, store, page, pictures):
            click.echo(str(path))
    troubles = archive.not_as_noted() if archive else ()
    tell_of_records(troubles)
    note = Problem(COUNTED_FROM, severity="warning", do=Do(Todo.CHECK_RECORDS))
    click.echo(told(note, how), err=True)
    return not troubles


def _print(lines: Iterable[tuple[str, bool]]) -> None:
    """Print lines, those that are headings in bold."""
    from rich.text import Text

    from loomproof.reports.words import clean

    for line, heading in lines:
        terminal().print(Text(clean(line), style="bold" if heading else ""))
