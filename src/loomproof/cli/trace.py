"""``trace``: find out what an unknown loom is, and write it down as a loom folder."""

from __future__ import annotations

from pathlib import Path

import click

from loomproof.cli.options import (
    hazard_option,
    hazards_given,
    made_safe_option,
    meter_volts_option,
    selftest_age_option,
)
from loomproof.cli.workshop import bench_of


@click.command()
@click.option("--adapter", required=True, type=click.Path(path_type=Path), metavar="FILE", help="What is on.")
@click.option("--bench", "address", callback=bench_of, metavar="ADDRESS", help="serial:…, tcp:… or visa:….")
@click.option(
    "--to",
    "folder",
    required=True,
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="The new folder.",
)
@click.option("--name", default="", help="What to call the loom; else the folder's name.")
@hazard_option
@meter_volts_option
@selftest_age_option
@made_safe_option
@click.option("--over", is_flag=True, help="Write over a folder that is there.")
def trace(
    adapter: Path,
    address: str,
    folder: Path,
    name: str,
    hazards: tuple[str, ...],
    meter_v: float | None,
    selftest_max_age: float | None,
    made_safe: bool,
    over: bool,
) -> int:
    """Learn an unknown loom and write what was found as a loom folder, with questions for its owner.

    The adapter table says which connectors and cavities there are. Nothing may be plugged into the loom.
    """
    from loomproof.cli.progress import drawn
    from loomproof.cli.terminal_operator import TerminalOperator
    from loomproof.jobs.adapters import read_adapter
    from loomproof.jobs.gate import Assured
    from loomproof.jobs.job import Job
    from loomproof.reports.words import plural

    leads = read_adapter(adapter)
    job = Job.unknown(leads, address, name or folder.name, TerminalOperator(made_safe))
    job.assured = Assured(hazards_given(hazards, job.loom), meter_v, selftest_max_age)
    traced = drawn(job.trace(folder, over=over))
    found = traced.found
    joined = sum(len(net) > 1 for net in found.nets)
    single = len(found.nets) - joined
    click.echo(
        f"{plural(len(leads.entries), 'cavity', 'cavities')}: {plural(joined, 'net')} of two or more, "
        f"{plural(single, 'single cavity', 'single cavities')}, {plural(len(found.parts), 'part')}; "
        f"{plural(found.sense_vectors, 'sense')}, {plural(found.resistance_readings, 'resistance')}."
    )
    for question in traced.questions:
        click.echo(f"  ? {question}")
    click.echo(f"Written to {folder}; raw readings in {traced.journal}.")
    return 0
