"""``demo`` and ``info``: the whole job on the simulated bench, and what support needs to know."""

from __future__ import annotations

from pathlib import Path

import click

from loomproof.cli.kinds import PATH
from loomproof.cli.options import out_option, store_option
from loomproof.cli.output import EXIT_CODES
from loomproof.screens.printing import line


@click.command()
@out_option("certificates, results, records and journals go")
@click.option("--store", metavar="FILE|URL", help="Where the records go; else a store of the demo's own.")
def demo(out: Path, store: str | None) -> int:
    """Prove a loom with hidden faults on a simulated bench, mend it, prove again."""
    from loomproof.cli.cures import how
    from loomproof.cli.output import held_to_the_end
    from loomproof.jobs.demo import demo_store
    from loomproof.screens.demo import show_demo

    kept_in = store or demo_store()
    first, second = show_demo(out, kept_in, held_to_the_end, how, lambda: click.Context(demo))
    if "certificate" in second.files:
        click.echo(f"  loomproof verify {second.files['certificate']}   checks the seal")
    click.echo(f"  loomproof log --store {kept_in}   lists the demo's proofs, which stand apart from yours")
    as_planned = (first.document.verdict, second.document.verdict) == ("fail", "pass")
    return 0 if as_planned else EXIT_CODES["incomplete"]


@click.command()
@click.argument("loom", type=PATH, required=False)
@store_option
def info(loom: Path | None, store: str | None) -> None:
    """Show versions, ports, records and workshop.toml.

    With LOOM: the one that holds for that loom.
    """
    from loomproof.jobs.about import about

    for name, text in about(store, loom):
        line(text, f"{name:<10} ")
