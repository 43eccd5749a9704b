"""The command that answers, for each wire of the list, which claim covers it."""

from __future__ import annotations

from pathlib import Path

import click

from loomproof.cli.records import store_option, terminal
from loomproof.jobs.files import write_file


@click.command()
@click.argument("run", default="last")
@click.option(
    "-o",
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Write the table instead: .csv, .xlsx or .parquet.",
)
@store_option
def wires(run: str, out: Path | None, store: str | None) -> None:
    """List every wire of a RUN (a run's name, or a results file) with what is claimed of it.

    One row for each wire: the claims that cover it, the reading through it that says least good of it, with
    its limit, what it is shown to be under and the margin left, and the worst decision of its claims.
    """
    from loomproof.cli.retest import document_of
    from loomproof.reports.exports import table_bytes
    from loomproof.reports.listing import Column, Listing
    from loomproof.reports.wires import HEADS, wire_texts, wires_table

    document = document_of(run, store)
    if not document.wires:
        click.echo("This proof is from before proofs named their wires. Prove the loom again.", err=True)
        return
    if out is not None:
        write_file(out, table_bytes(wires_table(document), out.suffix.lower()))
        click.echo(str(out))
        return
    heads = tuple(Column(head, figure=head in HEADS[5:9]) for head in HEADS)
    terminal().print(Listing(heads, tuple(tuple(row) for row in wire_texts(document))))
