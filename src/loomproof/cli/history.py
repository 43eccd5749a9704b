"""Commands that look back: one loom over time, many looms at once."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.cli.options import FILE, F, archive_option, plot_option
from loomproof.cli.output import found, table, tell_left_out, tell_troubles, terminal
from loomproof.cli.records import show_shelf
from loomproof.errors import UsageError

if TYPE_CHECKING:
    from loomproof.jobs.archive import Archive


@click.command()
@click.argument("loom")
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
    if not shelf:
        cure = archive.near(loom) or "loomproof log lists what is kept."
        raise UsageError(f"nothing is kept of {loom!r}", cure=cure)
    moved = joints_of(shelf, joints)[:most]
    if plot is not None:
        plot_joints(plot, loom, moved)
    code = show_shelf(shelf)
    if moved:
        click.echo("")
        table(JOINT_HEADS, joint_texts(moved), figures=JOINT_HEADS[1:])
    if plot is not None:
        click.echo(str(plot))
    tell_left_out(shelf)
    return code


def _file(name: str, what: str) -> Callable[[F], F]:
    return click.option(name, type=FILE, metavar="FILE", help=what)


@click.command()
@click.option("--loom", help="Only this loom (name, serial or digest).")
@plot_option
@_file("--runs", "Write every run: .csv, .xlsx or .parquet.")
@_file("--findings", "Write every finding: .csv, .xlsx or .parquet.")
@_file("--junit", "Write every claim as JUnit XML.")
@archive_option
def report(
    loom: str | None,
    plot: Path | None,
    runs: Path | None,
    findings: Path | None,
    junit: Path | None,
    archive: Archive,
) -> int:
    """Sum up many looms: which faults, which connectors, which wires. Exports for other programs."""
    from rich.text import Text

    from loomproof.jobs.looking_back import Fleet
    from loomproof.reports.words import clean, plural

    fleet = Fleet(archive.shelf(loom))
    written = []
    for path, write in (
        (runs, fleet.write_runs),
        (findings, fleet.write_findings),
        (junit, fleet.write_junit),
        (plot, fleet.plot),
    ):
        if path is not None:
            write(path)
            written.append(path)
    code = found(5 if fleet.shelf.troubles else 0)
    console = terminal()
    console.print(f"{plural(fleet.looms, 'loom')}, {plural(len(fleet.runs), 'run')}, {fleet.passed} passed")
    for name, counts in fleet.faults.items():
        console.print(Text(name, style="bold"))
        for label, count in counts:
            console.print(Text(f"  {count:5d}  {clean(label)}"))
    for path in written:
        click.echo(str(path))
    tell_left_out(fleet.shelf)
    tell_troubles(fleet.shelf)
    return code
