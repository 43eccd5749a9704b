"""The command that says which ends go where in the car, and which must be made safe."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.cli.kinds import FILE, PATH, FiniteNumber
from loomproof.cli.options import answer_option, archive_option, loom_argument
from loomproof.cli.output import found
from loomproof.screens.printing import terminal

if TYPE_CHECKING:
    from loomproof.jobs.archive import Archive


@click.command()
@loom_argument
@answer_option
@click.option("--run", help="Take this proof instead of the latest one.")
@click.option("--csv", "csv_file", type=FILE, help="Write it as CSV.")
@click.option("--pdf", "pdf_file", type=FILE, help="Write it as PDF.")
@click.option("--side-table", type=PATH, help="What a KBL or VEC file does not carry.")
@click.option("--ampacity", type=FILE, help="CSV: csa_mm2, ampacity_a, source, conditions.")
@click.option("--running", "running_c", type=FiniteNumber(-40, 200), help="Copper while running, °C.")
@archive_option
def fit(
    loom: Path,
    answers: tuple[str, ...],
    run: str | None,
    csv_file: Path | None,
    pdf_file: Path | None,
    side_table: Path | None,
    ampacity: Path | None,
    running_c: float | None,
    archive: Archive,
) -> None:
    """Say which ends of LOOM go where in the car, and which must be made safe.

    LOOM is a folder, a workbook, a KBL or a VEC file. Without a passing proof of this very description,
    kept in the store, the sheet carries a banner and says ready nowhere.
    """
    from loomproof.fitting.ampacity import read_ampacity
    from loomproof.fitting.sheet import fitting_sheet
    from loomproof.jobs.files import ends_in, write_file
    from loomproof.loom import reading
    from loomproof.loom.choices import answers_of
    from loomproof.reports import fitting_sheet as report

    if csv_file is not None:
        ends_in(csv_file, ".csv")
    if pdf_file is not None:
        ends_in(pdf_file, ".pdf")
    described = reading.load(loom, side_table).loom
    given = answers_of(described, answers)
    table = None if ampacity is None else read_ampacity(ampacity)
    proof = archive.proof_of(described, run)
    sheet = fitting_sheet(described, given, proof, running_c=running_c, ampacity=table)
    if csv_file is not None:
        write_file(csv_file, report.sheet_csv(sheet).encode("utf-8"))
    if pdf_file is not None:
        write_file(pdf_file, report.sheet_pdf(sheet))
    found(0)
    console = terminal()
    for part in report.views(sheet):
        console.print(part)
    for written in (csv_file, pdf_file):
        if written is not None:
            click.echo(f"Written: {written}", err=True)
