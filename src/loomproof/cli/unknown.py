"""Commands of a loom that nobody knows: traced, named, learned from good ones, laid on a known one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.cli import options
from loomproof.cli.cures import how, say_next
from loomproof.cli.driving import AtBench, driving_options
from loomproof.cli.kinds import LOOM, PATH, READ, pair_given
from loomproof.cli.output import drawn, found
from loomproof.errors import UsageError
from loomproof.screens.printing import line, paragraphs

if TYPE_CHECKING:
    from loomproof.jobs.adapters import Adapter
    from loomproof.planning.hookup_search import Constraints

EVERY_SURE = "sure"


@click.command()
@click.argument("loom", type=LOOM, required=False)
@click.option("--adapter", "table", type=READ, help="What is on.")
@options.bench_option("serial:…, tcp:… or visa:….")
@click.option("--to", "folder", required=True, type=PATH, metavar="DIR", help="The new folder.")
@click.option("--name", default="", help="What to call the loom; else the folder's name.")
@click.option("--hook-ups", is_flag=True, help="The bench has fewer points than the loom: plug by plug.")
@options.hook_up_options
@click.option("--stop-after", type=click.IntRange(1), metavar="K", help="Hook-ups: stop after so many.")
@click.option("--continue", "go_on", is_flag=True, help="Hook-ups: go on with a trace that was stopped.")
@driving_options
@click.option("--over", is_flag=True, help="Write over a folder that is there.")
def trace(
    table: Path | None,
    folder: Path,
    name: str,
    hook_ups: bool,
    limits: Constraints,
    stop_after: int | None,
    go_on: bool,
    at: AtBench,
    over: bool,
) -> int:
    """Learn an unknown loom and write what was found as a loom folder, with questions for its owner.

    The adapter table says which connectors and cavities there are; with --hook-ups LOOM does, or the table of
    --plugs. What is described in LOOM already (rows, kinds, hazards, places, half of its wires) is kept, and
    where it differs is told. Nothing may be plugged into the loom.
    """
    from loomproof.jobs.job import Job
    from loomproof.jobs.trace import QUESTIONS

    plugging = hook_ups or go_on
    leads = _leads_given(at.loom, table, plugging, limits, stop_after)
    if at.loom is None:
        assert leads is not None
        job = Job.unknown(leads, at.address, name or folder.name, at.operator)
    else:
        job = Job(at.described, at.address, leads, at.operator)
    job.assured = at.assured(job.loom)
    traced = drawn(
        job.trace(
            folder,
            over=over,
            known=at.loom is not None,
            hook_ups=limits if plugging else None,
            go_on=go_on,
            stop_after=stop_after,
        )
    )
    code = found(0)
    click.echo(traced.summary)
    paragraphs(traced.questions, "  ? ", "    ")
    journals = ", ".join(map(str, traced.journals))
    click.echo(f"Written to {folder}, the questions to {folder / QUESTIONS}; raw readings in {journals}.")
    say_next("name", folder)
    return code


def _leads_given(
    loom: Path | None, table: Path | None, plugging: bool, limits: Constraints, stop_after: int | None
) -> Adapter | None:
    """Return the adapter table, or that of plugs, where one is named. Raises `UsageError`."""
    from loomproof.jobs.adapters import read_adapter

    if not plugging:
        options.refuse_limits(limits, stop_after)
        if table is None:
            raise UsageError(
                "an adapter table says what is on: give it with --adapter FILE",
                cure="With --hook-ups LOOM says it, or --plugs FILE.",
            )
        return read_adapter(table)
    if table is not None:
        raise UsageError("--hook-ups makes the adapter tables itself; --plugs names plugs that you have")
    if loom is None and limits.plugs is None:
        raise UsageError(
            "--hook-ups has to know which connectors and cavities there are",
            cure="Give LOOM, with its connectors described, or --plugs FILE.",
        )
    return limits.plugs


@click.command()
@click.argument("folder", type=PATH, metavar="DIR")
@options.bench_option("serial:…, tcp:… or visa:….")
@click.option(
    "--adapter", "table", type=READ, help="The table that it was traced with; later the one kept in DIR."
)
@click.option(
    "--car",
    type=PATH,
    metavar="LOOM",
    help="A description of what it plugs into, or of a sister: its plugs, cavities and purposes are offered.",
)
@driving_options
def name(folder: Path, table: Path | None, car: Path | None, at: AtBench) -> int:
    """Say what each end of a traced loom is: touch it with the probe, type its name, or take a suggestion.

    DIR is what trace wrote. The probe goes to the scanner's 0 V through its resistor, never to mains earth.
    Each answer is kept at once, and the same command goes on tomorrow. A line is PLUG:CAVITY, then colour,
    DIN 72552 designation and purpose as far as they are known: INJ1:2 RD/WH injector. A plug alone names the
    whole plug.
    """
    from loomproof.jobs.job import Job
    from loomproof.jobs.naming_files import opened
    from loomproof.loom.reading import load
    from loomproof.screens.naming import named_on_screen

    described = opened(folder).named.loom
    traced_with = None if table is None else str(table)
    job = Job(described, at.address, traced_with, at.operator, assured=at.assured(described))
    sister = None if car is None else load(car).loom
    named = named_on_screen(lambda keys: job.name(folder, keys, sister), how)
    code = found(0)
    line(named.summary)
    line(f"Written to {folder}, with the adapter table by today's names.")
    return code


@click.command("match")
@click.argument("traced", type=LOOM)
@click.argument("known", type=LOOM)
@click.option(
    "--touched",
    multiple=True,
    metavar='"TRACED KNOWN"',
    help='An end of TRACED that answered when an end of KNOWN was touched: "P3:2 INJ1:1"; repeatable.',
)
@click.option(
    "--take",
    "taken",
    multiple=True,
    metavar="CONNECTOR",
    help='Take names and colours over for this connector of TRACED, or for all that are "sure"; repeatable.',
)
@click.option("--to", "target", type=PATH, help="The new folder, for what is taken over.")
@click.option("--cavities", is_flag=True, help="List which cavity is which as well.")
@options.over_option
def match_(
    traced: Path,
    known: Path,
    touched: tuple[str, ...],
    taken: tuple[str, ...],
    target: Path | None,
    cavities: bool,
    over: bool,
) -> None:
    """Say which connector and cavity of TRACED is which of KNOWN, what is sure, and what differs.

    Both are looms as any command takes them. Nothing is taken over but with --take, into a loom of its own.
    """
    from loomproof.jobs.matching import matched
    from loomproof.screens.matching import show_match

    if bool(taken) != (target is not None):
        raise UsageError("what is taken over goes into a new folder", cure="Give --take and --to together.")
    if target is not None and target.resolve() in (traced.resolve(), known.resolve()):
        raise UsageError(f"{target} is what is matched", cure="Name another folder: both stay as they are.")
    names = [name for name in taken if name != EVERY_SURE]
    pairs = [pair_given(text, "--touched", 'The traced one first: "P3:2 INJ1:1".') for text in touched]
    laid = matched(traced, known, pairs, names, target, every_sure=EVERY_SURE in taken, over=over)
    found(0)
    show_match(laid, "--cavities lists them", cavities=cavities)
    if target is not None:
        click.echo(f"Written to {target}: check it, and prove the loom against it.")
        say_next("check", target)


@click.command()
@click.argument("references", type=PATH, nargs=-1, required=True)
@click.option("--to", "target", required=True, type=PATH, help="The new folder.")
@click.option("--name", default="", help="What to call the loom; else the folder's name.")
@options.over_option
def learn(references: tuple[Path, ...], target: Path, name: str, over: bool) -> None:
    """Learn a description from REFERENCES, looms known to be good, each traced with the same adapter table.

    What all agree on is described, ohms with their spread as tolerance; what differs is asked. A proof
    against it says that the loom is equal to those, which is less than equal to its drawing.
    """
    from loomproof.loom.reading import load
    from loomproof.loom.writing import write_folder
    from loomproof.matching.learning import learn as learned

    found_out = learned([load(path).loom for path in references], name or target.name)
    write_folder(found_out.loom, target, over=over)
    found(0)
    paragraphs(found_out.questions, "  ? ", "    ")
    click.echo(f"Written to {target}.")
    say_next("check", target)


@click.command()
@click.argument("traced", type=PATH)
@click.argument("known", type=PATH)
@click.option("--to", "target", required=True, type=PATH, metavar="PATH", help="Folder or .xlsx to write.")
@options.over_option
def merge(traced: Path, known: Path, target: Path, over: bool) -> None:
    """Lay KNOWN, a description or half of one, over the loom that was TRACED.

    What is joined is what was traced; names, colours, rows, hazards and places come from KNOWN. Where the
    two differ is told.
    """
    from loomproof.jobs.merging import merged

    laid = merged(traced, known, target, over=over)
    found(0)
    paragraphs(laid.told, "  ? ", "    ")
    click.echo(f"{target}: {len(laid.loom.wires)} wires, {len(laid.told)} differences")
    say_next("check", target)
