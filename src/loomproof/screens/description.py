"""A description that was checked, in lines: what it holds, what is asked of it, what is worth a look."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import click

from loomproof.errors import Problem, UsageError
from loomproof.jobs.describing import Checked
from loomproof.loom.model import Loom
from loomproof.results.document import Document
from loomproof.screens.notes import MOST_ALIKE, How, show_grouped, told
from loomproof.screens.printing import line


def show_description(
    described: Checked, how: How, answer_as: Callable[[str], str], *, everything: bool
) -> None:
    """Sum a checked description up; of warnings that look alike a few, unless everything is asked for.

    ``answer_as`` is how a choice of this name is answered.
    """
    said = described.loom
    line(said.name + (f", serial {said.serial}" if said.serial else ""))
    for name, text in described.facts:
        line(text, f"  {name:<11} ")
    for choice in said.choices:
        answer = described.answers.get(choice.name, "")
        others = ", ".join(known.name for known in choice.answers if known.name != answer)
        line(f"{choice.question} {answer or 'not answered'} ({answer_as(choice.name)}; else {others})", "  ")
    for text in described.summary.missing:
        line(text, "  missing: ")
    if described.warnings:
        click.echo("Worth a look:")
        most = len(described.warnings) if everything else MOST_ALIKE
        show_grouped(described.warnings, most, lambda text: line(text, "  "), how)
    if described.weak:
        line("Too weak for its load as described, however sound the loom is:")
        for name, text in described.weak.items():
            line(text, f"  wire {name}: ")
    click.echo("The description holds together.")


def show_drawn(loom: Path, target: Path, *, over: bool, run: Document | None = None) -> None:
    """Draw a loom into a folder, with the places that a run found; say which file to open, what else is.

    Raises `UsageError` where the run was of another description.
    """
    from loomproof.loom import writing
    from loomproof.loom.reading import load
    from loomproof.reports.drawing import INDEX, PLACES, WHOLE, drawings
    from loomproof.reports.drawing_places import places

    described = load(loom).loom
    if run is not None and run.loom.digest != described.digest:
        raise UsageError(
            f"the run {run.run} was proved against another description of {run.loom.name}",
            cure="Give the description as it was, or name a run of this one.",
        )
    files = drawings(described, run)
    writing.write_files(files, target, over=over)
    if WHOLE in files:
        click.echo(str(target / WHOLE))
        click.echo(f"{target} holds the picture of the loom and {len(files) - 1} connector faces.", err=True)
    else:
        click.echo(str(target / INDEX))
        said = f"an index, a picture of the wires at each of {len(files) // 2} connectors, and their faces"
        click.echo(f"The loom is too big for one picture: {target} holds {said}.", err=True)
    if PLACES in files:
        click.echo(f"What run {run.run if run else ''} found on wires stands in {target / PLACES}.", err=True)
    elif run is not None and places(run) is None:
        click.echo(f"Run {run.run} has no place on a wire, so none is drawn.", err=True)


def show_exported(
    loom: Path,
    folder: Path | None,
    workbook: Path | None,
    kbl: Path | None,
    colour_code: str,
    how: How,
    *,
    over: bool,
) -> None:
    """Write a loom in other forms; say what each holds, and what it can't carry."""
    from loomproof.loom import writing
    from loomproof.loom.kbl import write as kbl_of
    from loomproof.loom.reading import load

    def lacking(head: str, problems: Sequence[Problem]) -> None:
        for each in (head, *(f"  {told(problem, how)}" for problem in problems)) if problems else ():
            click.echo(each, err=True)

    read = load(loom)
    lacking("Not carried over:", read.left_out)
    if folder:
        writing.write_folder(read.loom, folder, colour_code, over=over)
        click.echo(f"{folder} holds the loom.", err=True)
    if workbook:
        writing.write_workbook(read.loom, workbook, colour_code, over=over)
        click.echo(f"{workbook} holds the loom.", err=True)
    if kbl:
        written = kbl_of(read.loom)
        writing.write_file(kbl, written.content, over=over)
        click.echo(f"{kbl} holds what KBL 2.5 can hold of the loom.", err=True)
        lacking("It cannot hold:", written.left_out)


def show_nets(loom: Loom, form: str) -> None:
    """Print the expected netlist as ``json``, ``csv`` or text."""
    from loomproof.electrics.netlist import netlist, netlist_csv, netlist_json

    if form == "json":
        click.echo(netlist_json(loom))
    elif form == "csv":
        click.echo(netlist_csv(loom).decode(), nl=False)
    else:
        for row in netlist(loom):
            click.echo(row)
