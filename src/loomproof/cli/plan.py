"""``plan``: what a proof will ask, before anything is plugged, and how to hook up a loom that is too big."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.cli.options import adapter_option, hook_up_options, loom_argument
from loomproof.cli.output import found, write_json
from loomproof.errors import UsageError
from loomproof.screens.printing import line, patience, table, terminal

if TYPE_CHECKING:
    from rich.console import Console

    from loomproof.jobs.plan import BenchToPlanFor, Constraints, HookUpPlan, NotPossibleError, PlannedProof
    from loomproof.loom.model import Loom


@click.command()
@loom_argument
@click.option("--bench", "address", metavar="ADDRESS", help="Ask this bench what it can do; drives nothing.")
@click.option("--points", type=click.IntRange(1, 4096), metavar="N", help="Plan for a scanner of N points.")
@adapter_option
@hook_up_options
@click.option("--json", "json_file", metavar="FILE", help="Write the plan there as well; - is stdout.")
def plan(
    loom: Path,
    address: str | None,
    points: int | None,
    adapter: str | None,
    limits: Constraints,
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
        return _show_hook_ups(described, bench.able.points, limits, json_file)
    for option, given in (
        ("--split", limits.split),
        ("--stay", limits.stay),
        ("--owned", limits.owned),
        ("--plugs", limits.plugs),
    ):
        if given:
            raise UsageError(f"{option}: the whole loom goes on {bench.able.points} points at once")
    made = planning.proof(described, bench, adapter)
    _show_plan(_written(json_file, made.saved.plain), made, bench)
    return 0


def _written(json_file: str | None, plain: Callable[[], object]) -> Console:
    """Write a plan where that is asked for; return where the words go, which is not among the JSON."""
    if json_file:
        write_json(json_file, (json.dumps(plain(), indent=2, ensure_ascii=False) + "\n").encode())
    found(0)
    return terminal(err=json_file == "-")


def _show_plan(console: Console, planned: PlannedProof, bench: BenchToPlanFor) -> None:
    from loomproof.cli.cures import how
    from loomproof.reports.words import plural
    from loomproof.results.figures import ohms

    def say(text: str, head: str = "") -> None:
        line(text, head, on=console)

    made, able = planned.plan, bench.able
    if made.by_beep:
        _show_sweeps(console, planned, able.clips)
    asked = (
        *(() if made.by_beep else (plural(len(made.vectors), "sense vector"),)),
        plural(len(made.conductors), "conductor reading"),
        plural(len(made.parts), "component reading"),
    )
    cavities = plural(made.scope.points.bit_count(), "cavity", "cavities")
    say(f"{cavities} in {plural(len(made.scope.groups), 'net')}: {', '.join(asked)}.")
    if made.vectors:
        heads = ("vector", "drives points", "low", "high", "either")
        table(heads, planned.vectors, figures=heads, on=console)
        if able.clear_ohm is not None and able.sense_ohm is not None:
            apart = (
                f"{ohms(able.sense_ohm)} divided by the cavities of the smaller net and of those that parts "
                "join to it."
            )
            if able.driver_ohm:
                least_ohm = made.scope.least_apart_ohm(able)
                apart = (
                    f"{'nothing' if least_ohm is None else ohms(least_ohm)} for the two largest nets and "
                    f"more for others, with {ohms(able.driver_ohm)} in series with each driver taken off."
                )
            say(f"By sense alone: continuity below {ohms(able.clear_ohm)}, isolation above {apart}")
    if made.conductors or made.parts:
        table(("from", "to", "reads", "limit", "wires"), planned.readings, on=console)
    for text in planned.isolation:
        say(text)
    for what, names in (
        ("Wires whose open no reading shows", made.hidden),
        ("Components that are not measured", made.unmeasured_parts),
        ("Cavities without a point", tuple(map(str, made.scope.untested))),
    ):
        if names:
            say(f"{what}: {', '.join(names)}.")
    reached, advice = planned.reached
    say(reached)
    for each in advice:
        say(" ".join(filter(None, ("For more:", each.text, how(each.do)))), "  ")
    for warning in planned.warnings:
        say(f"Not tested: {warning.message}", "  ")


def _show_sweeps(console: Console, planned: PlannedProof, clips: int) -> None:
    from loomproof.jobs.plan_by_hand import effort, sweeps

    heads = ("question", "black on", "red over", "should", "touches")
    table(heads, sweeps(planned.plan, clips), figures=("question", "touches"), on=console)
    for said in effort(planned.plan, clips):
        console.print(said, soft_wrap=True)


def _show_hook_ups(loom: Loom, points: int, limits: Constraints, json_file: str | None) -> int:
    from loomproof.jobs.plan import hook_ups_or_split
    from loomproof.planning.hookup_plan import hook_ups_plain

    asked = f"with the leads of {', '.join(limits.split)} split " if limits.split else ""

    def told(error: NotPossibleError) -> None:
        line(f"Not possible {asked}as it was asked: {error.message}.", err=True)

    with patience("still looking for the fewest hook-ups …"):
        made, bound, refused = hook_ups_or_split(loom, points, limits, told)
    console = _written(json_file, lambda: hook_ups_plain(made))
    if refused is not None:
        more = ", ".join(name for name in bound.split if name not in limits.split)
        line(
            f"What was asked is not possible. This is another plan: the leads of {more} are split in groups"
            f"{' as well' if limits.split else ''}, which was not asked.",
            on=console,
        )
    code = found(0 if refused is None else 2)
    print_hook_ups(console, made)
    return code


def print_hook_ups(console: Console, made: HookUpPlan) -> None:
    """Show hook-ups as a person carries them out."""
    from loomproof.jobs.hookups import plugging

    proved = "No plan has fewer" if made.optimal else f"No plan has fewer than {made.bound}"
    line(
        f"{len(made.hook_ups)} hook-ups on {made.points} points, {made.plug_ins} plugs put on in all. "
        f"{proved} with these plugs and groups of leads ({made.by}).",
        on=console,
    )
    for number, hook_up in enumerate(made.hook_ups, start=1):
        console.print(f"\nHook-up {number} of {len(made.hook_ups)}, {len(hook_up.point_of)} points")
        for text in plugging(hook_up):
            line(text, "  ", on=console)
