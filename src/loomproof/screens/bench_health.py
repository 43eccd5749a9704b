"""How benches have read over time, and what a study of one comes to, on a screen."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from loomproof.screens.kept import tell_left_out, tell_troubles
from loomproof.screens.notes import How
from loomproof.screens.printing import line, table

if TYPE_CHECKING:
    from loomproof.jobs.bench_health import Health
    from loomproof.jobs.bench_study import Studied


def show_health(health: Health, how: How) -> None:
    """Print each quantity in a row, then what there is to know of alarms and by which rule they are given."""
    from loomproof.jobs.bench_health import HEALTH_HEADS

    table(HEALTH_HEADS, health.texts, figures=("read", "middle", "now"), whole=("state",))
    click.echo("")
    for sentence in health.sentences:
        line(sentence)
    line(health.rule)
    tell_left_out(health.shelf, how)
    tell_troubles(health.shelf, how)


def show_study(studied: Studied) -> None:
    """Print the analysis of variance, the components of the spread, and the uncertainty of a reading."""
    from loomproof.jobs.bench_study import COMPONENT_HEADS, SOURCE_HEADS

    table(SOURCE_HEADS, studied.source_texts, figures=SOURCE_HEADS[1:])
    click.echo("")
    table(COMPONENT_HEADS, studied.component_texts, figures=COMPONENT_HEADS[1:])
    click.echo("")
    for sentence in studied.sentences:
        line(sentence)
