"""Lines and tables on standard output and error, for people and for programs."""

from __future__ import annotations

import sys
import threading
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from rich.console import Console

    from loomproof.jobs.bench_tests import Check
    from loomproof.jobs.keep import Kept
    from loomproof.reports.listing import Cell
    from loomproof.screens.notes import How


def terminal(*, err: bool = False) -> Console:
    """Return where results are printed; plain where it is no terminal."""
    from rich.console import Console

    return Console(stderr=err, highlight=False)


def line(text: str, head: str = "", *, err: bool = False, on: Console | None = None) -> None:
    """Write a line: whole for a program, folded between words for a person; ``head`` stands first."""
    if on is None and not (sys.stderr if err else sys.stdout).isatty():
        click.echo(head + text, err=err)
        return
    from loomproof.reports.listing import Paragraph

    console = on or terminal(err=err)
    if console.is_terminal:
        console.print(Paragraph(text, head, " " * (len(head) + (0 if head.strip() else 2))))
    else:
        console.print(head + text, soft_wrap=True, markup=False)


def table(
    heads: Sequence[str],
    rows: Iterable[Sequence[str | Cell]],
    *,
    figures: Collection[str] = (),
    whole: Collection[str] = (),
    on: Console | None = None,
) -> None:
    """Print rows under headings on a screen of any width; by heading, columns of figures and whole words."""
    from loomproof.reports.listing import Column, Listing

    columns = tuple(Column(head, figure=head in figures, whole=head in whole) for head in heads)
    (on or terminal()).print(Listing(columns, tuple(map(tuple, rows))))


def paragraphs(
    texts: Iterable[str], first: str = "", later: str = "", style: str = "", *, on: Console | None = None
) -> None:
    """Print texts folded to the screen; ``first`` and ``later`` stand before the lines of each."""
    from loomproof.reports.listing import Paragraph

    console = on or terminal()
    for text in texts:
        console.print(Paragraph(text, first, later, style))


PATIENCE_S = 2.0
"""After so long without an answer a person is told that work goes on."""


@contextmanager
def patience(text: str) -> Iterator[None]:
    """Say this once, on standard error, where what is done takes longer than `PATIENCE_S`."""
    timer = threading.Timer(PATIENCE_S, click.echo, (f"  {text}",), {"err": True})
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()


def show_checks(checks: Sequence[Check]) -> None:
    """Print what was checked of a bench, one a line."""
    for each in checks:
        click.echo(f"{'passed' if each.passed else 'FAILED'}  {each.name}: {each.text}")
    sys.stdout.flush()


def show(kept: Kept, how: How, *, to_stderr: bool = False) -> None:
    """Show findings, summary, what would reach a better grade (``how``: how it is typed), and the files."""
    from loomproof.jobs.plan import for_more
    from loomproof.reports.terminal import findings_view, summary_view

    console = terminal(err=to_stderr)
    if kept.document.findings:
        console.print(findings_view(kept.document))
    console.print(summary_view(kept.document))
    for each in for_more(kept.outcome):
        line(" ".join(filter(None, ("For a better grade:", each.text, how(each.do)))), on=console)
    for what, path in kept.files.items():
        console.print(f"  {what:<12} {path}", soft_wrap=True)
