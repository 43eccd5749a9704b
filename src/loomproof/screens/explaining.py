"""What two cavities should read, and how its limit comes about, on a screen."""

from __future__ import annotations

from collections.abc import Iterable

import click

from loomproof.jobs.explaining import STEP_HEADS, Explained
from loomproof.results.figures import ohms
from loomproof.screens.printing import paragraphs, table


def show_explained(said: Explained, limits: tuple[float, float]) -> None:
    """Show it; ``limits`` of error are those of the bench, Ω and ratio."""
    paragraphs([said.pair], "", "  ", "bold")
    paragraphs(said.value, "  ", "    ")
    if not said.found.joined:
        return
    click.echo("")
    table(STEP_HEADS, said.steps, figures=STEP_HEADS[3:], whole=("section",))
    click.echo("")
    paragraphs(said.footnotes, "  ", "    ")
    _names(said.limit)
    if decision := tuple(said.decision):
        ohm, ratio = limits
        error = f"±({ohms(ohm)} + {ratio:.2%})"
        paragraphs([f"a bench that measures ohms, its limits of error {error}:"], "  ", "    ")
        _names(decision)


def _names(lines: Iterable[tuple[str, str]]) -> None:
    """Print names and what is said of each, in two columns."""
    for name, text in lines:
        paragraphs([text], f"  {name:<12}", " " * 14)
