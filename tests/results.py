"""Where long runs put their tables: Markdown, with date, command and machine."""

from __future__ import annotations

import datetime
import os
import platform
from collections.abc import Sequence
from pathlib import Path


def table_file(
    folder: str, name: str, lines: Sequence[str], seconds: float, *, short: bool, command: str = ""
) -> None:
    """Print a table and, after a full run, keep it in the repository.

    ``command`` is what it was made with, where that is not the name of the table.
    """
    text = "\n".join(lines)
    print(text)
    if short:
        return
    head = (
        f"# {name}\n\n"
        f"{datetime.datetime.now(datetime.UTC):%Y-%m-%d}, `{command or f'python -m tests.{folder} {name}'}`, "
        f"{seconds:.0f} s on {os.cpu_count()} cores "
        f"({platform.machine()}, Python {platform.python_version()}).\n\n"
    )
    path = Path(__file__).parent / folder / "results" / f"{name}.md"
    path.write_text(head + text + "\n", encoding="utf-8")
