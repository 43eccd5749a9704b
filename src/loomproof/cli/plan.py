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

    from loomproof.bench.adapter import Adapter
    from loomproof.bench.seam import Capabilities
    from loomproof.electrics.expectation import Expectation
    from loomproof.loom.model import Loom
    from loomproof.planning.hookup_plan import HookUpPlan
    from loomproof.planning.hookup_search import Constraints
    from loomproof.planning.plan import Meter, Plan


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
    from loomproof.electrics.expectation import ROOM_TEMPERATURE_C, expect
    from loomproof.loom.reading import load
    from loomproof.planning.hookup_search import Constraints

    if address and points:
        raise UsageError("--bench and --points exclude each other", cure="A bench says how many it has.")
    described = load(loom).loom
    able, temperature_c, simulated = _capabilities(address, points, described, loom)
    expectation = expect(described, ROOM_TEMPERATURE_C if temperature_c is None else temperature_c)
    if len(described.cavities) > able.points and adapter is None:
        limits = Constraints(split, stay, housings_of(owned))
        return _show_hook_ups(described, expectation, able.points, limits, json_file)
    for option, given in (("--split", split), ("--stay", stay), ("--owned", owned)):
        if given:
            raise UsageError(f"{option}: the whole loom goes on {able.points} points at once")
    from loomproof.measuring.preparing import meter_of

    leads = _adapter(described, adapter)
    measured = temperature_c is not None
    meter = meter_of(able, leads, measured_temperature=measured, simulated=simulated)
    return _show_plan(described, expectation, able, leads, meter, json_file)


def housings_of(texts: tuple[str, ...]) -> Mapping[str, int]:
    """Read ``HOUSING=N`` options."""
    found = {}
    for text in texts:
        housing, _, count = text.rpartition("=")
        if not (housing and count.isascii() and count.isdigit()):
            raise UsageError(f"--owned {text!r}: HOUSING=N is expected, like IJ2=3")
        found[housing] = int(count)
    return found


def _capabilities(
    address: str | None, points: int | None, loom: Loom, path: Path
) -> tuple[Capabilities, float | None, bool]:
    """Return what the bench can do, its temperature as a proof would ask, and whether it is simulated."""
    from loomproof.bench.opening import open_bench
    from loomproof.bench.seam import Capabilities
    from loomproof.measuring.plausibility import temperature_of

    if address is None:
        return Capabilities(points or max(1, len(loom.cavities))), None, False
    with open_bench(address, loom_path=path) as bench:
        return bench.capabilities(), temperature_of(bench), bench.opening.simulated


def _adapter(loom: Loom, adapter: str | None) -> Adapter:
    from loomproof.bench.adapter import in_order, read_adapter

    return in_order(loom.cavities) if adapter in (None, "in-order") else read_adapter(Path(str(adapter)))


def _console(json_file: str | None) -> Console:
    from rich.console import Console

    return Console(stderr=json_file == "-", highlight=False)


def _write(json_file: str | None, value: object) -> None:
    from loomproof.cli.prove import write_json

    if json_file:
        write_json(json_file, (json.dumps(value, indent=2, ensure_ascii=False) + "\n").encode())


def _show_plan(
    loom: Loom,
    expectation: Expectation,
    able: Capabilities,
    adapter: Adapter,
    meter: Meter | None,
    json_file: str | None,
) -> int:
    from loomproof.bench.adapter import check_adapter
    from loomproof.planning.plan import plan_proof
    from loomproof.planning.plan_json import SavedPlan

    warnings = check_adapter(adapter, loom.cavities, able.points)
    made = plan_proof(expectation, adapter.point_of, able, meter, isolation_ohm=loom.settings.isolation_ohm)
    _write(json_file, SavedPlan(made, loom.name, loom.digest, adapter.digest).plain())
    console = _console(json_file)
    _print_plan(console, made, able)
    for line in _reached(made):
        console.print(line, soft_wrap=True)
    for warning in warnings:
        console.print(f"  Not tested: {warning.message}", soft_wrap=True)
    return 0


def _print_plan(console: Console, made: Plan, able: Capabilities) -> None:
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
        if able.clear_ohm is not None and able.sense_ohm is not None:
            console.print(
                f"By sense alone: continuity below {ohms(able.clear_ohm)}, isolation above "
                f"{ohms(able.sense_ohm)} divided by the cavities of the smaller net and of those that parts "
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
        yield from (f"  For more: {line}" for line in reach.advice)


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


def _show_hook_ups(
    loom: Loom, expectation: Expectation, points: int, limits: Constraints, json_file: str | None
) -> int:
    from dataclasses import replace

    from loomproof.planning.hookup_plan import hook_ups_plain
    from loomproof.planning.hookup_search import NotPossibleError, plan_hook_ups

    nets = [net.cavities for net in expectation.nets]
    console = _console(json_file)
    try:
        made = plan_hook_ups(loom, nets, points, limits)
    except NotPossibleError as error:
        if not error.connector or error.connector in limits.split:
            raise
        freed = replace(limits, split=(*limits.split, error.connector))
        try:
            made = plan_hook_ups(loom, nets, points, freed)
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


def runs(points: list[int]) -> str:
    """Return points as runs (``1-32 40``), in the order of the cavities."""
    found: list[list[int]] = []
    for point in points:
        if found and found[-1][-1] == point - 1:
            found[-1].append(point)
        else:
            found.append([point])
    return " ".join(f"{run[0]}-{run[-1]}" if len(run) > 1 else str(run[0]) for run in found)
