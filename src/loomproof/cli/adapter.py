"""``adapter``: make, check and learn the table of which point goes to which cavity."""

from __future__ import annotations

import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.cli.options import (
    FiniteNumber,
    address_option,
    hazard_option,
    hazards_given,
    made_safe_option,
    refuse_strangers,
)
from loomproof.errors import AdapterError, UsageError

if TYPE_CHECKING:
    from loomproof.bench.seam import Bench
    from loomproof.loom.model import End
    from loomproof.measuring.clearance import Clearance


@click.group()
def adapter() -> None:
    """Make and check the table of which point goes to which cavity."""


@adapter.command("new", short_help="Write an adapter table for a loom.")
@click.argument("loom", type=click.Path(path_type=Path))
@click.option(
    "--to",
    "target",
    type=click.Path(path_type=Path),
    required=True,
    metavar="FILE",
    help="Where the table goes; never over another one.",
)
@click.option("--connector", "only", multiple=True, metavar="CONNECTOR", help="These connectors only.")
def new(loom: Path, target: Path, only: tuple[str, ...]) -> None:
    """Write an adapter table for LOOM: point 1 to its first cavity, and so on."""
    from loomproof.bench.adapter import in_order, write_adapter
    from loomproof.loom.reading import load

    cavities = load(loom).loom.cavities
    refuse_strangers(only, [end.connector for end in cavities], "the loom")
    if target.exists():
        raise UsageError(f"{target} is there already", cure="Give another name, or take it away first.")
    made = in_order([end for end in cavities if not only or end.connector in only], target.stem)
    write_adapter(made, target)
    click.echo(f"{target}: {len(made.entries)} leads. Change the points to how your leads go.")


@adapter.command("check", short_help="Check an adapter table against a loom and a bench.")
@click.argument("table", type=click.Path(path_type=Path))
@click.argument("loom", type=click.Path(path_type=Path))
@click.option("--bench", "address", metavar="ADDRESS", help="Check against this bench's points too.")
@click.option("--all", "everything", is_flag=True, help="Show what does not fit lead by lead, however much.")
def check(table: Path, loom: Path, address: str | None, everything: bool) -> int:
    """Check the adapter TABLE against LOOM, and against a bench."""
    from loomproof.bench.adapter import problems_of, read_adapter
    from loomproof.bench.opening import open_bench
    from loomproof.loom.reading import load
    from loomproof.reports.words import plural

    found = read_adapter(table)
    cavities = load(loom).loom.cavities
    points = max(found.points)
    if address is not None:
        with open_bench(address, loom_path=loom) as bench:
            points = bench.capabilities().points
    problems = problems_of(found, cavities, points, every=everything)
    for problem in problems:
        click.echo(f"{problem.severity}: {problem}")
    missing = sum(end not in found.point_of for end in cavities)
    click.echo(
        f"{table}: {plural(len(found.entries), 'lead')}, "
        f"{plural(missing, 'cavity', 'cavities')} without a point, zeroed {found.zeroed or 'never'}."
    )
    return 2 if any(problem.severity == "error" for problem in problems) else 0


@adapter.command("touch", short_help="Find contacts with a probe.")
@click.argument("loom", type=click.Path(path_type=Path))
@address_option
@click.option("--to", "target", type=click.Path(path_type=Path), metavar="FILE", help="Learn: write there.")
@click.option("--adapter", "table", type=click.Path(path_type=Path), metavar="FILE", help="Name the net.")
@click.option(
    "--wait",
    "wait_s",
    type=FiniteNumber(0, 600),
    default=60.0,
    show_default=True,
    metavar="SECONDS",
    help="How long to wait for each touch.",
)
@hazard_option
@made_safe_option
def touch(
    loom: Path,
    address: str,
    target: Path | None,
    table: Path | None,
    wait_s: float,
    hazards: tuple[str, ...],
    made_safe: bool,
) -> None:
    """Find contacts with a probe joined to the scanner's 0 V through its resistor.

    Never to mains earth. With --to the adapter's free ends are touched in the loom's order, no loom on,
    and the table is written. With --adapter, the loom on, each touch names its net.
    """
    from loomproof.bench.adapter import read_adapter
    from loomproof.bench.address import starts_simulator
    from loomproof.bench.opening import open_bench
    from loomproof.bench.seam import points_of
    from loomproof.cli.asking import Terminal
    from loomproof.cli.prove import caution, writable
    from loomproof.jobs import prove as proving
    from loomproof.loom.reading import load
    from loomproof.measuring.probe import net_touched
    from loomproof.planning.request import Request

    if (target is None) == (table is None):
        raise UsageError("give --to FILE to learn an adapter, or --adapter FILE to name nets")
    if target is not None and target.exists():
        raise UsageError(f"{target} is there already", cure="Give another name, or take it away first.")
    if target is not None:
        writable(str(target))
    if starts_simulator(address):
        raise UsageError(
            "nobody can touch anything on a sim: bench",
            cure="Run loomproof simulate LOOM, give the address that it prints, and type touch CAVITY to it.",
        )
    described = load(loom).loom
    known = read_adapter(table) if table is not None else None
    answers = hazards_given(hazards, described)
    with open_bench(address, loom_path=loom) as bench:
        if known is None:
            assert target is not None
            _learn(
                bench, proving.cleared_empty(bench, Terminal(made_safe)), described.cavities, target, wait_s
            )
            return
        # The loom is on: the sense current runs through whatever is joined to an end.
        caution()
        clearance = proving.cleared(
            Request(loom=described, adapter=known, run="", started=""),
            bench,
            proving.Assured(Terminal(made_safe), answers),
        )
        while (low := _next_touch(bench, clearance, wait_s)) is not None:
            reached = ", ".join(map(str, net_touched(low, known.end_of))) or "no lead of the adapter"
            click.echo(f"point {', '.join(map(str, points_of(low)))}: {reached}")


def _learn(bench: Bench, clearance: Clearance, ends: Sequence[End], target: Path, wait_s: float) -> None:
    """Have each end touched in turn, and write what was learned, whatever ends it."""
    from loomproof.bench.adapter import Adapter, Lead, write_adapter
    from loomproof.bench.seam import points_of
    from loomproof.reports.words import plural

    end_of: dict[int, End] = {}
    try:
        for end in ends:
            point = None
            while point is None:
                click.echo(f"Touch {end} …", err=True)
                low = _next_touch(bench, clearance, wait_s)
                if low is None:
                    click.echo(f"  {end}: not touched, left out", err=True)
                    break
                point, *more = points_of(low)
                if not more and point not in end_of:
                    end_of[point] = end
                    click.echo(f"{end}: point {point}")
                    continue
                said = (
                    f"touching it reaches point {', '.join(map(str, (point, *more)))}; one is expected"
                    if more
                    else f"point {point} is {end_of[point]} already"
                )
                click.echo(f"  {end}: {said}", err=True)
                if bench.sense([0])[0]:
                    raise AdapterError(
                        f"{end}: {said}, and it still reads low",
                        cure="Take the loom off, and touch one end at a time.",
                    )
                point = None
        if not end_of:
            raise AdapterError(
                "nothing was touched; no table was written",
                cure="Is the probe joined to the scanner's 0 V? --wait gives more time for each end.",
            )
    finally:
        if end_of:
            write_adapter(Adapter(target.stem, tuple(Lead(p, end_of[p]) for p in sorted(end_of))), target)
            click.echo(f"{target}: {len(end_of)} of {plural(len(ends), 'end')} learned.", err=True)


def _next_touch(reader: Bench, clearance: Clearance, wait_s: float) -> int | None:
    from loomproof.measuring.probe import touches

    until = time.monotonic() + wait_s
    for low in touches(reader, clearance, 0):
        if low:
            _lifted(reader, until)
            return low
        if time.monotonic() >= until:
            break
        time.sleep(0.02)
    return None


def _lifted(reader: Bench, until: float) -> None:
    while reader.sense([0])[0] and time.monotonic() < until:
        time.sleep(0.02)
