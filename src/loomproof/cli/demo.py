"""``demo`` and ``info``: the whole job on the simulated bench, and what support needs to know."""

from __future__ import annotations

from pathlib import Path

import click

from loomproof.cli.options import PATH, out_option, store_option
from loomproof.cli.output import EXIT_CODES
from loomproof.screens.printing import line


@click.command()
@out_option("certificates, results, records and journals go")
@click.option("--store", metavar="FILE|URL", help="Where the records go; else a store of the demo's own.")
def demo(out: Path, store: str | None) -> int:
    """Prove a loom with hidden faults on a simulated bench, mend it, prove again."""
    from loomproof.cli.output import drawn, held_to_the_end
    from loomproof.jobs.adapters import in_order
    from loomproof.jobs.bench_tests import zero
    from loomproof.jobs.demo import FAULTS, demo_loom, demo_store, faulty_bench
    from loomproof.jobs.events import Unattended
    from loomproof.jobs.job import Job
    from loomproof.jobs.keep import Keeping, Kept
    from loomproof.loom.reading import load
    from loomproof.screens.printing import show

    path = demo_loom()
    loom = load(path).loom
    click.echo(f"The loom: {loom.name} ({len(loom.cavities)} cavities, {len(loom.wires)} wires).", err=True)
    click.echo("First the leads are zeroed, a shorting plug over all ends of the adapter.", err=True)
    leads = drawn(zero(in_order(loom.cavities), "sim:", Unattended())).adapter
    kept_in = store or demo_store()
    where = Keeping(out, kept_in, held_to_the_end)

    def proved(address: str) -> Kept:
        job = Job(
            loom,
            address,
            leads,
            where=where,
            loom_path=path,
            person="the demo",
            place="a simulated bench",
        )
        kept = drawn(job.prove_and_keep())
        show(kept)
        return kept

    with faulty_bench(path, FAULTS) as bench:
        click.echo(
            f"\nA simulated scanner, process {bench.process_id}, answers at {bench.address}.", err=True
        )
        click.echo("Four faults are hidden in the loom on it. First proof:", err=True)
        # Only while a proof is sealed and shown are orders to stop held back; the next one can be stopped.
        with click.Context(demo):
            first = proved(bench.address)
        click.echo(f"\nMending the simulated loom: {bench.mend()}", err=True)
        click.echo("Second proof:", err=True)
        second = proved(bench.address)
    click.echo("\nOpen these first:")
    for proof, what in ((first, "what was wrong, and how to mend it"), (second, "the loom after the repair")):
        if "certificate" in proof.files:
            click.echo(f"  {proof.files['certificate']}   {what}")
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
