"""A kit list on a screen."""

from __future__ import annotations

from pathlib import Path

import click

from loomproof.jobs.build_adapter import build_adapter, what_is_left, write_left
from loomproof.jobs.kit import Kit, write_kit
from loomproof.jobs.operator import Operator
from loomproof.jobs.repair_parts import HEADS, doubts, in_all, repair_parts
from loomproof.loom.model import Loom
from loomproof.reports.kit import (
    BOARD_HEADS,
    LEFT_HEADS,
    PLUG_HEADS,
    TERMINAL_HEADS,
    board_texts,
    facts,
    left_texts,
    plug_texts,
    terminal_texts,
)
from loomproof.reports.words import plural
from loomproof.results.document import Document
from loomproof.screens.notes import How
from loomproof.screens.printing import line, paragraphs, table
from loomproof.screens.progress import Screen, at_the_probe, on_touching
from loomproof.screens.streams import writable


def show_kit(kit: Kit, out: Path | None, labels: str) -> None:
    """Show what to buy and make, or write it to a file; ``labels`` says how to get those printed."""
    if out is not None:
        write_kit(kit, out)
        click.echo(str(out))
    else:
        for fact in facts(kit):
            line(fact)
        click.echo("")
        table(PLUG_HEADS, plug_texts(kit), figures=("quantity", "cavities", "leads"))
        click.echo("")
        table(TERMINAL_HEADS, terminal_texts(kit), figures=("quantity",))
        click.echo("")
        table(BOARD_HEADS, board_texts(kit), figures=BOARD_HEADS[1:3])
        line(labels)
    paragraphs(kit.questions, "  ? ", "    ")
    for each in kit.refused:
        line(f"{each.loom} cannot be hooked up to {plural(kit.points, 'point')}: {each.refused}", err=True)


def show_repair_parts(document: Document, loom: Loom) -> None:
    """Show what to have ready for the repairs of a run, finding by finding and then in all."""
    parts = repair_parts(document, loom)
    if parts:
        line("To have ready; which of it is needed shows when the loom is open.")
        table(HEADS, (part.texts for part in (*parts, *in_all(parts))), figures=HEADS[:2])
    else:
        line("By this description nothing is to be had ready for these findings.")
    paragraphs(doubts(document, loom), "  ? ", "    ")


def show_left(loom: Loom, target: Path, out: Path | None = None) -> None:
    """Show which leads are left to make for a table, and write them as a page where that is asked for."""
    left = what_is_left(loom, target)
    count = sum(len(each.ends) for each in left)
    line(f"{plural(count, 'lead')} left to make." if count else "No lead is left to make.")
    if count:
        table(LEFT_HEADS, left_texts(left), figures=LEFT_HEADS[2:4])
    if out is not None:
        write_left(loom, target, out)
        click.echo(str(out))


def build_on_screen(
    loom: Loom,
    address: str,
    target: Path,
    loom_path: Path,
    wait_s: float,
    how: How,
    operator: Operator,
    *,
    shorted: bool,
) -> None:
    """Have an adapter made lead by lead at a bench; what was made is told whatever ends it."""
    writable(str(target))
    patience = at_the_probe(wait_s)
    making = build_adapter(
        loom, address, target, operator, loom_path=loom_path, patience=patience, shorted=shorted
    )
    on_touching(making, Screen(how), target, len(loom.cavities))
