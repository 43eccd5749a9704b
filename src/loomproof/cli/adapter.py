"""``adapter``: make, check and learn the table of which point goes to which cavity."""

from __future__ import annotations

import functools
from pathlib import Path

import click

from loomproof.cli.cures import how
from loomproof.cli.given import hazards_given
from loomproof.cli.kinds import PATH, FiniteNumber
from loomproof.cli.options import (
    CONNECTORS,
    LOOMS,
    all_option,
    bench_option,
    hazard_option,
    loom_argument,
    made_safe_option,
)
from loomproof.errors import UsageError

wait_option = functools.partial(
    click.option,
    "--wait",
    "wait_s",
    type=FiniteNumber(0, 600),
    show_default=True,
    metavar="SECONDS",
    help="How long to wait for each touch.",
)
to_option = click.option(
    "--to", "target", type=PATH, required=True, metavar="FILE", help="Where the table goes."
)


@click.group()
def adapter() -> None:
    """Make and check the table of which point goes to which cavity."""


@adapter.command("new", short_help="Write an adapter table for a loom.")
@loom_argument
@to_option
@click.option(
    "--connector",
    "only",
    multiple=True,
    metavar="CONNECTOR",
    shell_complete=CONNECTORS,
    help="These connectors only.",
)
def new(loom: Path, target: Path, only: tuple[str, ...]) -> None:
    """Write an adapter table for LOOM: point 1 to its first cavity, and so on."""
    from loomproof.jobs import adapters
    from loomproof.loom.reading import load

    made = adapters.new(load(loom).loom, target, only)
    click.echo(f"{target}: {len(made.entries)} leads. Change the points to how your leads go.")


@adapter.command("check", short_help="Check an adapter table against a loom and a bench.")
@click.argument("table", type=PATH)
@loom_argument
@click.option("--bench", "address", metavar="ADDRESS", help="Check against this bench's points too.")
@all_option("Show what does not fit lead by lead, however much.")
def check(table: Path, loom: Path, address: str | None, everything: bool) -> int:
    """Check the adapter TABLE against LOOM, and against a bench."""
    from loomproof.jobs import adapters
    from loomproof.loom.reading import load
    from loomproof.screens.notes import show_adapter

    found = adapters.check(table, load(loom).loom, address=address, loom_path=loom, every=everything)
    show_adapter(str(table), found, how)
    return 2 if any(problem.severity == "error" for problem in found.problems) else 0


@adapter.command("parts", short_help="List what adapters for looms are made of.")
@click.argument("looms", type=PATH, nargs=-1, required=True, shell_complete=LOOMS)
@click.option("--points", type=click.IntRange(1, 4096), metavar="N", help="What the board has; else enough.")
@click.option("-o", "--out", type=PATH, help="Write it with labels for leads and plugs: .csv, .xlsx or .pdf.")
def parts(looms: tuple[Path, ...], points: int | None, out: Path | None) -> int:
    """List what adapters for LOOMS are made of: plugs by housing, terminals, leads, labels, hook-ups.

    Several looms share plugs of one housing. What a description does not say is asked.

    Exit codes: 0 listed, 2 a loom among them cannot be hooked up to so many points.
    """
    from loomproof.cli.output import found
    from loomproof.jobs.kit import kit_for
    from loomproof.screens.kit import show_kit

    kit = kit_for(looms, points)
    code = found(2 if kit.refused else 0)
    show_kit(kit, out, "Labels to cut out: --out kit.pdf; as a table: --out kit.csv.")
    return code


@adapter.command("touch", short_help="Find contacts with a probe.")
@loom_argument
@bench_option()
@click.option("--to", "target", type=PATH, metavar="FILE", help="Learn: write there.")
@click.option("--adapter", "table", type=PATH, metavar="FILE", help="Name the net.")
@click.option("--resume", is_flag=True, help="Go on with the table that is at --to.")
@wait_option(default=60.0)
@hazard_option
@made_safe_option
def touch(
    loom: Path,
    address: str,
    target: Path | None,
    table: Path | None,
    resume: bool,
    wait_s: float,
    hazards: tuple[str, ...],
    made_safe: bool,
) -> None:
    """Find contacts with a probe joined to the scanner's 0 V through its resistor.

    Never to mains earth. With --to the adapter's free ends are touched in the loom's order, no loom on,
    and the table is written; each touch beeps, u and Enter takes the last one back, s and Enter leaves an end
    out, d and Enter ends it. With --adapter, the loom on, each touch names its net.
    """
    from loomproof.jobs.adapters import read_adapter
    from loomproof.jobs.gate import Assured
    from loomproof.jobs.job import Job
    from loomproof.loom.reading import load
    from loomproof.screens.progress import Screen, at_the_probe, on_touching
    from loomproof.screens.streams import writable
    from loomproof.screens.terminal_operator import TerminalOperator

    if (target is None) == (table is None):
        raise UsageError("give --to FILE to learn an adapter, or --adapter FILE to name nets")
    described, patience = load(loom).loom, at_the_probe(wait_s)
    job = Job(
        described,
        address,
        None if table is None else read_adapter(table),
        TerminalOperator(made_safe),
        assured=Assured(hazards_given(hazards, described)),
        loom_path=loom,
    )
    if target is None:
        on_touching(job.name_touched(patience), Screen(how))
        return
    writable(str(target))
    learning = job.learn_adapter(target, patience, resume=resume)
    on_touching(learning, Screen(how), target, len(described.cavities))


@adapter.command("build", short_help="Make an adapter lead by lead, each one proved.")
@loom_argument
@click.option("--bench", "address", metavar="ADDRESS", help="As for prove; without it what is left is shown.")
@to_option
@click.option("--shorted", is_flag=True, help="A shorting plug proves leads, from a plug's second one on.")
@click.option("--left", type=PATH, metavar="FILE", help="Write what is left to make as a page, .pdf.")
@wait_option(default=600.0)
@made_safe_option
def build(
    loom: Path,
    address: str | None,
    target: Path,
    shorted: bool,
    left: Path | None,
    wait_s: float,
    made_safe: bool,
) -> None:
    """Make an adapter for LOOM lead by lead: each is proved as it is made, and saved at once.

    No loom is on. A probe joined to the scanner's 0 V through its resistor touches its end, never one on
    mains earth. u and Enter takes the last lead back, s and Enter leaves one for later; the same command
    goes on.
    """
    from loomproof.loom.reading import load
    from loomproof.screens.kit import build_on_screen, show_left

    described = load(loom).loom
    if address is not None:
        build_on_screen(described, address, target, loom, wait_s, how, shorted=shorted, made_safe=made_safe)
    show_left(described, target, left)
