"""``explain``: what two cavities should read, its limit, and how both come about."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.cli.given import limits_of_error
from loomproof.cli.options import CAVITIES, loom_argument
from loomproof.cli.output import found
from loomproof.errors import UsageError

if TYPE_CHECKING:
    from loomproof.loom.model import End


HOW_NAMED = (
    "Write CONNECTOR:CAVITY, such as ECU:12; a name with a space or colon in double quotes, "
    """and all of it in single ones for the shell: '"FUSE BOX":12'."""
)
"""How a person names a cavity at a shell."""


@click.command()
@loom_argument
@click.argument("a", metavar="CAVITY", shell_complete=CAVITIES)
@click.argument("b", metavar="CAVITY", shell_complete=CAVITIES)
@click.option("--temperature", "temperature_c", default=20.0, show_default=True, help="Of the loom, °C.")
@click.option(
    "--accuracy", default="0.1:0.01", show_default=True, metavar="OHM:RATIO",
    help="Limits of error of the bench: ±(ohm + ratio × reading).",
)  # fmt: skip
@click.option("--lead", "lead_ohm", default=0.0, help="Standard uncertainty of the lead correction, Ω.")
@click.option("--repeatability", "spread_ohm", default=0.0, help="Standard deviation of one reading, Ω.")
@click.option("--repeats", type=click.IntRange(1), default=1, show_default=True, help="Readings averaged.")
@click.option("--temperature-uncertainty", "kelvin", default=0.0, help="Standard uncertainty, K.")
def explain(
    loom: Path,
    a: str,
    b: str,
    temperature_c: float,
    accuracy: str,
    lead_ohm: float,
    spread_ohm: float,
    repeats: int,
    kelvin: float,
) -> None:
    """Show what two cavities of LOOM should read, and how the limit comes about.

    For example: loomproof explain mine ECU:12 INJ1:1
    """
    from loomproof.jobs.explaining import explained
    from loomproof.loom.reading import load
    from loomproof.screens.explaining import show_explained

    limits = limits_of_error("--accuracy", accuracy, most_ratio=1.0)
    ends = _end(a), _end(b)
    said = explained(
        load(loom).loom,
        *ends,
        limits,
        temperature_c=temperature_c,
        lead_ohm=lead_ohm,
        repeatability_ohm=spread_ohm,
        repeats=repeats,
        temperature_u_k=kelvin,
    )
    found(0)
    show_explained(said, limits)


def _end(text: str) -> End:
    from loomproof.loom.model import end_of

    try:
        return end_of(text)
    except ValueError as error:
        raise UsageError(str(error), cure=HOW_NAMED) from None
