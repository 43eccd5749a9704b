"""What the commands write: results, tables, and how a proof ended, for people and for programs.

The exit code of what a command found is noted before it is shown: a reader that goes away changes none.
"""

from __future__ import annotations

import sys
import threading
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.errors import UsageError

if TYPE_CHECKING:
    from rich.console import Console

    from loomproof.jobs.archive import Archive, Shelf
    from loomproof.jobs.keep import Kept
    from loomproof.reports.listing import Cell

EXIT_CODES = {"pass": 0, "fail": 1, "incomplete": 3, "undecided": 4}
"""Exit code for each verdict."""


@dataclass
class Found:
    """The exit code as soon as it is known; ``None`` while the command has not come so far."""

    code: int | None = None


def found(code: int) -> int:
    """Note the exit code of the command that runs, everything done but showing it; return it."""
    context = click.get_current_context(silent=True)
    noted = None if context is None else context.find_object(Found)
    if noted is not None:
        noted.code = code
    return code


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


def writable(file: str | None) -> None:
    """Refuse a file that has no folder to go to before any work is done for it."""
    if file and file != "-" and not Path(file).absolute().parent.is_dir():
        raise UsageError(f"{file}: there is no folder {Path(file).parent}", cure="Make it, or name another.")


def write_json(file: str, data: bytes) -> None:
    """Write to a file, or to standard output for ``-``."""
    from loomproof.jobs.files import write_file

    if file == "-":
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()
    else:
        write_file(Path(file), data)


def show(kept: Kept, *, to_stderr: bool = False) -> None:
    """Show findings, summary and where the files are."""
    from loomproof.reports.terminal import findings_view, summary_view

    console = terminal(err=to_stderr)
    if kept.document.findings:
        console.print(findings_view(kept.document))
    console.print(summary_view(kept.document))
    for what, path in kept.files.items():
        console.print(f"  {what:<12} {path}", soft_wrap=True)


def chosen(archive: Archive, run: str) -> str:
    """Return what names the run of a command; say which one ``last`` is, and what corrects it."""
    from loomproof.reports.words import clean, when

    if run != "last":
        by = "" if Path(run).suffix else archive.corrected_by(run)
        if by:
            line(clean(f"Run {run} was corrected: what holds is {by}."), err=True)
        return run
    found = archive.run(run)
    loom = f"{found.loom}, {found.serial}" if found.serial else found.loom
    said = f"The last proof is run {found.run} of {loom}, {when(found.started)[:16]}."
    line(clean(said), err=True)
    return found.hash


def tell_left_out(shelf: Shelf) -> None:
    """Say which records were not counted because nobody here knows who sealed them."""
    from loomproof.cli.cures import told
    from loomproof.reports.words import clean

    for problem in shelf.left_out:
        line(clean(told(problem)), err=True)


def tell_troubles(shelf: Shelf) -> None:
    """Tell what is wrong with what was shown."""
    for trouble in shelf.troubles:
        click.echo(f"loomproof: record: {trouble}", err=True)
    if shelf.troubles:
        click.echo("  loomproof records check looks at everything.", err=True)
