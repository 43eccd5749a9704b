"""Commands about the description of a loom: new, check, nets, export."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from loomproof.errors import Problem

_loom = click.argument("loom", type=click.Path(path_type=Path))
_over = click.option("--over", is_flag=True, help="Write over what is there.")
_code = click.option(
    "--colour-code",
    type=click.Choice(["IEC 60757", "BS AU 7", "German", "US", "Japanese"], case_sensitive=False),
    default="IEC 60757",
    show_default=True,
    help="Code of the wire colours.",
)
_answers = click.option(
    "--answer", "answers", multiple=True, metavar="CHOICE=ANSWER", help="Answer a choice; repeatable."
)


def _show(problems: Sequence[Problem], *, err: bool = False) -> None:
    from loomproof.cli.cures import told

    for problem in problems:
        click.echo(f"  {told(problem)}", err=err)


MOST_ALIKE = 3
"""So many warnings of one sort (same table, same column, same cure) are shown unless all are asked for."""


def show_notes(notes: Sequence[Problem], *, everything: bool) -> None:
    """Say what an import noticed, folded to the screen; in short unless everything is asked for."""
    from rich.console import Console

    from loomproof.reports.listing import Paragraph

    console = Console(stderr=True, highlight=False)
    click.echo("Worth a look:", err=True)
    shown = notes if everything else [note.brief for note in notes]
    show_grouped(
        shown,
        len(notes) if everything else MOST_ALIKE,
        lambda text: console.print(Paragraph(text, "  ", "    ")),
    )
    if not everything and any(note.short for note in notes):
        click.echo("  --all shows every warning with every name that it lists.", err=True)


def show_grouped(problems: Sequence[Problem], most: int, show: Callable[[str], object]) -> None:
    """Show warnings, of each sort so many and then how many more there are."""
    from loomproof.cli.cures import told
    from loomproof.errors import Problem

    groups: dict[tuple[str, ...], list[Problem]] = {}
    for problem in problems:
        sort = (problem.file, problem.sheet, problem.column, problem.cure)
        # Where no column tells what it is about, its words do, names and numbers left out.
        words = "" if problem.column else re.sub(r"'[^']*'|\S*\d\S*|:.*", "", problem.message)
        groups.setdefault((*sort, words), []).append(problem)
    for alike in groups.values():
        # One line in the place of one line would save nothing.
        shown = alike if len(alike) <= most + 1 else alike[:most]
        for problem in shown:
            show(told(problem))
        left = len(alike) - len(shown)
        if left:
            place = Problem("", alike[0].file, alike[0].sheet, column=alike[0].column).place
            show(f"{f'{place}: ' if place else ''}{left} more of this sort (--all shows them).")


@click.command()
@_loom
@_answers
@click.option("--all", "everything", is_flag=True, help="Show every warning, also those that look alike.")
def check(loom: Path, answers: Sequence[str], everything: bool) -> None:
    """Check the description LOOM (a folder or a workbook) and sum it up."""
    from loomproof.electrics.loads import too_weak
    from loomproof.electrics.nets import nets_of
    from loomproof.fitting.sharing import carried_by_wires
    from loomproof.loom.choices import answers_of, needs_of
    from loomproof.loom.model import Need
    from loomproof.loom.reading import load
    from loomproof.loom.summary import summary_of

    loaded = load(loom)
    given = answers_of(loaded.loom, answers)
    found = summary_of(loaded.loom, given)
    click.echo(loaded.loom.name + (f", serial {loaded.loom.serial}" if loaded.loom.serial else ""))
    lines = (
        ("connectors", f"{found.connectors}, with {found.cavities} cavities ({found.spare} spare)"),
        ("splices", f"{found.splices}"),
        ("wires", f"{found.wires}, {found.length_m:.1f} m"),
        ("nets", f"{len(nets_of(loaded.loom))}"),
        ("components", f"{found.components}, {found.fitted} in place while the loom is proved"),
        ("circuits", ", ".join(f"{found.circuits[need]} {need}" for need in Need)),
    )
    for name, text in lines:
        click.echo(f"  {name:<11} {text}")
    for choice in loaded.loom.choices:
        answer = given.get(choice.name, "")
        others = ", ".join(known.name for known in choice.answers if known.name != answer)
        click.echo(
            f"  {choice.question} {answer or 'not answered'} (--answer {choice.name}=…; else {others})"
        )
    for text in found.missing:
        click.echo(f"  missing: {text}")
    if loaded.warnings:
        click.echo("Worth a look:")
        show_grouped(
            loaded.warnings,
            len(loaded.warnings) if everything else MOST_ALIKE,
            lambda text: click.echo(f"  {text}"),
        )
    weak = too_weak(loaded.loom, carried_by_wires(loaded.loom, needs_of(loaded.loom, given)))
    if weak:
        click.echo("Too weak for its load as described, however sound the loom is:")
        for name, text in weak.items():
            click.echo(f"  wire {name}: {text}")
    click.echo("The description holds together.")


@click.command()
@click.argument("target", type=click.Path(path_type=Path))
@click.option("--name", default="", help="Name of the loom; the folder's name where it is not given.")
@_over
def new(target: Path, name: str, over: bool) -> None:
    """Write a commented starter loom to the folder TARGET (or a workbook, where it ends in .xlsx)."""
    from loomproof.loom import writing
    from loomproof.loom.reading import WORKBOOKS, load_files
    from loomproof.loom.starter import starter

    files = starter(name or target.stem or "New loom")
    if target.suffix.casefold() in WORKBOOKS:
        writing.write_workbook(load_files(files, str(target)).loom, target, over=over)
    else:
        writing.write_files(files, target, over=over)
    click.echo(f"{target} holds a starter. Next: loomproof check {target}", err=True)


@click.command()
@_loom
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "csv", "json"]),
    default="text",
    show_default=True,
    help="How to write them.",
)
def nets(loom: Path, form: str) -> None:
    """Print the expected netlist of LOOM: which cavities are one conductor, by which wires."""
    import json

    from loomproof.electrics.nets import nets_of
    from loomproof.loom.reading import load
    from loomproof.loom.tables import csv_bytes
    from loomproof.loom.text import list_of

    loaded = load(loom).loom
    circuits = loaded.wire_by_name
    rows: list[dict[str, list[str]]] = [
        {
            "cavities": [str(end) for end in net.cavities],
            "splices": [str(end) for end in net.ends if loaded.is_splice(end)],
            "wires": list(net.wires),
            "circuits": list(dict.fromkeys(circuits[w].circuit for w in net.wires if circuits[w].circuit)),
        }
        for net in nets_of(loaded)
    ]
    if form == "json":
        numbered = [{"net": number, **row} for number, row in enumerate(rows, 1)]
        click.echo(json.dumps(numbered, ensure_ascii=False, indent=2))
        return
    if form == "csv":
        headings = ("net", "cavities", "splices", "wires", "circuits")
        texts = [
            [
                str(number),
                " ".join(row["cavities"]),
                " ".join(row["splices"]),
                list_of(row["wires"]),
                list_of(row["circuits"]),
            ]
            for number, row in enumerate(rows, 1)
        ]
        click.echo(csv_bytes(headings, texts).decode(), nl=False)
        return
    for number, row in enumerate(rows, 1):
        wires = f"  by {' '.join(row['wires'])}" if row["wires"] else "  no wire"
        click.echo(f"{number:>4}  {' '.join([*row['cavities'], *row['splices']])}{wires}")


@click.command()
@_loom
@click.option("--folder", type=click.Path(path_type=Path), help="Write a loom folder (loom.toml and CSV).")
@click.option("--workbook", type=click.Path(path_type=Path), help="Write an XLSX workbook.")
@click.option("--kbl", type=click.Path(path_type=Path), help="Write KBL 2.5; lists what KBL cannot hold.")
@_code
@_over
def export(
    loom: Path, folder: Path | None, workbook: Path | None, kbl: Path | None, colour_code: str, over: bool
) -> None:
    """Write LOOM in another form. Folder and workbook hold all of it."""
    from loomproof.errors import UsageError
    from loomproof.loom import writing
    from loomproof.loom.reading import load

    if not (folder or workbook or kbl):
        raise UsageError("nothing to write to", cure="Say --folder DIR, --workbook FILE or --kbl FILE.")
    found = load(loom)
    loaded = found.loom
    if found.left_out:
        click.echo("Not carried over:", err=True)
        _show(found.left_out, err=True)
    if folder:
        writing.write_folder(loaded, folder, colour_code, over=over)
        click.echo(f"{folder} holds the loom.", err=True)
    if workbook:
        writing.write_workbook(loaded, workbook, colour_code, over=over)
        click.echo(f"{workbook} holds the loom.", err=True)
    if kbl:
        from loomproof.loom import kbl as harness_standard

        written = harness_standard.write(loaded)
        writing.write_file(kbl, written.content, over=over)
        click.echo(f"{kbl} holds what KBL 2.5 can hold of the loom.", err=True)
        if written.left_out:
            click.echo("It cannot hold:", err=True)
            _show(written.left_out, err=True)
