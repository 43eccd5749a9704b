"""The last runs as a store's own table lists them, at once: nothing is opened to be changed, no seal is read.

Good for what is offered to a person (a name to complete, a next step), never for a claim: `trusted` is that.
"""

from __future__ import annotations

import contextlib
import sqlite3
from pathlib import Path
from typing import NamedTuple

_NEWEST = """SELECT runs.run, runs.verdict, looms.name, looms.serial, runs.ended, runs.bench
FROM runs JOIN looms ON looms.id = runs.loom_id ORDER BY runs.id DESC LIMIT ?"""


class Listed(NamedTuple):
    """A run as it is listed: its verdict, the loom's name and serial, when it ended (RFC 3339), its bench."""

    run: str
    verdict: str
    loom: str
    serial: str
    ended: str
    bench: str


def newest_first(store: Path, limit: int = 200) -> tuple[Listed, ...]:
    """Return the runs last sealed in the SQLite file ``store``; none where there is no such store."""
    if not store.is_file():
        return ()
    try:
        opened = sqlite3.connect(f"{store.absolute().as_uri()}?mode=ro", uri=True, timeout=0.1)
        with contextlib.closing(opened) as connection:
            return tuple(Listed(*map(str, row)) for row in connection.execute(_NEWEST, (limit,)))
    except sqlite3.Error:  # in use, or no store: nothing is offered of it
        return ()
