"""Commands around kept records: the log, certificates, checking what somebody hands over."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.cli.cures import how
from loomproof.cli.kinds import FILE
from loomproof.cli.options import KEPT_LOOMS, RUNS, archive_option, selection_options
from loomproof.cli.output import found
from loomproof.errors import UsageError
from loomproof.screens.kept import chosen, show_checked, show_shelf, show_verified
from loomproof.screens.printing import table

if TYPE_CHECKING:
    from loomproof.jobs.archive import Archive, Wanted


@click.command()
@click.argument("loom", required=False, shell_complete=KEPT_LOOMS)
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
    shelf = archive.shelf(loom, limit, wanted)
    if not shelf:
        refuse_unknown(archive, loom)
        click.echo("Nothing is kept that was asked for." if wanted else "Nothing is kept yet.", err=True)
    code = found(5 if shelf.troubles else 0)
    show_shelf(shelf, how)
    return code


def refuse_unknown(archive: Archive, loom: str | None) -> None:
    """Refuse a loom of which nothing is kept, naming the nearest one. Raises `UsageError`."""
    if loom is not None and not archive.shelf(loom, 1):
        cure = archive.near(loom) or "loomproof log lists what is kept."
        raise UsageError(f"nothing is kept of {loom!r}", cure=cure)


@click.command()
@click.argument("run", default="last", shell_complete=RUNS)
@click.option("-o", "--out", type=FILE, help="File to write.")
@click.option("--json", "as_json", is_flag=True, help="Write the sealed record itself, not a PDF.")
@archive_option
def certificate(run: str, out: Path | None, as_json: bool, archive: Archive) -> None:
    """Write the certificate of a RUN (its name, the start of its hash, or "last") as PDF."""
    from loomproof.jobs.files import ends_in

    if out is not None:
        ends_in(out, ".json" if as_json else ".pdf")
    kept = archive.run(chosen(archive, run))
    data = archive.sealed(kept.hash) if as_json else archive.certificate(kept.hash)
    click.echo(str(archive.write(kept, data, "record.json" if as_json else f"{kept.verdict}.pdf", out)))


@click.command()
@click.argument("run", default="last", shell_complete=RUNS)
@click.option("-o", "--out", type=FILE, help="File to write.")
@archive_option
def label(run: str, out: Path | None, archive: Archive) -> None:
    """Write a printable label (62 × 29 mm, PDF) for the loom of a RUN, with record hash and fingerprint."""
    from loomproof.jobs.files import ends_in

    if out is not None:
        ends_in(out, ".pdf")
    kept = archive.run(chosen(archive, run))
    click.echo(str(archive.write(kept, archive.label(kept.hash), "label.pdf", out)))


@click.command()
@click.argument("run", default="last", shell_complete=RUNS)
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
@click.option("--list", "listed", type=FILE, metavar="FILE", help="Check what its lines name, too.")
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
