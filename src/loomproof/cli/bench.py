"""``adapter`` and ``bench``: make, check and learn adapters; zero leads; test the bench itself."""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.errors import AdapterError, UsageError, suggestion

if TYPE_CHECKING:
    from loomproof.bench.seam import Bench
    from loomproof.bench.selfcheck import Check
    from loomproof.bench.selftest import Reference

SELFTESTS = "selftests.jsonl"
"""The file of self-tests, in the folder of a person's data."""

_address = click.option("--bench", "address", required=True, metavar="ADDRESS", help="As for prove.")
_simulated = click.option(
    "--loom",
    "on_it",
    type=click.Path(path_type=Path),
    metavar="LOOM",
    help="A loom to put on a sim: bench; without it, just what the test wants.",
)


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
    _known(only, [end.connector for end in cavities], "the loom")
    if target.exists():
        raise UsageError(f"{target} is there already", cure="Give another name, or take it away first.")
    made = in_order([end for end in cavities if not only or end.connector in only], target.stem)
    write_adapter(made, target)
    click.echo(f"{target}: {len(made.entries)} leads. Change the points to how your leads go.")


@adapter.command("check", short_help="Check an adapter table against a loom and a bench.")
@click.argument("table", type=click.Path(path_type=Path))
@click.argument("loom", type=click.Path(path_type=Path))
@click.option("--bench", "address", metavar="ADDRESS", help="Check against this bench's points too.")
def check(table: Path, loom: Path, address: str | None) -> int:
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
    problems = problems_of(found, cavities, points)
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
@_address
@click.option("--to", "target", type=click.Path(path_type=Path), metavar="FILE", help="Learn: write there.")
@click.option("--adapter", "table", type=click.Path(path_type=Path), metavar="FILE", help="Name the net.")
@click.option(
    "--wait",
    "wait_s",
    type=click.FloatRange(0, 600),
    default=60.0,
    show_default=True,
    metavar="SECONDS",
    help="How long to wait for each touch.",
)
def touch(loom: Path, address: str, target: Path | None, table: Path | None, wait_s: float) -> None:
    """Find contacts with a probe joined to the scanner's 0 V through its resistor.

    Never to mains earth. With --to the adapter's free ends are touched in the loom's order, no loom on,
    and the table is written. With --adapter, the loom on, each touch names its net.
    """
    from loomproof.bench.adapter import Adapter, Lead, read_adapter, write_adapter
    from loomproof.bench.address import is_simulated, parse_address
    from loomproof.bench.opening import open_bench
    from loomproof.bench.seam import points_of
    from loomproof.bench.touching import net_touched
    from loomproof.loom.reading import load

    if (target is None) == (table is None):
        raise UsageError("give --to FILE to learn an adapter, or --adapter FILE to name nets")
    if target is not None and target.exists():
        raise UsageError(f"{target} is there already", cure="Give another name, or take it away first.")
    if is_simulated(parse_address(address)):
        raise UsageError(
            "nobody can touch anything on a sim: bench",
            cure="Run loomproof simulate LOOM, give the address that it prints, and type touch CAVITY to it.",
        )
    cavities = load(loom).loom.cavities
    known = read_adapter(table) if table is not None else None
    with open_bench(address, loom_path=loom) as bench:
        if known is not None:
            while (low := _next_touch(bench, wait_s)) is not None:
                reached = ", ".join(map(str, net_touched(low, known.end_of))) or "no lead of the adapter"
                click.echo(f"point {', '.join(map(str, points_of(low)))}: {reached}")
            return
        leads: list[Lead] = []
        for end in cavities:
            click.echo(f"Touch {end} …", err=True)
            low = _next_touch(bench, wait_s)
            if low is None:
                click.echo(f"  {end}: not touched, left out", err=True)
                continue
            points = points_of(low)
            if len(points) != 1 or any(lead.point == points[0] for lead in leads):
                raise AdapterError(
                    f"{end}: touching it reaches point {', '.join(map(str, points))}; one new point was "
                    "expected",
                    cure="Take the loom off, and touch one end at a time.",
                )
            leads.append(Lead(points[0], end))
            click.echo(f"{end}: point {points[0]}")
    if not leads:
        raise AdapterError("nothing was touched; no table was written")
    assert target is not None
    write_adapter(Adapter(target.stem, tuple(sorted(leads, key=lambda lead: lead.point))), target)


def _next_touch(reader: Bench, wait_s: float) -> int | None:
    from loomproof.bench.touching import touches

    until = time.monotonic() + wait_s
    for low in touches(reader, 0):
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


@click.group()
def bench() -> None:
    """Test the bench itself, and learn its leads.

    A bench ADDRESS is serial:/dev/ttyACM0, tcp:HOST:PORT, visa:RESOURCE for a scanner, or sim: for a
    simulator. A switch matrix with a meter is visa:RESOURCE?profile=NAME, or a FILE of your own, with
    &meter=RESOURCE where the meter is a separate instrument; loomproof bench profiles lists the names.
    """


@bench.command("profiles", short_help="List instrument profiles, or print one.")
@click.argument("name", required=False)
def profiles(name: str | None) -> None:
    """List the shipped profiles of a switch matrix and a meter, or print one by its NAME.

    Save one to a file, change it to what stands on your bench, and give visa:RESOURCE?profile=FILE.
    """
    from loomproof.bench.profile import read_profile, shipped, shipped_text

    if name is not None:
        click.echo(shipped_text(name), nl=False)
        return
    for each in shipped():
        found = read_profile(each)
        wires = "two and four wires" if found.measure_four else "two wires"
        click.echo(f"{each}: {found.points} points, {wires}")


@bench.command("zero", short_help="Learn lead resistance with a shorting plug.")
@_address
@_simulated
@click.option(
    "--adapter",
    "table",
    type=click.Path(path_type=Path),
    required=True,
    metavar="FILE",
    help="The table that the leads are written into.",
)
@click.option("--connector", "only", multiple=True, metavar="CONNECTOR", help="What the plug joins.")
@click.option(
    "--repeats",
    type=click.IntRange(2, 100),
    default=5,
    show_default=True,
    help="How often each pair is read.",
)
def zero(address: str, on_it: Path | None, table: Path, only: tuple[str, ...], repeats: int) -> None:
    """Learn lead resistance with a shorting plug over the adapter's ends, and write it into the table."""
    from loomproof.bench.adapter import read_adapter, write_adapter
    from loomproof.bench.opening import open_bench
    from loomproof.bench.zero import learn_leads, zeroed
    from loomproof.cli.plugged import plugged_in

    found = read_adapter(table)
    _known(only, [lead.end.connector for lead in found.entries], f"the adapter {table}")
    points = [lead.point for lead in found.entries if not only or lead.end.connector in only]
    names = {lead.point: str(lead.end) for lead in found.entries}
    with (
        plugged_in(address, on_it, found, shorted=points) as (where, loom),
        open_bench(where, loom_path=loom) as opened,
    ):
        leads = learn_leads(opened, points, repeats, names)
    write_adapter(zeroed(found, leads, f"{datetime.now(UTC):%Y-%m-%d}"), table)
    ohms = [lead.ohm for lead in leads.values()]
    spread = max(lead.u_ohm for lead in leads.values())
    click.echo(
        f"{table}: {len(leads)} leads from {min(ohms):.3g} to {max(ohms):.3g} ohm, "
        f"uncertainty {spread:.2g} ohm (k = 2)."
    )


@bench.command("selftest", short_help="Test the bench itself and keep the dated result.")
@_address
@_simulated
@click.option("--adapter", "table", type=click.Path(path_type=Path), metavar="FILE", help="What is plugged.")
@click.option("--shorted", is_flag=True, help="A shorting plug joins the ends of --adapter.")
@click.option("--resistor", "resistors", multiple=True, metavar="A,B,OHM", help="A reference at two points.")
def selftest(
    address: str, on_it: Path | None, table: Path | None, shorted: bool, resistors: tuple[str, ...]
) -> int:
    """Test the bench with nothing plugged, a shorting plug, or reference resistors; keep it dated.

    A sim: bench has just that plugged in. Its wires are W1 (at point 1) and so on, its resistors R1, R2; so
    sim:?fault=open%20W3 with --shorted, or sim:?fault=short%20POINT:1%20POINT:2, shows a test that fails.

    Exit codes: 0 passed, 3 failed.
    """
    from loomproof.bench import selftest as tests
    from loomproof.bench.adapter import read_adapter
    from loomproof.bench.opening import open_bench
    from loomproof.cli.plugged import plugged_in
    from loomproof.records.home import home

    if shorted and table is None:
        raise UsageError("--shorted goes with --adapter: which points does the plug join?")
    if shorted and resistors:
        raise UsageError("--shorted and --resistor are two hook-ups; test one after the other")
    found = read_adapter(table) if table is not None else None
    references = [_reference(text) for text in resistors]
    checks: list[Check] = []
    spread: float | None = None
    plug = found.points if shorted and found is not None else ()
    with (
        plugged_in(address, on_it, found, shorted=plug, references=references) as (where, loom),
        open_bench(where, loom_path=loom) as opened,
    ):
        who = opened.identify()
        if shorted and found is not None:
            checks.append(tests.try_shorted(opened, found.points))
            pair = found.points[:2]
        elif references:
            leads = {} if found is None else {lead.point: lead.lead_ohm for lead in found.entries}
            checks.append(tests.try_references(opened, references, leads))
            pair = (references[0].a, references[0].b)
        else:
            checks += tests.try_empty(opened)
            pair = ()
        if pair and opened.capabilities().ohms is not None:
            repeated, spread = tests.repeatability(opened, *pair)
            checks.append(repeated)
    plugged = "shorting plug" if shorted else "reference resistors" if references else "nothing"
    date = datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
    wiring = "" if found is None else found.wiring
    kept = tests.SelfTest(who.maker, who.model, who.serial, date, plugged, tuple(checks), spread, wiring)
    tests.keep(kept, home() / SELFTESTS)
    show(checks)
    return 0 if kept.passed else 3


def show(checks: Sequence[Check]) -> None:
    """Print checks, one a line."""
    for each in checks:
        click.echo(f"{'passed' if each.passed else 'FAILED'}  {each.name}: {each.text}")
    sys.stdout.flush()


def _known(wanted: Sequence[str], connectors: Sequence[str], whose: str) -> None:
    """Refuse a ``--connector`` that is none of these, with the nearest name or all of them."""
    names = list(dict.fromkeys(connectors))
    for name in wanted:
        if name not in names:
            raise UsageError(
                f"--connector {name}: {whose} has no connector of that name",
                cure=suggestion(name, names) or f"Connectors: {', '.join(names)}.",
            )


def _reference(text: str) -> Reference:
    from loomproof.bench.selftest import Reference

    try:
        a, b, ohm = text.split(",")
        found = Reference(int(a), int(b), float(ohm))
        if not math.isfinite(found.ohm):
            raise ValueError
    except ValueError:
        raise UsageError(f"--resistor {text!r}: write two points and ohms, as 1,2,100") from None
    if found.a < 1 or found.b < 1 or found.a == found.b or not found.ohm > 0:
        raise UsageError(f"--resistor {text!r}: two different points from 1 on, and ohms above zero")
    return found
