"""The command that says which ends go where in the car, and which must be made safe."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.cli.options import FiniteNumber
from loomproof.cli.records import store_option, terminal
from loomproof.errors import UsageError
from loomproof.jobs.files import write_file

if TYPE_CHECKING:
    from loomproof.fitting.fuse_coordination import Ampacity
    from loomproof.loom.model import Loom
    from loomproof.results.document import Document


@click.command()
@click.argument("loom", type=click.Path(path_type=Path))
@click.option("--answer", "answers", multiple=True, metavar="CHOICE=ANSWER", help="Answer a choice.")
@click.option("--run", help="Take this proof instead of the latest one.")
@click.option("--csv", "csv_file", type=click.Path(path_type=Path, dir_okay=False), help="Write it as CSV.")
@click.option("--pdf", "pdf_file", type=click.Path(path_type=Path, dir_okay=False), help="Write it as PDF.")
@click.option("--side-table", type=click.Path(path_type=Path), help="What a KBL or VEC file does not carry.")
@click.option(
    "--ampacity",
    type=click.Path(path_type=Path, dir_okay=False),
    help="CSV: csa_mm2, ampacity_a, source, conditions.",
)
@click.option("--running", "running_c", type=FiniteNumber(-40, 200), help="Copper while running, °C.")
@store_option
def fit(
    loom: Path,
    answers: tuple[str, ...],
    run: str | None,
    csv_file: Path | None,
    pdf_file: Path | None,
    side_table: Path | None,
    ampacity: Path | None,
    running_c: float | None,
    store: str | None,
) -> None:
    """Say which ends of LOOM go where in the car, and which must be made safe.

    LOOM is a folder, a workbook, a KBL or a VEC file. Without a passing proof of this very description,
    kept in the store, the sheet carries a banner and says ready nowhere.
    """
    from loomproof.fitting.sheet import fitting_sheet
    from loomproof.loom.choices import answers_of
    from loomproof.reports import fitting_sheet as report

    described = _load(loom, side_table)
    given = answers_of(described, answers)
    table = None if ampacity is None else _ampacity(ampacity)
    sheet = fitting_sheet(
        described, given, _proof(described, run, store), running_c=running_c, ampacity=table
    )
    if csv_file is not None:
        write_file(csv_file, report.sheet_csv(sheet).encode("utf-8"))
    if pdf_file is not None:
        write_file(pdf_file, report.sheet_pdf(sheet))
    console = terminal()
    for part in report.views(sheet):
        console.print(part)
    for written in (csv_file, pdf_file):
        if written is not None:
            click.echo(f"Written: {written}", err=True)


def _load(path: Path, side_table: Path | None) -> Loom:
    from loomproof.loom import harness_file

    if harness_file.is_one(path):
        return harness_file.read(path, side_table=side_table).loom
    if side_table is not None:
        raise UsageError("--side-table is for KBL and VEC files", cure="Leave it out, or name such a file.")
    from loomproof.loom.reading import load

    return load(path).loom


def _proof(loom: Loom, run: str | None, store: str | None) -> Document | None:
    """Return the proof named, else the latest of this loom by digest, else the latest by name.

    Raises `RecordError` where it does not hold or the store is not whole, `UnknownSignerError` where nobody
    here knows who sealed it: a sheet that says ready rests on it.
    """
    from loomproof.cli.records import not_whole
    from loomproof.errors import RecordError
    from loomproof.records.data_folder import home
    from loomproof.records.signers import KnownSigners
    from loomproof.records.store import open_store
    from loomproof.records.trusted import relied_on

    with open_store(store) as opened:
        for trouble in not_whole(opened, store):
            raise RecordError(trouble, cure="loomproof records check looks at everything.")
        if run is None:
            kept = opened.runs(loom.digest, 1) or opened.runs(loom.name, 1)
            if not kept:
                return None
            run = kept[-1].hash
        return relied_on(opened, run, KnownSigners(home()).all()).document()


def _ampacity(path: Path) -> Ampacity:
    import csv

    from loomproof.fitting.fuse_coordination import Ampacity

    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows = list(csv.DictReader(file))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise UsageError(
            f"{path}: cannot be read: {error}", cure="A CSV file in UTF-8 is expected."
        ) from error
    amperes: dict[float, float] = {}
    sources, conditions = set(), set()
    for number, row in enumerate(rows, 2):
        try:
            size_mm2, ampacity_a = float(row["csa_mm2"]), float(row["ampacity_a"])
            if not all(0.0 < value < math.inf for value in (size_mm2, ampacity_a)):
                raise ValueError
            amperes[size_mm2] = ampacity_a
        except (KeyError, TypeError, ValueError) as error:
            raise UsageError(
                f"{path}, row {number}: csa_mm2 and ampacity_a are expected as numbers above zero",
                cure="Columns: csa_mm2, ampacity_a, source, conditions.",
            ) from error
        sources.add((row.get("source") or "").strip())
        conditions.add((row.get("conditions") or "").strip())
    if not amperes or not all(sources) or not all(conditions):
        raise UsageError(
            f"{path}: every row needs a source and its conditions (ambient, bundling)",
            cure="A table without them approves nothing; leave --ampacity out then.",
        )
    return Ampacity(amperes, "; ".join(sorted(sources)), "; ".join(sorted(conditions)))
