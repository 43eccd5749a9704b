"""Commands to begin with: the whole job on the simulated bench, the bench in a browser, what support asks."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.cli.cures import how
from loomproof.cli.kinds import PATH
from loomproof.cli.options import out_option, store_option
from loomproof.cli.output import EXIT_CODES, drawn, held_to_the_end
from loomproof.errors import UsageError
from loomproof.screens.printing import line

if TYPE_CHECKING:
    from loomproof.web.workplace import Workplace


@click.command()
@out_option("certificates, results, records and journals go")
@click.option("--store", metavar="FILE|URL", help="Where the records go; else a store of the demo's own.")
def demo(out: Path, store: str | None) -> int:
    """Prove a loom with hidden faults on a simulated bench, mend it, prove again."""
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


@click.command()
@click.argument("looms", type=PATH, required=False)
@click.option(
    "--bench",
    "benches",
    multiple=True,
    metavar="ADDRESS",
    help="A bench that pages may use; repeatable. Without it: the one of workshop.toml, ports found, sim:.",
)
@click.option(
    "--adapter", "tables", multiple=True, metavar="FILE", help="An adapter table to pick from; repeatable."
)
@click.option("--port", type=click.IntRange(0, 65_535), default=0, help="Else a free one.")
@click.option("--open", "opens", is_flag=True, help="Open it in the browser.")
@click.option("--lan", is_flag=True, help="Let phones on this network watch, and tick the fitting sheet.")
@click.option("--demo", is_flag=True, help="With the demo's loom, its four faults, and a store of its own.")
@out_option("certificates, results, records and journals go")
@store_option
def serve(
    looms: Path | None,
    benches: tuple[str, ...],
    tables: tuple[str, ...],
    port: int,
    opens: bool,
    lan: bool,
    demo: bool,
    out: Path,
    store: str | None,
) -> None:
    """Show the bench in a browser on this machine: start, prove, mend, keep, fit.

    LOOMS is a folder of looms, or one loom; else this folder. Only this machine reaches the pages; the
    address that is printed lets one browser drive, once. Enter prints a new one, for a browser that has lost
    its way in. With --lan phones on this network come in by a code that the page at the bench shows.
    """
    from loomproof.screens.enter_key import presses
    from loomproof.web.lan import MEANING
    from loomproof.web.server import refuse_without_extra, serve
    from loomproof.web.workplace import Workplace

    for address in benches:
        if address.startswith("hand:"):
            raise UsageError(
                "a page takes no answers for a hand meter", cure="Prove with --bench hand: at a terminal."
            )
    refuse_without_extra()

    if lan:
        for text in MEANING:
            line(text, "- ")

    def ready(address: str) -> None:
        line("The bench in a browser, until Ctrl-C. This address lets one browser in, once, to drive:")
        line(address)
        if opens:
            click.launch(address)

    with contextlib.ExitStack() as stack:
        if demo:
            if looms is not None or benches or tables:
                raise UsageError(
                    "--demo brings its own loom, bench and adapter", cure="Leave the others out."
                )
            place = stack.enter_context(_demo(out, store))
        else:
            place = Workplace(looms or Path(), out, store, benches, {table: table for table in tables})
        serve(place, ready, port=port, how=how, knocks=presses(), lan=lan)


@contextlib.contextmanager
def _demo(out: Path, store: str | None) -> Iterator[Workplace]:
    """Yield where the demonstration works: its loom on a simulated scanner with four faults, leads zeroed."""
    from loomproof.jobs.demo import FAULTS, demo_loom, demo_store, faulty_bench, zeroed_leads
    from loomproof.loom.reading import load
    from loomproof.web.workplace import Workplace

    path = demo_loom()
    leads = drawn(zeroed_leads(load(path).loom.cavities))
    with faulty_bench(path, FAULTS) as bench:
        name = "the demo's leads, zeroed"
        adapters = {name: replace(leads, name=name)}
        yield Workplace(path, out, store or demo_store(), (bench.address,), adapters, bench.mend, bench.probe)
