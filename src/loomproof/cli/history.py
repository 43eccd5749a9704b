"""Commands that look back: one loom over time, many looms at once, a label for the loom itself."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.cli.records import (
    chosen,
    file_name,
    kept_as,
    not_whole,
    runs_broken_off,
    show_runs,
    store_option,
    terminal,
    told,
    trusted,
)
from loomproof.errors import UsageError
from loomproof.jobs.files import write_file

if TYPE_CHECKING:
    from loomproof.records.history import Trend
    from loomproof.records.trusted import Trusted
    from loomproof.reports.listing import Listing


_FILE = click.Path(path_type=Path, dir_okay=False)


@click.command()
@click.argument("loom")
@click.option("--joint", "joints", multiple=True, help="Only this joint, as the trends name it.")
@click.option("--most", type=click.IntRange(1), default=10, show_default=True, help="How many joints.")
@click.option("--plot", type=_FILE, help="Picture: FILE.svg or FILE.png.")
@store_option
def history(loom: str, joints: tuple[str, ...], most: int, plot: Path | None, store: str | None) -> int:
    """Show a LOOM's proofs (folder, name, serial or digest) and how its joints' resistances moved."""
    from loomproof.errors import suggestion
    from loomproof.records.history import trends
    from loomproof.records.store import open_store

    loom = kept_as(loom)
    with open_store(store) as opened:
        runs = trusted(opened, loom)
        broken = runs_broken_off(opened, store, loom)
        troubles = [*not_whole(opened, store), *(one.trouble for one in runs if one.trouble)]
        if not runs and not broken:
            near = suggestion(
                loom, {name for run in opened.runs(limit=1000) for name in (run.loom, run.serial)}
            )
            raise UsageError(f"nothing is kept of {loom!r}", cure=near or "loomproof log lists what is kept.")
    found = trends(runs)
    if joints:
        subjects = {trend.subject for trend in found}
        for joint in joints:
            if joint not in subjects:
                raise UsageError(f"no resistance of {joint!r} was kept", cure=suggestion(joint, subjects))
        found = tuple(trend for trend in found if trend.subject in joints)
    if plot is not None and not found:
        raise UsageError(f"no resistance of {loom!r} was kept; there is nothing to plot")
    show_runs(runs, broken)
    if found:
        click.echo("")
        terminal().print(_trends_view(found[:most]))
    if plot is not None:
        _plot(plot, loom, found[:most])
        click.echo(str(plot))
    left_out(runs)
    return told(troubles)


def left_out(runs: tuple[Trusted, ...]) -> None:
    """Say which records were not counted because nobody here knows who sealed them."""
    from loomproof.reports.words import clean, plural

    strange = [one for one in runs if not one.trouble and not one.signer]
    keys = {one.run.key: one.run.bench for one in strange}
    for key, bench in keys.items():
        count = plural(sum(one.run.key == key for one in strange), "record")
        click.echo(
            clean(
                f"Left out: {count} of {bench}, sealed by a key that nobody here knows. Once you know whose "
                f"it is: loomproof key know NAME {key}"
            ),
            err=True,
        )


def _trends_view(trends: tuple[Trend, ...]) -> Listing:
    from loomproof.reports.listing import Cell, Column, Listing
    from loomproof.reports.words import uncertain
    from loomproof.results.figures import ohms

    rows = []
    for trend in trends:
        first, last = trend.points[0], trend.points[-1]
        change = trend.change_ohm
        said = "" if change is None else f"{'+' if change > 0 else ''}{ohms(change)}"
        if trend.moved:
            said = f"{said} moved".lstrip()
        rows.append(
            (
                trend.subject,
                str(len(trend.points)),
                ohms(first.measured_ohm),
                uncertain(last.measured_ohm, last.uncertainty_ohm),
                Cell(said, "yellow" if trend.moved else ""),
                "" if last.limit_ohm is None else ohms(last.limit_ohm),
            )
        )
    figures = (Column(head, figure=True) for head in ("readings", "first", "last", "change", "limit"))
    return Listing((Column("joint"), *figures), tuple(rows))


def _plot(path: Path, loom: str, trends: tuple[Trend, ...]) -> None:
    from loomproof.reports.plots import Series, trend_plot

    def number(value: float | None) -> float:
        return math.nan if value is None else value

    trend_plot(
        path,
        f"Resistance of joints in {loom}",
        [
            Series(
                trend.subject,
                [point.ended for point in trend.points],
                [number(point.measured_ohm) for point in trend.points],
                [number(point.uncertainty_ohm) for point in trend.points],
                [number(point.limit_ohm) for point in trend.points],
            )
            for trend in trends
        ],
    )


@click.command()
@click.option("--loom", help="Only this loom (name, serial or digest).")
@click.option("--plot", type=_FILE, help="Picture: FILE.svg or FILE.png.")
@click.option(
    "--runs",
    "runs_file",
    type=_FILE,
    metavar="FILE",
    help="Write every run: .csv, .xlsx or .parquet.",
)
@click.option(
    "--findings",
    "findings_file",
    type=_FILE,
    metavar="FILE",
    help="Write every finding: .csv, .xlsx or .parquet.",
)
@click.option(
    "--junit",
    type=_FILE,
    metavar="FILE",
    help="Write every claim as JUnit XML.",
)
@store_option
def report(
    loom: str | None,
    plot: Path | None,
    runs_file: Path | None,
    findings_file: Path | None,
    junit: Path | None,
    store: str | None,
) -> int:
    """Sum up many looms: which faults, which connectors, which wires. Exports for other programs."""
    from rich.text import Text

    from loomproof.records.store import open_store
    from loomproof.records.trusted import found_in
    from loomproof.reports import exports, summary_tables
    from loomproof.reports.words import clean, plural

    with open_store(store) as opened:
        everything = trusted(opened, loom)
        troubles = [*not_whole(opened, store), *(one.trouble for one in everything if one.trouble)]
    counted = tuple(one for one in everything if one.signer and not one.trouble)
    found = found_in(counted)
    if junit is not None:
        write_file(junit, exports.junit_xml([one.verified.document() for one in counted if one.verified]))
    proofs = tuple(one for one in counted if one.run.kind == "proof")
    runs = tuple(one.run for one in proofs)
    looms = {(run.loom, run.serial) for run in runs}
    passed = sum(run.verdict == "pass" for run in runs)
    terminal().print(f"{plural(len(looms), 'loom')}, {plural(len(runs), 'run')}, {passed} passed")
    groups = summary_tables.counts(found)
    for name, counts in groups.items():
        terminal().print(Text(name, style="bold"))
        for label, count in counts:
            terminal().print(Text(f"  {count:5d}  {clean(label)}"))
    if runs_file is not None:
        write_file(
            runs_file,
            exports.table_bytes(
                summary_tables.runs_table(runs, [one.grade for one in proofs]), runs_file.suffix.lower()
            ),
        )
    if findings_file is not None:
        write_file(
            findings_file,
            exports.table_bytes(summary_tables.findings_table(found), findings_file.suffix.lower()),
        )
    if plot is not None:
        from loomproof.reports.plots import bars_plot

        bars_plot(plot, "Faults found", groups)
    for path in (runs_file, findings_file, junit, plot):
        if path is not None:
            click.echo(str(path))
    left_out(everything)
    return told(troubles)


@click.command()
@click.argument("run", default="last")
@click.option("-o", "--out", type=_FILE, help="File to write.")
@store_option
def label(run: str, out: Path | None, store: str | None) -> None:
    """Write a printable label (62 × 29 mm, PDF) for the loom of a RUN, with record hash and fingerprint."""
    from loomproof.jobs.certificate import of_this_run
    from loomproof.records.seal import verify
    from loomproof.records.store import open_store
    from loomproof.reports.label import label_pdf

    with open_store(store) as opened:
        found = chosen(opened, run)
        verified = verify(opened.record(found.hash), name=f"run {found.run}")
    of_this_run(verified, found, "the sealed record")
    path = out or Path(f"{file_name('label', found.run)}.pdf")
    document = verified.document()
    write_file(path, label_pdf(document, verified.hash, verified.fingerprint, verified.link))
    click.echo(str(path))
