"""A description that was checked, in lines: what it holds, what is asked of it, what is worth a look."""

from __future__ import annotations

from collections.abc import Callable

import click

from loomproof.jobs.describing import Checked
from loomproof.screens.notes import MOST_ALIKE, How, show_grouped
from loomproof.screens.printing import line


def show_description(
    described: Checked, how: How, answer_as: Callable[[str], str], *, everything: bool
) -> None:
    """Sum a checked description up; of warnings that look alike a few, unless everything is asked for.

    ``answer_as`` is how a choice of this name is answered.
    """
    said = described.loom
    line(said.name + (f", serial {said.serial}" if said.serial else ""))
    for name, text in described.facts:
        line(text, f"  {name:<11} ")
    for choice in said.choices:
        answer = described.answers.get(choice.name, "")
        others = ", ".join(known.name for known in choice.answers if known.name != answer)
        line(f"{choice.question} {answer or 'not answered'} ({answer_as(choice.name)}; else {others})", "  ")
    for text in described.summary.missing:
        line(text, "  missing: ")
    if described.warnings:
        click.echo("Worth a look:")
        most = len(described.warnings) if everything else MOST_ALIKE
        show_grouped(described.warnings, most, lambda text: line(text, "  "), how)
    if described.weak:
        line("Too weak for its load as described, however sound the loom is:")
        for name, text in described.weak.items():
            line(text, f"  wire {name}: ")
    click.echo("The description holds together.")
