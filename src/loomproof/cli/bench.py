"""``bench`` and ``adapter``: test the bench itself, and learn what leads from its points to cavities."""

from __future__ import annotations

import functools
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from loomproof.cli import options
from loomproof.cli.cures import how
from loomproof.cli.driving import AtBench, made_safe_option, touching_options
from loomproof.cli.kinds import CONNECTOR, LOOM, PATH, READ, FiniteNumber, ScannerPoints
from loomproof.cli.output import drawn, found
from loomproof.errors import UsageError
from loomproof.screens.printing import show_checks

if TYPE_CHECKING:
    from collections.abc import Generator
    from datetime import date

    from loomproof.jobs.archive import Archive
    from loomproof.jobs.bench_tests import SelfTest
    from loomproof.jobs.events import Event
    from loomproof.screens.terminal_operator import TerminalOperator

_simulated = click.option(
    "--loom",
    "loom_path",
    type=PATH,
    metavar="LOOM",
    help="A loom to put on a sim: bench; without it, just what the test wants.",
)


@click.group()
def bench() -> None:
    """Test the bench itself, and learn its leads.

    A bench ADDRESS is serial:/dev/ttyACM0, tcp:HOST:PORT, visa:RESOURCE for a scanner, or sim: for a
    simulator. A switch matrix with a meter is visa:RESOURCE?profile=NAME, or a FILE of your own, with
    &meter=RESOURCE where the meter is a separate instrument; loomproof bench profiles lists the names.
    hand: is a person with a multimeter.
    """


@bench.command("profiles", short_help="List instrument profiles, or print one.")
@click.argument("name", required=False)
def profiles(name: str | None) -> None:
    """List the shipped profiles of a switch matrix and a meter, or print one by its NAME.

    Save one to a file, change it to what stands on your bench, and give visa:RESOURCE?profile=FILE.
    """
    from loomproof.jobs import bench_tests

    if name is not None:
        click.echo(bench_tests.shipped_text(name), nl=False)
        return
    for line in bench_tests.profile_lines():
        click.echo(line)


@bench.command("zero", short_help="Learn lead resistance with a shorting plug, or picofarads.")
@options.bench_option()
@_simulated
@click.option("--adapter", "table", type=READ, required=True, help="The table they are written into.")
@click.option("--connector", "connectors", multiple=True, metavar="CONNECTOR", help="What the plug joins.")
@click.option("--repeats", type=click.IntRange(2, 100), default=5, show_default=True, help="Of each pair.")
@click.option("--open", "unplugged", is_flag=True, help="Learn picofarads instead, nothing on the leads.")
@made_safe_option
def zero(address: str, table: Path, operator: TerminalOperator, **more: Any) -> None:
    """Learn lead resistance with a shorting plug over the adapter's ends, and write it into the table.

    With --open nothing is on the leads, and what each adds to a capacitance reading is learned.
    """
    from loomproof.jobs import bench_tests

    learned = drawn(bench_tests.zero(bench_tests.read_adapter(table), address, operator, **more))
    bench_tests.write_adapter(learned.adapter, table)
    click.echo(f"{table}: {learned.summary}")


@bench.command("selftest", short_help="Test the bench itself and keep the dated result.")
@options.bench_option()
@_simulated
@click.option("--adapter", "table", type=READ, help="What is plugged.")
@click.option("--shorted", is_flag=True, help="A shorting plug joins the ends of --adapter.")
@click.option(
    "--resistor", "resistors", multiple=True, metavar="A,B,OHM[,U]", help="Points, ohms, U: 1 % if not given."
)
@made_safe_option
@options.archive_option
def selftest(
    address: str, table: Path | None, resistors: tuple[str, ...], operator: TerminalOperator, **more: Any
) -> int:
    """Test the bench with nothing plugged, a shorting plug, or reference resistors; keep it dated.

    A sim: bench has just that plugged in. Its wires are W1 (at point 1) and so on, its resistors R1, R2; so
    "sim:?fault=open%20W3" with --shorted, or "sim:?fault=short%20POINT:1%20POINT:2", shows a test that fails.

    Exit codes: 0 passed, 3 failed.
    """
    from loomproof.jobs import bench_tests

    leads = bench_tests.read_adapter(table) if table is not None else None
    references = [bench_tests.reference_of(text) for text in resistors]
    return _tested(bench_tests.selftest(address, operator, adapter=leads, references=references, **more))


def _tested(job: Generator[Event, None, SelfTest]) -> int:
    """Run a self-test and show it; return the exit code."""
    kept = drawn(job)
    show_checks(kept.checks)
    return found(0 if kept.passed else 3)


@bench.command("health", short_help="Chart what self-tests and zeros read over time.")
@click.argument("name", default="")
@options.day_option(
    "--from", "since", help="Only readings of this day and later: after the bench was mended."
)
@options.plot_option
@options.archive_option
def health(name: str, since: tuple[date, date] | None, plot: Path | None, archive: Archive) -> int:
    """Chart what the self-tests and zeros of each bench read, or of those with NAME in theirs.

    Exit codes: 0 steady, 3 an alarm, 4 too few readings of all to judge any.
    """
    from loomproof.jobs.bench_health import bench_health
    from loomproof.screens.bench_health import show_health

    health = bench_health(archive, name, since[0] if since else None)
    if plot is not None:
        health.plot(plot)
    code = found(3 if health.told else 0 if health.judged else 4)
    show_health(health, how)
    return code


@bench.command("study", short_help="Split the spread of readings into bench, operator and part.")
@click.argument("table", metavar="FILE", type=PATH)
@click.option("--bench", "address", metavar="ADDRESS", help="Read each --resistor there, add it to FILE.")
@click.option("--operator", "who", default="", metavar="NAME", help="Who plugged and reads.")
@click.option("--resistor", "resistors", multiple=True, metavar="A,B,OHM", help="A part of the study.")
@click.option("--keep", is_flag=True, help="Count what operators add in proofs on this bench.")
@made_safe_option
def study(
    table: Path, address: str, who: str, resistors: tuple[str, ...], keep: bool, operator: TerminalOperator
) -> None:
    """Study repeatability and reproducibility: each operator reads each part alike often, FILE keeps it.

    With --bench all parts are read once and added to FILE (unplug and plug again before each time). Without,
    FILE (columns operator, part, ohm) is analysed.
    """
    from loomproof.jobs import bench_study, bench_tests
    from loomproof.screens.bench_health import show_study

    if address:
        parts = [bench_tests.reference_of(text) for text in resistors]
        click.echo(drawn(bench_study.take(table, who, parts, address, operator)))
    else:
        show_study(bench_study.read(table))
    if keep:
        click.echo(bench_study.keep(table))


@bench.command("flash", short_help="Write the reference scanner's program to a board.")
@click.option("--port", metavar="PORT", help="The board's serial port; without it, the only one there is.")
@click.option(
    "--kind", type=click.Choice(["pins", "ohms", "expanders"]), default="pins", show_default=True,
    help="What is built: points on the board's pins, these with converter and multiplexers, or expanders.",
)  # fmt: skip
@click.option("--yes", is_flag=True, help="Nothing is on the points: write without asking.")
@options.archive_option
def flash(port: str | None, kind: str, yes: bool, archive: Archive) -> int:
    """Write the program of the reference scanner to an ATmega2560 board, then ask and test it.

    The board is one as firmware_notes/reference_scanner describes it, of one kind or another. It is written
    over its own USB by avrdude, which must be installed. Nothing may be plugged on its points, neither loom
    nor adapter.

    Exit codes: 0 written and its self-test passed, 2 refused, 3 failed.
    """
    from loomproof.jobs import bench_tests, flashing
    from loomproof.screens.terminal_operator import TerminalOperator, confirmed

    board = flashing.choose(port)
    click.echo(f"{board.name}: {board.description}")
    if missing := flashing.command_without_programmer(board.name, kind):
        click.echo("This would write it:", err=True)
        click.echo(missing, err=True)  # as it is typed: never folded
        flashing.flash(board.name, kind)
    asked = "Write the scanner's program to it, whatever it holds now, nothing on its points?"
    if not (yes or confirmed(asked)):
        raise UsageError("nothing was written", cure="Confirm, or give --yes.")
    flashing.flash(board.name, kind)
    click.echo("Written and read back.")
    made_safe = TerminalOperator(made_safe=True)
    return _tested(bench_tests.selftest(f"serial:{board.name}", made_safe, archive=archive))


wait_option = functools.partial(
    click.option,
    "--wait",
    "wait_s",
    type=FiniteNumber(0, 600),
    show_default=True,
    metavar="SECONDS",
    help="How long to wait for each touch.",
)
to_option = click.option("--to", "target", type=READ, required=True, help="Where the table goes.")


@click.group()
def adapter() -> None:
    """Make and check the table of which point goes to which cavity."""


@adapter.command("new", short_help="Write an adapter table for a loom.")
@options.loom_argument
@to_option
@click.option("--connector", "only", multiple=True, type=CONNECTOR, help="These connectors only.")
def new(loom: Path, target: Path, only: tuple[str, ...]) -> None:
    """Write an adapter table for LOOM: point 1 to its first cavity, and so on."""
    from loomproof.jobs import adapters
    from loomproof.loom.reading import load

    made = adapters.new(load(loom).loom, target, only)
    click.echo(f"{target}: {len(made.entries)} leads. Change the points to how your leads go.")


@adapter.command("check", short_help="Check an adapter table against a loom and a bench.")
@click.argument("table", type=PATH)
@options.loom_argument
@click.option("--bench", "address", metavar="ADDRESS", help="Check against this bench's points too.")
@options.all_option("Show what does not fit lead by lead, however much.")
def check(table: Path, loom: Path, address: str | None, everything: bool) -> int:
    """Check the adapter TABLE against LOOM, and against a bench."""
    from loomproof.jobs import adapters
    from loomproof.loom.reading import load
    from loomproof.screens.notes import show_adapter

    found = adapters.check(table, load(loom).loom, address=address, loom_path=loom, every=everything)
    show_adapter(str(table), found, how)
    return 2 if any(problem.severity == "error" for problem in found.problems) else 0


@adapter.command("parts", short_help="List what adapters for looms are made of.")
@click.argument("looms", type=LOOM, nargs=-1, required=True)
@click.option("--points", type=ScannerPoints(), metavar="N", help="What the board has; else enough.")
@click.option("-o", "--out", type=PATH, help="Write it with labels for leads and plugs: .csv, .xlsx or .pdf.")
def parts(looms: tuple[Path, ...], points: int | None, out: Path | None) -> int:
    """List what adapters for LOOMS are made of: plugs by housing, terminals, leads, labels, hook-ups.

    Several looms share plugs of one housing. What a description does not say is asked.

    Exit codes: 0 listed, 2 a loom among them cannot be hooked up to so many points.
    """
    from loomproof.jobs.kit import kit_for
    from loomproof.screens.kit import show_kit

    kit = kit_for(looms, points)
    code = found(2 if kit.refused else 0)
    show_kit(kit, out, "Labels to cut out: --out kit.pdf; as a table: --out kit.csv.")
    return code


@adapter.command("touch", short_help="Find contacts with a probe.")
@options.loom_argument
@options.bench_option()
@click.option("--to", "target", type=READ, help="Learn: write there.")
@click.option("--adapter", "table", type=READ, help="Name the net.")
@click.option("--resume", is_flag=True, help="Go on with the table that is at --to.")
@wait_option(default=60.0)
@touching_options
def touch(target: Path | None, table: Path | None, resume: bool, wait_s: float, at: AtBench) -> None:
    """Find contacts with a probe joined to the scanner's 0 V through its resistor.

    Never to mains earth. With --to the adapter's free ends are touched in the loom's order, no loom on,
    and the table is written; each touch beeps, u and Enter takes the last one back, s and Enter leaves an end
    out, d and Enter ends it. With --adapter, the loom on, each touch names its net.
    """
    from loomproof.jobs.adapters import read_adapter
    from loomproof.jobs.job import Job
    from loomproof.screens.progress import Screen, at_the_probe, on_touching
    from loomproof.screens.streams import writable

    if (target is None) == (table is None):
        raise UsageError("give --to FILE to learn an adapter, or --adapter FILE to name nets")
    described, patience = at.described, at_the_probe(wait_s)
    leads, assured = None if table is None else read_adapter(table), at.assured(described)
    job = Job(described, at.address, leads, at.operator, assured=assured, loom_path=at.loom)
    if target is None:
        on_touching(job.name_touched(patience), Screen(how))
        return
    writable(str(target))
    learning = job.learn_adapter(target, patience, resume=resume)
    on_touching(learning, Screen(how), target, len(described.cavities))


@adapter.command("build", short_help="Make an adapter lead by lead, each one proved.")
@options.loom_argument
@click.option("--bench", "address", metavar="ADDRESS", help="As for prove; without it what is left is shown.")
@to_option
@click.option("--shorted", is_flag=True, help="A shorting plug proves leads, from a plug's second one on.")
@click.option("--left", type=READ, help="Write what is left to make as a page, .pdf.")
@wait_option(default=600.0)
@made_safe_option
def build(
    loom: Path,
    address: str | None,
    target: Path,
    shorted: bool,
    left: Path | None,
    wait_s: float,
    operator: TerminalOperator,
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
        build_on_screen(described, address, target, loom, wait_s, how, operator, shorted=shorted)
    show_left(described, target, left)
