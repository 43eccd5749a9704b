"""A kit list on a screen."""

from __future__ import annotations

from pathlib import Path

import click

from loomproof.jobs.kit import Kit, write_kit
from loomproof.jobs.repair_parts import HEADS, doubts, in_all, repair_parts
from loomproof.loom.model import Loom
from loomproof.reports.kit import (
    BOARD_HEADS,
    PLUG_HEADS,
    TERMINAL_HEADS,
    board_texts,
    facts,
    plug_texts,
    terminal_texts,
)
from loomproof.results.document import Document
from loomproof.screens.printing import line, paragraphs, table


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


def show_repair_parts(document: Document, loom: Loom) -> None:
    """Show what to have ready for the repairs of a run, finding by finding and then in all."""
    parts = repair_parts(document, loom)
    if parts:
        line("To have ready; which of it is needed shows when the loom is open.")
        table(HEADS, (part.texts for part in (*parts, *in_all(parts))), figures=HEADS[:2])
    else:
        line("By this description nothing is to be had ready for these findings.")
    paragraphs(doubts(document, loom), "  ? ", "    ")
