"""``bench``: test the bench itself; learn its leads; list instrument profiles."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.cli.cures import how
from loomproof.cli.kinds import PATH
from loomproof.cli.options import archive_option, bench_option, day_option, made_safe_option, plot_option
from loomproof.errors import UsageError
from loomproof.screens.printing import show_checks

if TYPE_CHECKING:
    from datetime import date

    from loomproof.jobs.archive import Archive

_simulated = click.option(
    "--loom",
    "on_it",
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
@bench_option()
@_simulated
@click.option(
    "--adapter", "table", type=PATH, required=True, metavar="FILE", help="The table they are written into."
)
@click.option("--connector", "only", multiple=True, metavar="CONNECTOR", help="What the plug joins.")
@click.option("--repeats", type=click.IntRange(2, 100), default=5, show_default=True, help="Of each pair.")
@click.option("--open", "unplugged", is_flag=True, help="Learn picofarads instead, nothing on the leads.")
@made_safe_option
def zero(
    address: str,
    on_it: Path | None,
    table: Path,
    only: tuple[str, ...],
    repeats: int,
    unplugged: bool,
    made_safe: bool,
) -> None:
    """Learn lead resistance with a shorting plug over the adapter's ends, and write it into the table.

    With --open nothing is on the leads, and what each adds to a capacitance reading is learned.
    """
    from loomproof.cli.output import drawn
    from loomproof.jobs import bench_tests
    from loomproof.screens.terminal_operator import TerminalOperator

    learned = drawn(
        bench_tests.zero(
            bench_tests.read_adapter(table),
            address,
            TerminalOperator(made_safe),
            loom_path=on_it,
            connectors=only,
            repeats=repeats,
            unplugged=unplugged,
        )
    )
    bench_tests.write_adapter(learned.adapter, table)
    click.echo(f"{table}: {learned.summary}")


@bench.command("selftest", short_help="Test the bench itself and keep the dated result.")
@bench_option()
@_simulated
@click.option("--adapter", "table", type=PATH, metavar="FILE", help="What is plugged.")
@click.option("--shorted", is_flag=True, help="A shorting plug joins the ends of --adapter.")
@click.option(
    "--resistor", "resistors", multiple=True, metavar="A,B,OHM[,U]", help="Points, ohms, U: 1 % if not given."
)
@made_safe_option
@archive_option
def selftest(
    address: str,
    on_it: Path | None,
    table: Path | None,
    shorted: bool,
    resistors: tuple[str, ...],
    made_safe: bool,
    archive: Archive,
) -> int:
    """Test the bench with nothing plugged, a shorting plug, or reference resistors; keep it dated.

    A sim: bench has just that plugged in. Its wires are W1 (at point 1) and so on, its resistors R1, R2; so
    sim:?fault=open%20W3 with --shorted, or sim:?fault=short%20POINT:1%20POINT:2, shows a test that fails.

    Exit codes: 0 passed, 3 failed.
    """
    from loomproof.cli.output import drawn
    from loomproof.jobs import bench_tests
    from loomproof.screens.terminal_operator import TerminalOperator

    kept = drawn(
        bench_tests.selftest(
            address,
            TerminalOperator(made_safe),
            loom_path=on_it,
            adapter=bench_tests.read_adapter(table) if table is not None else None,
            shorted=shorted,
            references=[bench_tests.reference_of(text) for text in resistors],
            archive=archive,
        )
    )
    show_checks(kept.checks)
    return 0 if kept.passed else 3


@bench.command("health", short_help="Chart what self-tests and zeros read over time.")
@click.argument("name", default="")
@day_option("--from", "since", help="Only readings of this day and later: after the bench was mended.")
@plot_option
@archive_option
def health(name: str, since: tuple[date, date] | None, plot: Path | None, archive: Archive) -> int:
    """Chart what the self-tests and zeros of each bench read, or of those with NAME in theirs.

    Exit codes: 0 steady, 3 an alarm.
    """
    from loomproof.cli.output import found
    from loomproof.jobs.bench_health import bench_health
    from loomproof.screens.bench_health import show_health

    health = bench_health(archive, name, since[0] if since else None)
    if plot is not None:
        health.plot(plot)
    code = found(3 if health.told else 0)
    show_health(health, how)
    return code


@bench.command("study", short_help="Split the spread of readings into bench, operator and part.")
@click.argument("table", metavar="FILE", type=PATH)
@click.option("--bench", "address", metavar="ADDRESS", help="Read each --resistor there, add it to FILE.")
@click.option("--operator", "who", default="", metavar="NAME", help="Who plugged and reads.")
@click.option("--resistor", "resistors", multiple=True, metavar="A,B,OHM", help="A part of the study.")
@made_safe_option
def study(table: Path, address: str, who: str, resistors: tuple[str, ...], made_safe: bool) -> None:
    """Study repeatability and reproducibility: each operator reads each part alike often, FILE keeps it.

    With --bench all parts are read once and added to FILE (unplug and plug again before each time). Without,
    FILE (columns operator, part, ohm) is analysed.
    """
    from loomproof.cli.output import drawn
    from loomproof.jobs import bench_study, bench_tests
    from loomproof.screens.bench_health import show_study
    from loomproof.screens.terminal_operator import TerminalOperator

    if address:
        parts = [bench_tests.reference_of(text) for text in resistors]
        click.echo(drawn(bench_study.take(table, who, parts, address, TerminalOperator(made_safe))))
    else:
        show_study(bench_study.read(table))


@bench.command("flash", short_help="Write the reference scanner's program to a board.")
@click.option("--port", metavar="PORT", help="The board's serial port; without it, the only one there is.")
@click.option(
    "--kind", type=click.Choice(["pins", "ohms", "expanders"]), default="pins", show_default=True,
    help="What is built: points on the board's pins, these with converter and multiplexers, or expanders.",
)  # fmt: skip
@click.option("--yes", is_flag=True, help="Nothing is on the points: write without asking.")
@archive_option
def flash(port: str | None, kind: str, yes: bool, archive: Archive) -> int:
    """Write the program of the reference scanner to an ATmega2560 board, then ask and test it.

    The board is one as firmware_notes/reference_scanner describes it, of one kind or another. It is written
    over its own USB by avrdude, which must be installed. Nothing may be plugged on its points, neither loom
    nor adapter.

    Exit codes: 0 written and its self-test passed, 2 refused, 3 failed.
    """
    from loomproof.cli.output import drawn
    from loomproof.jobs import bench_tests, flashing
    from loomproof.screens.terminal_operator import TerminalOperator, confirmed

    board = flashing.choose(port)
    click.echo(f"{board.name}: {board.description}")
    if missing := flashing.command_without_programmer(board.name, kind):
        click.echo("This would write it:", err=True)
        click.echo(missing, err=True)  # as it is typed: never folded
        flashing.flash(board.name, kind)
    if not (
        yes or confirmed("Write the scanner's program to it, whatever it holds now, nothing on its points?")
    ):
        raise UsageError("nothing was written", cure="Confirm, or give --yes.")
    flashing.flash(board.name, kind)
    click.echo("Written and read back.")
    kept = drawn(
        bench_tests.selftest(f"serial:{board.name}", TerminalOperator(made_safe=True), archive=archive)
    )
    show_checks(kept.checks)
    return 0 if kept.passed else 3
