"""A plan on a screen: what a proof will ask, or how a big loom is hooked up."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from loomproof.screens.printing import line, table

if TYPE_CHECKING:
    from rich.console import Console

    from loomproof.jobs.plan import BenchToPlanFor, HookUpPlan, PlannedProof
    from loomproof.screens.notes import How


def show_plan(console: Console, planned: PlannedProof, bench: BenchToPlanFor, how: How) -> None:
    """Show what a proof will ask, claim, and not test; ``how`` says how advice is taken."""
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


def show_split(console: Console, more: Sequence[str], *, besides: bool) -> None:
    """Say that another plan is shown than was asked for, and which connectors' leads are split in it."""
    line(
        f"What was asked is not possible. This is another plan: the leads of {', '.join(more)} are split in "
        f"groups{' as well' if besides else ''}, which was not asked.",
        on=console,
    )


def show_hook_ups(console: Console, made: HookUpPlan) -> None:
    """Show hook-ups as a person carries them out."""
    from loomproof.jobs.plugging import plugging

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
