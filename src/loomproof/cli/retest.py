"""``retest``, ``locate`` and ``trace``: of a run, and of an unknown loom. They give no certificate."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.cli.given import ends_given
from loomproof.cli.kinds import PATH
from loomproof.cli.options import (
    CAVITIES,
    LOOMS,
    RUNS,
    Clearing,
    adapter_option,
    bench_option,
    clearing_options,
    grade_option,
    hook_up_options,
    loom_argument,
    out_option,
    over_option,
    refuse_limits,
    store_option,
)
from loomproof.cli.output import EXIT_CODES, found
from loomproof.errors import Do, LoomproofError, Todo, UsageError
from loomproof.screens.kept import chosen
from loomproof.screens.printing import paragraphs

if TYPE_CHECKING:
    from loomproof.jobs.adapters import Adapter
    from loomproof.planning.hookup_search import Constraints
    from loomproof.results.grade import Grade


@click.command()
@click.argument("run", shell_complete=RUNS)
@loom_argument
@bench_option()
@adapter_option
@click.option(
    "--finding", "numbers", multiple=True, type=click.IntRange(1), metavar="N", help="Only what was mended."
)
@click.option(
    "--also",
    multiple=True,
    metavar="CAVITY",
    shell_complete=CAVITIES,
    help="A cavity that was worked at besides.",
)
@click.option("--hook-ups", is_flag=True, help="The bench has too few points: plug by plug.")
@hook_up_options
@out_option("the journal goes")
@grade_option
@clearing_options
@store_option
def retest(
    run: str,
    loom: Path,
    address: str,
    adapter: str | None,
    numbers: tuple[int, ...],
    also: tuple[str, ...],
    hook_ups: bool,
    limits: Constraints,
    out: Path,
    grade: Grade | None,
    clearing: Clearing,
    store: str | None,
) -> int:
    """Prove again what the repairs of RUN can have touched: quick, and no certificate.

    RUN is a run's name, last, or a results file. Exit codes as with prove.
    """
    from loomproof.cli.output import drawn
    from loomproof.jobs.archive import Archive
    from loomproof.jobs.job import Job
    from loomproof.jobs.keep import Keeping
    from loomproof.loom.reading import load
    from loomproof.screens.retest import show_retest

    if not hook_ups:
        refuse_limits(limits)
    described, archive = load(loom).loom, Archive(store)
    before = archive.document(chosen(archive, run))
    job = Job.in_workshop(
        described,
        address,
        clearing.operator(),
        loom_path=loom,
        adapter="in-order" if hook_ups else adapter,
        where=Keeping(out, store),
        assured=clearing.assured(described),
        grade=grade,
    )
    again = drawn(job.retest_after(before, ends_given(also, "--also"), numbers, limits if hook_ups else None))
    code = found(EXIT_CODES[again.judgement.verdict])
    show_retest(before, again, numbers, "sweep" if address.startswith("hand:") else "sense")
    return code


@click.command()
@click.argument("run", shell_complete=RUNS)
@loom_argument
@bench_option()
@adapter_option
@click.option("--finding", "numbers", multiple=True, type=click.IntRange(1), metavar="N", help="Only that.")
@out_option("the journal goes")
@clearing_options
@store_option
def locate(
    run: str,
    loom: Path,
    address: str,
    adapter: str | None,
    numbers: tuple[int, ...],
    out: Path,
    clearing: Clearing,
    store: str | None,
) -> int:
    """Say where along its wires each finding of RUN lies, with readings taken now.

    RUN is a run's name, last, or a results file. What is gone or is otherwise now is told. No certificate;
    exit codes as with prove.
    """
    from loomproof.cli.output import drawn
    from loomproof.jobs.archive import Archive
    from loomproof.jobs.job import Job
    from loomproof.jobs.keep import Keeping
    from loomproof.loom.reading import load
    from loomproof.screens.retest import show_places

    described, archive = load(loom).loom, Archive(store)
    before = archive.document(chosen(archive, run))
    where, assured = Keeping(out, store), clearing.assured(described)
    operator = clearing.operator()
    job = Job.in_workshop(
        described, address, operator, loom_path=loom, adapter=adapter, where=where, assured=assured
    )
    again = drawn(job.retest_after(before, numbers=numbers, locate=True))
    code = found(EXIT_CODES[again.judgement.verdict])
    show_places(before, again, numbers)
    return code


@click.command()
@click.argument("loom", type=PATH, required=False, shell_complete=LOOMS)
@click.option("--adapter", type=PATH, metavar="FILE", help="What is on.")
@bench_option("serial:…, tcp:… or visa:….")
@click.option("--to", "folder", required=True, type=PATH, metavar="DIR", help="The new folder.")
@click.option("--name", default="", help="What to call the loom; else the folder's name.")
@click.option("--hook-ups", is_flag=True, help="The bench has fewer points than the loom: plug by plug.")
@hook_up_options
@click.option("--stop-after", type=click.IntRange(1), metavar="K", help="Hook-ups: stop after so many.")
@click.option("--continue", "go_on", is_flag=True, help="Hook-ups: go on with a trace that was stopped.")
@clearing_options
@click.option("--over", is_flag=True, help="Write over a folder that is there.")
def trace(
    loom: Path | None,
    adapter: Path | None,
    address: str,
    folder: Path,
    name: str,
    hook_ups: bool,
    limits: Constraints,
    stop_after: int | None,
    go_on: bool,
    clearing: Clearing,
    over: bool,
) -> int:
    """Learn an unknown loom and write what was found as a loom folder, with questions for its owner.

    The adapter table says which connectors and cavities there are; with --hook-ups LOOM does, or the table of
    --plugs. What is described in LOOM already (rows, kinds, hazards, places, half of its wires) is kept, and
    where it differs is told. Nothing may be plugged into the loom.
    """
    from loomproof.cli.cures import say_next, trace_going_on
    from loomproof.cli.output import drawn
    from loomproof.jobs.job import Job
    from loomproof.jobs.trace import QUESTIONS
    from loomproof.loom.reading import load

    plugging = hook_ups or go_on
    leads, operator = _leads_given(loom, adapter, plugging, limits, stop_after), clearing.operator()
    if loom is None:
        assert leads is not None
        job = Job.unknown(leads, address, name or folder.name, operator)
    else:
        job = Job(load(loom).loom, address, leads, operator)
    job.assured = clearing.assured(job.loom)
    running = job.trace(
        folder,
        over=over,
        known=loom is not None,
        hook_ups=limits if plugging else None,
        go_on=go_on,
        stop_after=stop_after,
    )
    try:
        traced = drawn(running)
    except LoomproofError as stopped:
        if stopped.do is not None and stopped.do.what is Todo.GO_ON_TRACE:
            stopped.do = Do(Todo.GO_ON_TRACE, trace_going_on(click.get_current_context()))
        raise
    code = found(0)
    click.echo(traced.summary)
    paragraphs(traced.questions, "  ? ", "    ")
    journals = ", ".join(map(str, traced.journals))
    click.echo(f"Written to {folder}, the questions to {folder / QUESTIONS}; raw readings in {journals}.")
    say_next("name", folder)
    return code


def _leads_given(
    loom: Path | None, adapter: Path | None, plugging: bool, limits: Constraints, stop_after: int | None
) -> Adapter | None:
    """Return the adapter table, or that of plugs, where one is named. Raises `UsageError`."""
    from loomproof.jobs.adapters import read_adapter

    if not plugging:
        refuse_limits(limits, stop_after)
        if adapter is None:
            raise UsageError(
                "an adapter table says what is on: give it with --adapter FILE",
                cure="With --hook-ups LOOM says it, or --plugs FILE.",
            )
        return read_adapter(adapter)
    if adapter is not None:
        raise UsageError("--hook-ups makes the adapter tables itself; --plugs names plugs that you have")
    if loom is None and limits.plugs is None:
        raise UsageError(
            "--hook-ups has to know which connectors and cavities there are",
            cure="Give LOOM, with its connectors described, or --plugs FILE.",
        )
    return limits.plugs


@click.command()
@click.argument("traced", type=PATH)
@click.argument("known", type=PATH)
@click.option("--to", "target", required=True, type=PATH, metavar="PATH", help="Folder or .xlsx to write.")
@over_option
def merge(traced: Path, known: Path, target: Path, over: bool) -> None:
    """Lay KNOWN, a description or half of one, over the loom that was TRACED.

    What is joined is what was traced; names, colours, rows, hazards and places come from KNOWN. Where the
    two differ is told.
    """
    from loomproof.cli.cures import say_next
    from loomproof.jobs.merging import merged

    laid = merged(traced, known, target, over=over)
    found(0)
    paragraphs(laid.told, "  ? ", "    ")
    click.echo(f"{target}: {len(laid.loom.wires)} wires, {len(laid.told)} differences")
    say_next("check", target)
