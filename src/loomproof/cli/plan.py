"""``plan``: what a proof will ask, before anything is plugged, and how to hook up a loom that is too big."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.cli.cures import how
from loomproof.cli.options import adapter_option, hook_up_options, loom_argument
from loomproof.cli.output import found
from loomproof.errors import UsageError
from loomproof.screens.plan import show_hook_ups, show_plan, show_split
from loomproof.screens.printing import line, patience, terminal
from loomproof.screens.streams import write_json

if TYPE_CHECKING:
    from rich.console import Console

    from loomproof.jobs.plan import Constraints, NotPossibleError
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
    for option in ("split", "stay", "owned", "plugs"):
        if getattr(limits, option):
            raise UsageError(f"--{option}: the whole loom goes on {bench.able.points} points at once")
    made = planning.proof(described, bench, adapter)
    show_plan(_written(json_file, made.saved.plain), made, bench, how)
    return 0


def _written(json_file: str | None, plain: Callable[[], object]) -> Console:
    """Write a plan where that is asked for; return where the words go, which is not among the JSON."""
    if json_file:
        write_json(json_file, (json.dumps(plain(), indent=2, ensure_ascii=False) + "\n").encode())
    found(0)
    return terminal(err=json_file == "-")


def _show_hook_ups(loom: Loom, points: int, limits: Constraints, json_file: str | None) -> int:
    from loomproof.jobs.plan import hook_ups_or_split
    from loomproof.planning.hookup_plan import hook_ups_plain

    asked = f"with the leads of {', '.join(limits.split)} split " if limits.split else ""

    def told(error: NotPossibleError) -> None:
        line(f"Not possible {asked}as it was asked: {error.message}.", err=True)

    with patience("still looking for the fewest hook-ups …"):
        made, bound, refused = hook_ups_or_split(loom, points, limits, told)
    console = _written(json_file, lambda: hook_ups_plain(made))
    code = found(0 if refused is None else 2)
    if refused is not None:
        more = tuple(name for name in bound.split if name not in limits.split)
        show_split(console, more, besides=bool(limits.split))
    show_hook_ups(console, made)
    return code
