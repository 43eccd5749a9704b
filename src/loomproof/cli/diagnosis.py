"""Commands that speak of what was found: a run's findings again, and what a repair changed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.cli.kinds import PATH
from loomproof.cli.options import RUNS, archive_option
from loomproof.cli.output import found
from loomproof.screens.kept import chosen, show_reasoning, show_repairs
from loomproof.screens.printing import line, terminal

if TYPE_CHECKING:
    from loomproof.jobs.archive import Archive


@click.command()
@click.argument("run", default="last", shell_complete=RUNS)
@click.option(
    "--saw",
    multiple=True,
    metavar="WHAT",
    help='What one more look showed: "W12 sound", "C5 bad", "ECU:12 sound", "adapter ECU:12 bad".',
)
@click.option("--forget", is_flag=True, help="Take back what --saw was told of this run before.")
@click.option("--details", is_flag=True, help="Show the reasoning: causes, and what each explanation costs.")
@click.option("--parts", "loom", type=PATH, metavar="LOOM", help="List what its repairs want, by LOOM.")
@archive_option
def findings(
    run: str, saw: tuple[str, ...], forget: bool, details: bool, loom: Path | None, archive: Archive
) -> None:
    """Show a RUN's findings again (a run's name, or a results file).

    --saw takes the answer to what a finding asks for, and leaves the explanations that still fit. Answers are
    kept with the run in the store, beside its sealed record; those about a results file are not kept.
    """
    from loomproof.jobs.answering import narrowed
    from loomproof.reports.terminal import findings_view
    from loomproof.reports.words import clean

    described = None
    if loom is not None:
        from loomproof.loom.reading import load

        described = load(loom).loom
    named = chosen(archive, run)
    answered = narrowed(archive, named, saw, forget=forget)
    found(0)
    terminal().print(findings_view(answered.document))
    if not named.endswith(".json"):
        show_repairs(archive, named)
    for each in answered.taken:
        line(clean(str(each)))
    if not answered.kept:
        click.echo("Not kept: answers are kept with a run of the store, not with a results file.")
    if described is not None:
        from loomproof.screens.kit import show_repair_parts

        show_repair_parts(answered.document, described)
    if details:
        show_reasoning(answered.document)


@click.command()
@click.argument("before", shell_complete=RUNS)
@click.argument("after", shell_complete=RUNS)
@archive_option
def compare(before: str, after: str, archive: Archive) -> None:
    """Show what changed from one proof to a later one.

    Findings that are gone, still there or new, and the readings that changed by more than their uncertainty.
    """
    from loomproof.cli.cures import told
    from loomproof.jobs.looking_back import Compared
    from loomproof.reports.words import clean

    compared = Compared(*(archive.document(chosen(archive, run)) for run in (before, after)))
    found(0)
    if compared.changed.doubt is not None:
        line(clean(told(compared.changed.doubt)), err=True)
    for each in compared.lines:
        line(clean(each))
