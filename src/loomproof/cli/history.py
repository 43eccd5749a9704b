"""Commands that look back: one loom over time, many looms at once."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.cli.cures import how
from loomproof.cli.kinds import FILE, FOLDER
from loomproof.cli.options import KEPT_LOOMS, F, archive_option, plot_option, selection_options
from loomproof.cli.output import found
from loomproof.cli.records import refuse_unknown
from loomproof.errors import UsageError
from loomproof.screens.kept import show_shelf, tell_left_out, tell_troubles
from loomproof.screens.printing import table

if TYPE_CHECKING:
    from loomproof.jobs.archive import Archive, Wanted


@click.command()
@click.argument("loom", shell_complete=KEPT_LOOMS)
@click.option("--joint", "joints", multiple=True, help="Only this joint, as the trends name it.")
@click.option("--most", type=click.IntRange(1), default=10, show_default=True, help="How many joints.")
@plot_option
@archive_option
def history(loom: str, joints: tuple[str, ...], most: int, plot: Path | None, archive: Archive) -> int:
    """Show a LOOM's proofs (folder, name, serial or digest) and how its joints' resistances moved."""
    from loomproof.jobs.archive import kept_as
    from loomproof.jobs.looking_back import JOINT_HEADS, joint_texts, joints_of, plot_joints

    loom = kept_as(loom)
    shelf = archive.shelf(loom)
    refuse_unknown(archive, loom)
    moved = joints_of(shelf, joints)[:most]
    if plot is not None:
        plot_joints(plot, loom, moved)
    code = found(5 if shelf.troubles else 0)
    show_shelf(shelf, how)
    if moved:
        click.echo("")
        table(JOINT_HEADS, joint_texts(moved), figures=JOINT_HEADS[1:])
    if plot is not None:
        click.echo(str(plot))
    tell_left_out(shelf, how)
    return code


def _file(name: str, what: str) -> Callable[[F], F]:
    return click.option(name, type=FILE, metavar="FILE", help=what)


@click.command()
@click.option("--loom", help="Only this loom (name, serial or digest).")
@selection_options
@_file("--pdf", "Write pages: first-pass yield, faults, time to mend, what is open.")
@_file("--workbook", "Write the same as .xlsx, with charts and all rows.")
@plot_option
@_file("--runs", "Write every run: .csv, .xlsx or .parquet.")
@_file("--findings", "Write every finding, with repairs: .csv, .xlsx or .parquet.")
@_file("--repairs", "Write every repair that was noted: .csv, .xlsx or .parquet.")
@_file("--junit", "Write every claim as JUnit XML.")
@click.option("--tables", is_flag=True, help="Count the tables beside the records: for very many proofs.")
@click.option("--dataset", type=FOLDER, metavar="FOLDER", help="Count a data set (see: records dataset).")
@archive_option
def report(
    loom: str | None,
    wanted: Wanted,
    archive: Archive,
    tables: bool,
    dataset: Path | None,
    **files: Path | None,
) -> int:
    """Sum up many looms: which faults, which connectors, which wires. Exports for other programs.

    What was proved on simulated benches is counted apart. Pages and workbook tell of real benches, or with
    --simulated of simulated ones; --during 2026-11 makes them those of a month. With --tables or --dataset no
    record is opened: what stands beside them is counted, on SQLite, PostgreSQL or Parquet files alike.
    """
    if tables or dataset:
        from loomproof.screens.summing_up import show_answers

        if loom or wanted or any(files.values()) or (tables and dataset):
            cure = "Give one of them, and no other option but --store."
            raise UsageError("--tables and --dataset count all proofs, on the screen", cure=cure)
        show_answers(archive.store, dataset, how)
        return 0
    from loomproof.jobs.looking_back import Fleet
    from loomproof.screens.summing_up import show_lines, write_asked

    refuse_unknown(archive, loom)
    fleet = Fleet(archive.shelf(loom, wanted=wanted), archive.repairs())
    written = write_asked(archive, loom, wanted, fleet, files, "--simulated writes those instead")
    code = found(5 if fleet.shelf.troubles else 0)
    show_lines(fleet, written)
    tell_left_out(fleet.shelf, how)
    tell_troubles(fleet.shelf, how)
    return code
