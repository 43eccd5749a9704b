"""``plan``: what a proof will ask, before anything is plugged, and how to hook up a loom that is too big."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.errors import UsageError

if TYPE_CHECKING:
    from rich.console import Console

    from loomproof.loom.model import Loom
    from loomproof.planning.hookup_plan import HookUpPlan
    from loomproof.planning.hookup_search import Constraints
    from loomproof.planning.plan import Plan


@click.command()
@click.argument("loom", type=click.Path(path_type=Path))
@click.option("--bench", "address", metavar="ADDRESS", help="Ask this bench what it can do; drives nothing.")
@click.option("--points", type=click.IntRange(1, 4096), metavar="N", help="Plan for a scanner of N points.")
@click.option("--adapter", metavar="FILE|in-order", help="Which point goes to which cavity.")
@click.option("--split", multiple=True, metavar="CONNECTOR", help="Its leads may go to points in groups.")
@click.option("--stay", multiple=True, metavar="CONNECTOR", help="It stays plugged all the time.")
@click.option("--owned", multiple=True, metavar="HOUSING=N", help="So many adapter plugs of it are there.")
@click.option("--json", "json_file", metavar="FILE", help="Write the plan there as well; - is stdout.")
def plan(
    loom: Path,
    address: str | None,
    points: int | None,
    adapter: str | None,
    split: tuple[str, ...],
    stay: tuple[str, ...],
    owned: tuple[str, ...],
    json_file: str | None,
) -> int:
    """Show what a proof of LOOM will ask, what it will claim, and what it will not test.

    For a loom with more cavities than points: which connectors to plug, in which order.
    """
    from loomproof.jobs import plan as planning
    from loomproof.loom.reading import load

    if address and points:
        raise UsageError("--bench and --points exclude each other", cure="A bench says how many it has.")
    described = load(loom).loom
    bench = planning.bench_at(address, described, loom_path=loom, points=points)
    if len(described.cavities) > bench.able.points and adapter is None:
        limits = planning.Constraints(split, stay, housings_of(owned))
        return _show_hook_ups(described, bench.able.points, limits, json_file)
    for option, given in (("--split", split), ("--stay", stay), ("--owned", owned)):
        if given:
            raise UsageError(f"{option}: the whole loom goes on {bench.able.points} points at once")
    made = planning.proof(described, bench, adapter)
    _write(json_file, made.saved.plain())
    console = _console(json_file)
    _print_plan(console, made.plan, bench.able.clear_ohm, bench.able.sense_ohm)
    for line in _reached(made.plan):
        console.print(line, soft_wrap=True)
    for warning in made.warnings:
        console.print(f"  Not tested: {warning.message}", soft_wrap=True)
    return 0


def housings_of(texts: tuple[str, ...]) -> Mapping[str, int]:
    """Read ``HOUSING=N`` options."""
    found = {}
    for text in texts:
        housing, _, count = text.rpartition("=")
        if not (housing and count.isascii() and count.isdigit()):
            raise UsageError(f"--owned {text!r}: HOUSING=N is expected, like IJ2=3")
        found[housing] = int(count)
    return found


def _console(json_file: str | None) -> Console:
    from rich.console import Console

    return Console(stderr=json_file == "-", highlight=False)


def _write(json_file: str | None, value: object) -> None:
    from loomproof.cli.output import write_json

    if json_file:
        write_json(json_file, (json.dumps(value, indent=2, ensure_ascii=False) + "\n").encode())


def _print_plan(console: Console, made: Plan, clear_ohm: float | None, sense_ohm: float | None) -> None:
    from rich.table import Table

    from loomproof.reports.words import plural
    from loomproof.results.figures import ohms

    asked = [
        plural(len(made.vectors), "sense vector"),
        plural(len(made.conductors), "conductor reading"),
        plural(len(made.parts), "component reading"),
    ]
    cavities = plural(made.scope.points.bit_count(), "cavity", "cavities")
    console.print(f"{cavities} in {plural(len(made.scope.groups), 'net')}: {', '.join(asked)}.")
    if made.vectors:
        table = Table("vector", "drives points", "low", "high", "either", box=None, pad_edge=False)
        everyone = made.scope.points
        for number, vector in enumerate(made.vectors):
            either = everyone & ~vector.must_low & ~vector.must_high
            table.add_row(
                str(number),
                f"{vector.drive.bit_count()}",
                *(str(mask.bit_count()) for mask in (vector.must_low, vector.must_high, either)),
            )
        console.print(table)
        if clear_ohm is not None and sense_ohm is not None:
            console.print(
                f"By sense alone: continuity below {ohms(clear_ohm)}, isolation above "
                f"{ohms(sense_ohm)} divided by the cavities of the smaller net and of those that parts "
                "join to it.",
                soft_wrap=True,
            )
    if made.conductors or made.parts:
        table = Table("from", "to", "reads", "limit", "wires", box=None, pad_edge=False)
        for reading in made.conductors:
            wider = "" if reading.decided else f", shown under {reading.shown_ohm:.3f} ohm"
            table.add_row(
                str(reading.a),
                str(reading.b),
                f"{reading.expected_ohm:.3f} ohm",
                f"{reading.limit_ohm:.3f} ohm{wider}",
                " ".join(reading.seen),
            )
        for part in made.parts:
            low, high = f"{part.lower_ohm:.4g}", f"{part.upper_ohm:.4g}"
            limits = "one way only" if part.part.forward_v else f"{low} to {high} ohm"
            table.add_row(str(part.part.a), str(part.part.b), part.part.component, limits, "")
        console.print(table)
    for line in _asked_in_ohms(made):
        console.print(line, soft_wrap=True)
    for what, names in (
        ("Wires whose open no reading shows", made.hidden),
        ("Components that are not measured", made.unmeasured_parts),
        ("Cavities without a point", tuple(map(str, made.scope.untested))),
    ):
        if names:
            console.print(f"{what}: {', '.join(names)}.", soft_wrap=True)


def _reached(made: Plan) -> Iterator[str]:
    """Say which grade a sound loom reaches on this bench, and what would reach the next."""
    from loomproof.cli.cures import how
    from loomproof.planning.reach import reach_of
    from loomproof.results.figures import ohms
    from loomproof.results.grade import Grade

    reach = reach_of(made)
    said = ""
    if reach.total:
        said = f": {reach.decided} of {reach.total} limits are decided for every sound joint and part"
        if reach.decided < reach.total:
            said += f", each sound joint is shown to be under {ohms(reach.shown_ohm)}"
    yield f"A sound loom reaches grade {reach.grade} on this bench{said}."
    if reach.grade is not Grade.WIRE:
        for line in reach.advice:
            yield " ".join(filter(None, ("  For more:", line.text, how(line.do))))


def _asked_in_ohms(made: Plan) -> Iterator[str]:
    """Say what is read between conductors, and what this bench can't be asked."""
    from loomproof.reports.words import plural
    from loomproof.results.figures import ohms

    if made.meter is None:
        yield (
            "This bench has no ohms. Not asked: resistance of wires and joints, values of parts, isolation "
            "above the sense thresholds. A short, a part and a leak read alike."
        )
        return
    if not made.vectors:
        yield (
            "This bench has no sense: which cavities are one conductor is told by ohms alone. Not asked: "
            "contacts that come and go, and whether readings stay the same."
        )
    both = "" if made.vectors else ", with the current both ways round"
    readings = plural(made.isolation_readings, "reading")
    if made.isolation_ohm is not None:
        yield f"Isolation: every conductor above {ohms(made.isolation_ohm)}, {readings} in all{both}."
    else:
        yield "Isolation is not measured in ohms: this meter does not reach it."
    controls = plural(made.control_readings, "reading")
    yield f"Controls: up to {controls} of pairs that are known by then, to see that the meter reads them so."


def _show_hook_ups(loom: Loom, points: int, limits: Constraints, json_file: str | None) -> int:
    from dataclasses import replace

    from loomproof.jobs import plan as planning
    from loomproof.planning.hookup_plan import hook_ups_plain
    from loomproof.planning.hookup_search import NotPossibleError

    console = _console(json_file)
    try:
        made = planning.hook_ups(loom, points, limits)
    except NotPossibleError as error:
        if not error.connector or error.connector in limits.split:
            raise
        freed = replace(limits, split=(*limits.split, error.connector))
        try:
            made = planning.hook_ups(loom, points, freed)
        except NotPossibleError:
            raise error from None
        click.echo(f"Not possible: {error.message}.", err=True)
        console.print(f"With the leads of {', '.join(freed.split)} split in groups it is:", soft_wrap=True)
        _write(json_file, hook_ups_plain(made))
        print_hook_ups(console, made)
        return 2
    _write(json_file, hook_ups_plain(made))
    print_hook_ups(console, made)
    return 0


def print_hook_ups(console: Console, made: HookUpPlan) -> None:
    """Show hook-ups as a person carries them out."""
    from rich.table import Table

    from loomproof.jobs.hookups import runs

    proved = "no plan has fewer" if made.optimal else f"no plan has fewer than {made.bound}"
    console.print(
        f"{len(made.hook_ups)} hook-ups on {made.points} points, {made.plug_ins} plugs put on in all. "
        f"{proved[0].upper()}{proved[1:]} with these plugs and groups of leads ({made.by}).",
        soft_wrap=True,
    )
    for number, hook_up in enumerate(made.hook_ups, start=1):
        console.print(f"\nHook-up {number} of {len(made.hook_ups)}, {len(hook_up.point_of)} points")
        if hook_up.off:
            console.print(f"  take off: {', '.join(hook_up.off)}", soft_wrap=True)
        table = Table("", "plug", "points", box=None, pad_edge=False)
        for unit in hook_up.units:
            word = "put on" if unit.name in hook_up.new else "leave"
            table.add_row(f"  {word}", unit.name, runs([hook_up.point_of[end] for end in unit.ends]))
        console.print(table)
