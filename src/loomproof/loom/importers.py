"""Importers from other packages: each names the ending of the files that it reads as an entry point.

A package states, in its own ``pyproject.toml``::

    [project.entry-points."loomproof.importers"]
    wdx = "wiredrawing.loomproof:read"

and files called ``….wdx`` are read from then on. What is named is called with the file's `pathlib.Path`, and
returns a `Loom`, or a `LoadedLoom` with what is odd about the file; where the file is wrong it raises
`DescriptionError` that carries each `Problem` with its place. Endings of our own stay our own.
"""

from __future__ import annotations

from pathlib import Path

from loomproof import installed
from loomproof.errors import DescriptionError, UsageError
from loomproof.loom import checking
from loomproof.loom.described import LoadedLoom
from loomproof.loom.model import Loom

GROUP = "loomproof.importers"


def reads(path: Path) -> bool:
    """Whether an installed package reads files of this ending."""
    return _ending(path) in installed.names(GROUP)


def endings() -> tuple[str, ...]:
    """Return the endings that installed packages read, sorted: ``.wdx``."""
    return tuple(f".{name}" for name in installed.names(GROUP))


def read_other(path: Path) -> LoadedLoom:
    """Read a file with the importer of another package, and see that its loom holds together.

    Raises `UsageError` where the importer cannot be loaded or gives no loom, `DescriptionError` where the
    loom does not hold together, and what the importer itself raises.
    """
    what = f"the importer of .{_ending(path)} files"
    importer = installed.loaded(GROUP, _ending(path), what, f".{_ending(path)} files are read")
    made = importer(path) if callable(importer) else importer
    found = LoadedLoom(made) if isinstance(made, Loom) else made
    if not isinstance(found, LoadedLoom):
        raise UsageError(
            f"{what} gave no loom: {found!r:.80}",
            cure="Its entry point has to name what is called with a path and returns a Loom.",
        )
    problems = checking.errors(found.loom)
    if problems:
        raise DescriptionError(f"{path} makes no loom that holds together", problems=problems)
    return found


def _ending(path: Path) -> str:
    return path.suffix.casefold().removeprefix(".")
