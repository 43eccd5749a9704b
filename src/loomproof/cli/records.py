"""Commands around kept records: the log, certificates, checking what somebody hands over."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

from loomproof.cli.workshop import store_of

if TYPE_CHECKING:
    from rich.console import Console

    from loomproof.records.lines import Run
    from loomproof.records.store import Store
    from loomproof.records.trusted import Trusted
    from loomproof.records.unfinished_runs import Started
    from loomproof.reports.listing import Listing

F = TypeVar("F", bound=Callable[..., object])

_STYLES = {"pass": "green", "fail": "red", "undecided": "yellow", "incomplete": "yellow"}


def store_option(command: F) -> F:
    """Add ``--store`` to a command."""
    return click.option(
        "--store",
        metavar="FILE|URL",
        envvar="LOOMPROOF_STORE",
        callback=store_of,
        help="Where the records are: a file, or postgresql://USER@HOST/DATABASE. Else what workshop.toml "
        "names, else the user's data folder.",
    )(command)


def terminal() -> Console:
    """Return where results are printed; plain where it is no terminal."""
    from rich.console import Console

    return Console(highlight=False, soft_wrap=False)


def kept_as(loom: str) -> str:
    """Return what a loom's records are found by: its own name or serial where a path to it is given."""
    path = Path(loom)
    if not (path.is_dir() or (path.is_file() and path.suffix.lower() == ".xlsx")):
        return loom
    from loomproof.loom.reading import load

    described = load(path).loom
    return described.serial or described.name


@click.command()
@click.argument("loom", required=False)
@click.option("--last", "limit", type=click.IntRange(1), default=50, show_default=True, help="How many.")
@store_option
def log(loom: str | None, limit: int, store: str | None) -> int:
    """List the proofs that were kept, of one LOOM (folder, name, serial or digest) or of all.

    In the order in which they were sealed, as the sealed records tell them. Below them stand those that were
    started and have no record, with the journal of what was read. Exits with 5 where a record doesn't hold
    or some that were kept are gone.
    """
    from loomproof.records.store import open_store

    name = kept_as(loom) if loom else None
    with open_store(store) as opened:
        runs = trusted(opened, name, limit)
        broken = runs_broken_off(opened, store, name)[-limit:]
        said = not_whole(opened, store)
    if not runs and not broken:
        click.echo("Nothing is kept of it." if loom else "Nothing is kept yet.", err=True)
    else:
        show_runs(runs, broken)
    return told([*said, *(one.trouble for one in runs if one.trouble)])


def trusted(opened: Store, loom: str | None = None, limit: int | None = None) -> tuple[Trusted, ...]:
    """Return runs as their sealed records tell them, with the names of those whom this person knows."""
    from loomproof.records.data_folder import home
    from loomproof.records.signers import KnownSigners
    from loomproof.records.trusted import trusted_runs

    return trusted_runs(opened, KnownSigners(home()).all(), loom, limit)


def not_whole(opened: Store, store: str | None) -> tuple[str, ...]:
    """Return what was noted in the data folder and is no longer so in the store; quick."""
    from loomproof.records.data_folder import home
    from loomproof.records.noting import not_as_noted
    from loomproof.records.signers import KnownSigners

    return not_as_noted(home(), opened, store, KnownSigners(home()).all())[0]


def told(troubles: Iterable[str]) -> int:
    """Tell what is wrong with what was shown, and return the exit code for it."""
    code = 0
    for trouble in troubles:
        click.echo(f"loomproof: record: {trouble}", err=True)
        code = 5
    if code:
        click.echo("  loomproof records check looks at everything.", err=True)
    return code


def chosen(opened: Store, run: str) -> Run:
    """Return the run that a command names, and say which one ``last`` is."""
    from loomproof.reports.words import clean, when

    found = opened.run(run)
    if run == "last":
        loom = f"{found.loom}, {found.serial}" if found.serial else found.loom
        click.echo(
            clean(f"The last proof is run {found.run} of {loom}, {when(found.started)[:16]}."), err=True
        )
    return found


def runs_broken_off(opened: Store, store: str | None, loom: str | None) -> tuple[Started, ...]:
    """Return the proofs that were started for this store, of one loom or of all, and not sealed into it."""
    from loomproof.records.queries import sealed_runs
    from loomproof.records.unfinished_runs import broken_off, started_here

    started = started_here(store, loom, lambda runs: sealed_runs(opened, runs))
    return broken_off(started, sealed_runs(opened, [one.run for one in started]))


def show_runs(runs: tuple[Trusted, ...], broken: tuple[Started, ...]) -> None:
    """Print the runs that were kept, then those that were broken off."""
    if runs:
        terminal().print(runs_view(runs))
    if runs and broken:
        click.echo("")
    if broken:
        terminal().print(broken_off_view(broken))


def broken_off_view(broken: tuple[Started, ...]) -> Listing:
    """Return the runs that were started and not sealed, each with its journal."""
    from loomproof.reports.listing import Cell, Column, Listing
    from loomproof.reports.words import when

    rows = tuple(
        (
            one.run,
            when(one.started)[:16],
            Cell("BROKEN OFF", _STYLES["incomplete"]),
            f"{one.loom}, {one.serial}" if one.serial else one.loom,
            one.journal if Path(one.journal).exists() else f"{one.journal} (gone)",
        )
        for one in broken
    )
    heads = (Column("run"), Column("started"), Column("ended", whole=True), Column("loom"), Column("journal"))
    return Listing(heads, rows)


def runs_view(runs: tuple[Trusted, ...]) -> Listing:
    """Return runs as a list for a screen of any width."""
    from loomproof.reports.listing import Cell, Column, Listing
    from loomproof.reports.words import VERDICTS, when

    rows = []
    for one in runs:
        run = one.run
        said = VERDICTS.get(run.verdict, run.verdict) + (f" ({run.faults})" if run.faults else "")
        said = f"{said} {one.grade}".rstrip()
        style = _STYLES.get(run.verdict, "")
        if one.trouble:
            said, style = "CHANGED", "red"
        elif not one.signer:
            said, style = f"{said}, signer unknown", "yellow"
        elif one.corrected_by:
            said, style = f"{said}, corrected", "yellow"
        rows.append(
            (
                f"{run.run} (correction)" if run.kind == "correction" else run.run,
                when(run.ended)[:16],
                Cell(said, style),
                f"{run.loom}, {run.serial}" if run.serial else run.loom,
                run.person,
            )
        )
    heads = (Column("run"), Column("ended"), Column("verdict", whole=True), Column("loom"), Column("by"))
    return Listing(heads, tuple(rows))


@click.command()
@click.argument("run", default="last")
@click.option("-o", "--out", type=click.Path(path_type=Path, dir_okay=False), help="File to write.")
@click.option("--json", "as_json", is_flag=True, help="Write the sealed record itself, not a PDF.")
@store_option
def certificate(run: str, out: Path | None, as_json: bool, store: str | None) -> None:
    """Write the certificate of a RUN (its name, the start of its hash, or "last") as PDF."""
    from loomproof.jobs.certificate import issue, of_this_run
    from loomproof.jobs.files import write_file
    from loomproof.records.data_folder import home
    from loomproof.records.noting import note_if_ours
    from loomproof.records.seal import verify as verify_record
    from loomproof.records.store import open_store

    with open_store(store) as opened:
        found = chosen(opened, run)
        path = out or Path(f"{file_name('certificate', found.run)}.{'json' if as_json else 'pdf'}")
        if as_json:
            data = opened.record(found.hash)
            of_this_run(verify_record(data, name=f"run {found.run}"), found, "the sealed record")
        else:
            data = issue(opened, found.hash)
            note_if_ours(home(), opened, store)
    write_file(path, data)
    click.echo(str(path))


def file_name(what: str, run: str) -> str:
    """Return a file's name for something of a run, whatever characters the run's name has."""
    kept = "".join(mark if mark.isalnum() or mark in "-_." else "-" for mark in run).strip(".")
    return f"{what}-{kept}"


@click.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False, exists=True))
def verify(file: Path) -> int:
    """Check a certificate (PDF) or a sealed record (JSON), without store and without network.

    Says whether anything was changed, who signed it and what it claims. Whatever the verdict in it: exits
    with 0 where the seal holds and you know the signer, with 4 where it holds and you do not, and with 5
    where it does not hold.
    """
    from loomproof.records.data_folder import home
    from loomproof.records.signers import KnownSigners
    from loomproof.records.verify_file import check_file
    from loomproof.reports.terminal import findings_view, summary_view
    from loomproof.reports.words import clean

    verified = check_file(file, KnownSigners(home()).all())
    document = verified.document()
    who = f"signed by {verified.signer}" if verified.signer else "the key is not in your list of signers"
    click.echo(f"{verified.standing}: nothing was changed; {who}")
    click.echo(f"fingerprint  {verified.fingerprint}")
    click.echo(f"record       {verified.hash}")
    click.echo(clean(f"chain        {verified.chain.bench}, record {verified.chain.sequence}"))
    if verified.corrects:
        click.echo(clean(f"corrects     {verified.corrects}"))
    click.echo("\nIt claims:")
    console = terminal()
    console.print(summary_view(document))
    console.print(findings_view(document))
    if verified.signer:
        return 0
    click.echo(
        "Anybody can make a key. Compare the fingerprint with the signer, then: "
        f"loomproof key know NAME {file}",
        err=True,
    )
    return 4
