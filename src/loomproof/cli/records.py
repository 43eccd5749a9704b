"""Commands around kept records: what they say, one run or many, and checking what somebody hands over."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.cli.cures import how
from loomproof.cli.kinds import FILE, FOLDER, KEPT_LOOM, PATH, RUN
from loomproof.cli.options import archive_option, counted_option, plot_option, selection_options
from loomproof.cli.output import found
from loomproof.errors import UsageError
from loomproof.screens.kept import (
    chosen,
    show_checked,
    show_reasoning,
    show_repairs,
    show_shelf,
    show_verified,
    tell_left_out,
    tell_troubles,
)
from loomproof.screens.printing import line, table, terminal

if TYPE_CHECKING:
    from loomproof.jobs.archive import Archive, Wanted


@click.command()
@click.argument("loom", required=False, type=KEPT_LOOM)
@click.option("--last", "limit", type=click.IntRange(1), default=50, show_default=True, help="How many.")
@selection_options
@archive_option
def log(loom: str | None, limit: int, wanted: Wanted, archive: Archive) -> int:
    """List the proofs that were kept, of one LOOM (folder, name, serial or digest) or of all.

    Those of one bench in the order in which they were sealed, a correction behind what was sealed before it;
    between benches by when the proofs began. Those on simulated benches stand apart. Below them stand those
    that were started and have no record, with the journal of what was read.
    Exits with 5 where a record doesn't hold or some that were kept are gone.
    """
    from loomproof.jobs.archive import kept_as

    loom = kept_as(loom) if loom else None
    shelf = archive.shelf(loom, limit, wanted, stand_in=True)
    if not shelf:
        archive.refuse_unknown(loom)
        click.echo("Nothing is kept that was asked for." if wanted else "Nothing is kept yet.", err=True)
    code = found(5 if shelf.troubles else 0)
    show_shelf(shelf, how)
    return code


@click.command()
@click.argument("run", default="last", type=RUN)
@click.option("-o", "--out", type=FILE, help="File to write.")
@click.option("--json", "as_json", is_flag=True, help="Write the sealed record itself, not a PDF.")
@archive_option
def certificate(run: str, out: Path | None, as_json: bool, archive: Archive) -> None:
    """Write the certificate of a RUN (its name, the start of its hash, or "last") as PDF."""
    click.echo(str(archive.write_certificate(chosen(archive, run), out, sealed=as_json)))


@click.command()
@click.argument("run", default="last", type=RUN)
@click.option("-o", "--out", type=FILE, help="File to write.")
@archive_option
def label(run: str, out: Path | None, archive: Archive) -> None:
    """Write a printable label (62 × 29 mm, PDF) for the loom of a RUN, with record hash and fingerprint."""
    click.echo(str(archive.write_label(chosen(archive, run), out)))


@click.command()
@click.argument("run", default="last", type=RUN)
@click.option("-o", "--out", type=FILE, help="Write the table instead: .csv, .xlsx or .parquet.")
@archive_option
def wires(run: str, out: Path | None, archive: Archive) -> None:
    """List every wire of a RUN (a run's name, or a results file) with what is claimed of it.

    One row for each wire: the claims that cover it, the reading through it that says least good of it, with
    its limit, what it is shown to be under and the margin left, and the worst decision of its claims.
    """
    from loomproof.jobs.files import ends_in, write_file
    from loomproof.reports.exports import table_bytes
    from loomproof.reports.wires import HEADS, wire_texts, wires_table

    document = archive.document(chosen(archive, run))
    if not document.wires:
        click.echo("This proof is from before proofs named their wires. Prove the loom again.", err=True)
    elif out is not None:
        ends_in(out, ".csv", ".xlsx", ".parquet")
        write_file(out, table_bytes(wires_table(document), out.suffix.lower()))
        click.echo(str(out))
    else:
        found(0)
        table(HEADS, wire_texts(document), figures=HEADS[5:9])


@click.command()
@click.argument("what", metavar="FILE|FOLDER|RECORD", nargs=-1)
@click.option("--list", "listed", type=FILE, help="Check what its lines name, too.")
@archive_option
def verify(what: tuple[str, ...], listed: Path | None, archive: Archive) -> int:
    """Check certificates (PDF) and sealed records (JSON), without store and without network.

    FOLDERs are checked whole: every .pdf and .record.json counts, whatever is left of it. A whole PDF that
    was never signed, such as a label, is named as no certificate and makes the exit code 4. A RECORD in the
    store is named by the text of a label's QR code, by a hash or its beginning, or by its run.

    Says whether anything was changed, who signed it and what it claims. Whatever the verdict in it: exits
    with 0 where the seal holds and you know the signer, with 4 where it holds and you do not, and with 5
    where it does not hold. Of several the worst counts: 5, 2 for what is not there, 4, 0.
    """
    from loomproof.cli.cures import lines_of
    from loomproof.jobs.checking import checked, named, total

    words = named(what, listed)
    results = tuple(checked(words, archive))
    # One thing that was named itself is told in full; what stands in a folder is always summed up.
    alone = results[0] if len(results) == 1 and results[0].name == words[0] else None
    if alone is not None and alone.trouble is not None:
        raise alone.trouble
    code, said = total(results)
    found(code)
    if alone is not None:
        show_verified(alone, words[0], how)
        return code
    show_checked(results, said, lines_of)
    return code


@click.command()
@click.argument("loom", type=KEPT_LOOM)
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
    archive.refuse_unknown(loom)
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


@click.command()
@click.option("--loom", help="Only this loom (name, serial or digest).")
@selection_options
@click.option("--pdf", type=FILE, help="Write pages: first-pass yield, faults, time to mend, what is open.")
@click.option("--workbook", type=FILE, help="Write the same as .xlsx, with charts and all rows.")
@plot_option
@click.option("--runs", type=FILE, help="Write every run: .csv, .xlsx or .parquet.")
@click.option("--findings", type=FILE, help="Write every finding, with repairs: .csv, .xlsx or .parquet.")
@click.option("--repairs", type=FILE, help="Write every repair that was noted: .csv, .xlsx or .parquet.")
@click.option("--junit", type=FILE, help="Write every claim as JUnit XML.")
@click.option("--tables", is_flag=True, help="Count the tables beside the records: for very many proofs.")
@click.option("--dataset", type=FOLDER, is_eager=True, metavar="FOLDER", help="Count a data set.")
@click.option("--spark", default="", metavar="CLUSTER", help="What answers for it, as spark://HOST:7077.")
@click.option("--html", type=FILE, help="Write what --tables or --dataset count as one page with pictures.")
@click.option("--pictures", type=FOLDER, metavar="FOLDER", help="Write those pictures as .svg and .png.")
@counted_option
def report(
    loom: str | None,
    wanted: Wanted,
    archive: Archive,
    tables: bool,
    dataset: Path | None,
    spark: str,
    **files: Path | None,
) -> int:
    """Sum up many looms: which faults, which connectors, which wires. Exports for other programs.

    What was proved on simulated benches is counted apart. Pages and workbook tell of real benches, or with
    --simulated of simulated ones; --during 2026-11 makes them those of a month. With --tables or --dataset no
    record is opened: what stands beside them is counted, simulated apart, on SQLite, PostgreSQL or Parquet.
    """
    if spark and not dataset:
        raise UsageError("--spark is asked of a data set", cure="Give --dataset FOLDER as well.")
    page = files.pop("html"), files.pop("pictures")
    if tables or dataset or any(page):
        from loomproof.screens.summing_up import show_answers

        if loom or wanted or any(files.values()) or (tables and dataset):
            cure = "Give one of them, and no other option but --html, --pictures and --store."
            raise UsageError("--tables and --dataset count all proofs, simulated ones apart", cure=cure)
        return found(0 if show_answers(None if dataset else archive, dataset, spark, how, *page) else 5)
    from loomproof.jobs.looking_back import Fleet
    from loomproof.screens.summing_up import show_lines, write_asked

    archive.refuse_unknown(loom)
    fleet = Fleet(archive.shelf(loom, wanted=wanted), archive.repairs())
    written = write_asked(archive, loom, wanted, fleet, files, "--simulated writes those instead")
    code = found(5 if fleet.shelf.troubles else 0)
    show_lines(fleet, written)
    tell_left_out(fleet.shelf, how)
    tell_troubles(fleet.shelf, how)
    return code


@click.command()
@click.argument("run", default="last", type=RUN)
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
        show_reasoning(answered.document, None if named.endswith(".json") else archive)


@click.command()
@click.argument("before", type=RUN)
@click.argument("after", type=RUN)
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
