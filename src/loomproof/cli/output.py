"""What the commands write: results, and how a proof ended, for people and for programs."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from loomproof.errors import UsageError

if TYPE_CHECKING:
    from loomproof.jobs.events import Prompt
    from loomproof.jobs.keep import Kept

EXIT_CODES = {"pass": 0, "fail": 1, "incomplete": 3, "undecided": 4}
"""Exit code for each verdict."""


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


def write_kept(file: str, kept: Kept) -> None:
    """Write the results of a kept proof there as well; one that can't be written is told, and that is all."""
    from loomproof.cli.progress import Screen
    from loomproof.jobs.files import json_of
    from loomproof.jobs.keep import written

    if file == "-":
        write_json(file, json_of(kept.document))
        return
    told: list[Prompt] = []
    written(Path(file), lambda: json_of(kept.document), kept.run, told)
    for each in told:
        Screen().show(each)


def show(kept: Kept, *, to_stderr: bool = False) -> None:
    """Show findings, summary and where the files are."""
    from rich.console import Console

    from loomproof.reports.terminal import findings_view, summary_view

    console = Console(stderr=to_stderr, highlight=False)
    if kept.document.findings:
        console.print(findings_view(kept.document))
    console.print(summary_view(kept.document))
    for what, path in kept.files.items():
        console.print(f"  {what:<12} {path}", soft_wrap=True)
