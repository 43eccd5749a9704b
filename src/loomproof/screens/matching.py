"""What is shown of a traced loom that was laid on a known one."""

from __future__ import annotations

import click

from loomproof.reports.matching import (
    CAVITY_HEADS,
    HEADS,
    cavity_texts,
    crossed_texts,
    difference_texts,
    place_texts,
    sentences,
)
from loomproof.results.matching import Match
from loomproof.screens.printing import paragraphs, table


def show_match(laid: Match, how: str, *, cavities: bool) -> None:
    """Show which connector is which and what differs; ``how`` says what lists the ``cavities`` as well."""
    table(HEADS, place_texts(laid), figures=("agree",), whole=("traced", "known"))
    rows = cavity_texts(laid)
    if cavities:
        table(CAVITY_HEADS, rows, whole=("traced", "known"))
    paragraphs((*difference_texts(laid), *crossed_texts(laid), *sentences(laid)))
    if rows and not cavities:
        click.echo(f"Which cavity is which, of {len(rows)} that were placed: {how}.")
