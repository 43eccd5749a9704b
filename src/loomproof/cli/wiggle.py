"""``wiggle``: watch a loom while a person moves it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from loomproof.cli.kinds import PATH
from loomproof.cli.options import Clearing, adapter_option, bench_option, clearing_options, loom_argument
from loomproof.cli.output import found
from loomproof.errors import UsageError
from loomproof.screens.printing import line

LONGEST_S = 4 * 3600.0


class Duration(click.types.FloatParamType):
    """A time as people say it: ``90s``, ``5min``, ``1.5h``; a bare number is seconds."""

    name = "time"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return seconds, or fail as click's own kinds do."""
        if isinstance(value, float):
            return value
        said = re.fullmatch(r"(\d+(?:[.,]\d+)?)\s*(s|min|h)?", str(value).strip())
        if said is None:
            self.fail(f"{value!r} is no time; write 90s, 5min or 1h.", param, ctx)
        seconds = float(said[1].replace(",", ".")) * {"min": 60.0, "h": 3600.0}.get(said[2] or "s", 1.0)
        if not 1.0 <= seconds <= LONGEST_S:
            self.fail(f"{value!r} is not from 1s to 4h.", param, ctx)
        return seconds


@click.command()
@loom_argument
@bench_option()
@adapter_option
@click.option("--for", "seconds", type=Duration(), default="5min", show_default=True, help="How long.")
@click.option(
    "--place",
    "places",
    multiple=True,
    metavar="NAME=PARTS",
    help="What a digit stands for: plugs and wires that move together, by commas. Else each connector.",
)
@click.option("--picture", type=PATH, metavar="FILE", help="An .svg of what was seen, over time and place.")
@click.option("--json", "json_file", metavar="FILE", help="Write all its figures there too; - is stdout.")
@clearing_options
def wiggle(
    loom: Path,
    address: str,
    adapter: str | None,
    seconds: float,
    places: tuple[str, ...],
    picture: Path | None,
    json_file: str | None,
    clearing: Clearing,
) -> int:
    """Watch all nets of LOOM while you move it, and tell each break and touch at once.

    Press 1 to 9 for what you move now, 0 for nothing named: the wire or contact is found by it. Ctrl-C ends
    it, and what was seen is shown. Exit codes: 0 nothing was seen in the whole time, 1 something was, 3 part
    of the time was not watched and nothing was seen.
    """
    from loomproof.cli.cures import how
    from loomproof.jobs.files import ends_in
    from loomproof.jobs.job import Job
    from loomproof.jobs.wiggle import Hands, places_of
    from loomproof.loom.reading import load
    from loomproof.screens.streams import writable
    from loomproof.screens.wiggle import told_and_kept, watch

    writable(json_file)
    if picture is not None:
        ends_in(picture, ".svg")
    described = load(loom).loom
    hands = Hands(places_of(described, _given(places)))
    job = Job.in_workshop(
        described,
        address,
        clearing.operator(),
        loom_path=loom,
        adapter=adapter,
        assured=clearing.assured(described),
    )
    try:
        watch(job.wiggle(seconds, hands), hands, how)
    except BaseException:
        if job.wiggled is not None:
            line("Broken off. What was seen until then:", err=json_file == "-")
            told_and_kept(job.wiggled, described, picture, json_file)
        raise
    assert job.wiggled is not None
    code = found(1 if job.wiggled.troubles else 0 if job.wiggled.whole else 3)
    told_and_kept(job.wiggled, described, picture, json_file)
    return code


def _given(said: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """Return each place's parts by its name. Raises `UsageError`."""
    places: dict[str, tuple[str, ...]] = {}
    for each in said:
        name, sign, parts = each.partition("=")
        listed = tuple(part.strip() for part in parts.split(",") if part.strip())
        if not name.strip() or not sign or not listed or name.strip() in places:
            raise UsageError(f"--place {each}: write each name once, as --place left=LAMP,W2")
        places[name.strip()] = listed
    return places
