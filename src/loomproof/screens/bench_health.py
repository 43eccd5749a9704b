"""How benches have read over time, on a screen."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from loomproof.screens.kept import tell_left_out, tell_troubles
from loomproof.screens.notes import How
from loomproof.screens.printing import line, table

if TYPE_CHECKING:
    from loomproof.jobs.bench_health import Health


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
