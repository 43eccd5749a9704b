"""``name``: say what each end of a traced loom is, touch by touch."""

from __future__ import annotations

from pathlib import Path

import click

from loomproof.cli.kinds import PATH
from loomproof.cli.options import Clearing, bench_option, clearing_options
from loomproof.cli.output import found
from loomproof.screens.printing import line


@click.command()
@click.argument("folder", type=PATH, metavar="DIR")
@bench_option("serial:…, tcp:… or visa:….")
@click.option(
    "--adapter",
    type=PATH,
    metavar="FILE",
    help="The table that it was traced with; later the one kept in DIR.",
)
@click.option(
    "--car",
    type=PATH,
    metavar="LOOM",
    help="A description of what it plugs into, or of a sister: its plugs, cavities and purposes are offered.",
)
@clearing_options
def name(folder: Path, address: str, adapter: Path | None, car: Path | None, clearing: Clearing) -> int:
    """Say what each end of a traced loom is: touch it with the probe, type its name, or take a suggestion.

    DIR is what trace wrote. The probe goes to the scanner's 0 V through its resistor, never to mains earth.
    Each answer is kept at once, and the same command goes on tomorrow. A line is PLUG:CAVITY, then colour,
    DIN 72552 designation and purpose as far as they are known: INJ1:2 RD/WH injector. A plug alone names the
    whole plug.
    """
    from loomproof.cli.cures import how
    from loomproof.jobs.job import Job
    from loomproof.jobs.naming_files import opened
    from loomproof.loom.reading import load
    from loomproof.screens.naming import named_on_screen

    described = opened(folder).named.loom
    job = Job(
        described,
        address,
        None if adapter is None else str(adapter),
        clearing.operator(),
        assured=clearing.assured(described),
    )
    sister = None if car is None else load(car).loom
    named = named_on_screen(lambda keys: job.name(folder, keys, sister), how)
    code = found(0)
    line(named.summary)
    line(f"Written to {folder}, with the adapter table by today's names.")
    return code
