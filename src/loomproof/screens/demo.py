"""The demo on a screen: the whole job on a simulated bench, told as it goes."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path

import click

from loomproof.jobs.demo import FAULTS, demo_loom, faulty_bench, zeroed_leads
from loomproof.jobs.events import Event
from loomproof.jobs.job import Job
from loomproof.jobs.keep import Keeping, Kept, Orders
from loomproof.loom.reading import load
from loomproof.screens.notes import How
from loomproof.screens.printing import show
from loomproof.screens.progress import Screen, on_screen


def show_demo(
    out: Path,
    store: str,
    held: Callable[[], Orders],
    how: How,
    stoppable: Callable[[], AbstractContextManager[object]],
) -> tuple[Kept, Kept]:
    """Prove a loom with hidden faults, mend it, prove again; return both proofs, their files told.

    ``held`` holds back orders to stop until what ``stoppable`` gives is left, so that between a proof that
    was shown and the next one the demo can be stopped.
    """
    path = demo_loom()
    loom = load(path).loom
    click.echo(f"The loom: {loom.name} ({len(loom.cavities)} cavities, {len(loom.wires)} wires).", err=True)
    click.echo(
        "First the leads are zeroed: their ohms with a shorting plug over all ends of the adapter, their "
        "picofarads with nothing on them.",
        err=True,
    )
    leads = on_screen(zeroed_leads(loom.cavities), Screen(how), _nothing_more)
    where = Keeping(out, store, held)

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
        kept = on_screen(job.prove_and_keep(), Screen(how), _nothing_more)
        show(kept, how)
        return kept

    with faulty_bench(path, FAULTS) as bench:
        click.echo(
            f"\nA simulated scanner, process {bench.process_id}, answers at {bench.address}.", err=True
        )
        click.echo("Four faults are hidden in the loom on it. First proof:", err=True)
        with stoppable():
            first = proved(bench.address)
        click.echo(f"\nMending the simulated loom: {bench.mend()}", err=True)
        click.echo("Second proof:", err=True)
        second = proved(bench.address)
    click.echo("\nOpen these first:")
    for proof, what in ((first, "what was wrong, and how to mend it"), (second, "the loom after the repair")):
        if "certificate" in proof.files:
            click.echo(f"  {proof.files['certificate']}   {what}")
    return first, second


def _nothing_more(_: Event) -> None:
    """Nobody but the screen is told."""
