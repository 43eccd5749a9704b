"""Commands about the description of a loom: new, check, nets, draw, export."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.cli.cures import how, say_next
from loomproof.cli.kinds import PATH
from loomproof.cli.options import (
    RUNS,
    all_option,
    answer_option,
    archive_option,
    colour_code_option,
    loom_argument,
    over_option,
)
from loomproof.cli.output import found
from loomproof.errors import UsageError

if TYPE_CHECKING:
    from loomproof.jobs.archive import Archive


@click.command()
@loom_argument
@answer_option
@all_option("Show every warning, also those that look alike.")
def check(loom: Path, answers: Sequence[str], everything: bool) -> None:
    """Check the description LOOM (a folder or a workbook) and sum it up."""
    from loomproof.jobs.describing import checked
    from loomproof.screens.description import show_description

    described = checked(loom, answers)
    found(0)
    show_description(described, how, "--answer {}=…".format, everything=everything)


@click.command()
@click.argument("target", type=PATH)
@click.option("--name", default="", help="Name of the loom; the folder's name where it is not given.")
@click.option("--pattern", default="", help="Add the circuits that looms of a kind usually have: engine.")
@over_option
def new(target: Path, name: str, pattern: str, over: bool) -> None:
    """Write a commented starter loom to the folder TARGET (or a workbook, where it ends in .xlsx)."""
    from loomproof.jobs.describing import write_starter

    write_starter(target, name, usual=pattern, over=over)
    click.echo(f"{target} holds a starter.", err=True)
    say_next("check", target)


@click.command()
@loom_argument
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
    from loomproof.loom.reading import load
    from loomproof.screens.description import show_nets

    described = load(loom).loom
    found(0)
    show_nets(described, form)


@click.command()
@loom_argument
@click.option(
    "--to",
    "target",
    type=PATH,
    default=Path("drawings"),
    show_default=True,
    help="Folder for the drawings; made where it is missing.",
)
@click.option("--run", metavar="RUN", shell_complete=RUNS, help="Draw under it where this run found faults.")
@archive_option
@over_option
def draw(loom: Path, target: Path, run: str | None, archive: Archive, over: bool) -> None:
    """Draw LOOM as SVG: the whole loom, and the face of each connector.

    loom.svg shows connectors, splices, wires and circuits (of a loom too big for one picture: index.html
    leads to wires_NAME.svg, what hangs on each connector); face_NAME.svg a connector seen from its mating
    face, with cavity numbers and wire colours. With --run (a run's name, last, or a results file) each wire
    on which it found a place stands under the loom as a ruler, to scale. SVG opens in any browser and
    prints at any size.
    """
    from loomproof.jobs.files import folder_or
    from loomproof.screens.description import show_drawn
    from loomproof.screens.kept import chosen

    folder_or(target)
    show_drawn(loom, target, over=over, run=archive.document(chosen(archive, run)) if run else None)


@click.command()
@loom_argument
@click.option("--folder", type=PATH, help="Write a loom folder (loom.toml and CSV).")
@click.option("--workbook", type=PATH, help="Write an XLSX workbook.")
@click.option("--kbl", type=PATH, help="Write KBL 2.5; lists what KBL cannot hold.")
@colour_code_option("Code of the wire colours.", "IEC 60757")
@over_option
def export(
    loom: Path, folder: Path | None, workbook: Path | None, kbl: Path | None, colour_code: str, over: bool
) -> None:
    """Write LOOM in another form. Folder and workbook hold all of it."""
    from loomproof.jobs.files import ends_in
    from loomproof.screens.description import show_exported

    if not (folder or workbook or kbl):
        raise UsageError("nothing to write to", cure="Say --folder DIR, --workbook FILE or --kbl FILE.")
    if workbook:
        ends_in(workbook, ".xlsx")
    if kbl:
        ends_in(kbl, ".kbl", ".xml")
    show_exported(loom, folder, workbook, kbl, colour_code, how, over=over)
    for written in filter(None, (folder, workbook, kbl)):
        say_next("check", written)
