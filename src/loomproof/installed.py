"""What is installed: what other packages bring, by their entry points; and how an extra of this one is
added.
"""

from __future__ import annotations

import json
from importlib.metadata import EntryPoint, PackageNotFoundError, distribution, entry_points
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from loomproof.errors import UsageError


def names(group: str) -> tuple[str, ...]:
    """Return what installed packages bring to a group, by name, sorted."""
    return tuple(sorted(entry_points(group=group).names))


def loaded(group: str, name: str, what: str, things: str) -> Any:
    """Return what a package brings to a group under a name that is there.

    ``what`` is what it is called, and ``things`` what it is for, in a message. Raises `UsageError` where
    several packages bring it, or where it cannot be loaded.
    """
    found = tuple(entry_points(group=group, name=name))
    if len(found) > 1:
        raise UsageError(
            f"{things} by {' and by '.join(map(_named, found))}", cure="Uninstall all but one of them."
        )
    try:
        return found[0].load()
    except (ImportError, AttributeError) as error:
        raise UsageError(
            f"{what}, {_named(found[0])}, cannot be loaded: {error}",
            cure="Install it again, in the version that fits this one.",
        ) from error


def _named(entry: EntryPoint) -> str:
    return f"{entry.dist.name} {entry.dist.version}" if entry.dist is not None else entry.value


def adding(extra: str) -> str:
    """Return how an extra of this package is added, from where it was installed, as a cure.

    Where that was is what the installer wrote down (PyPA, Recording the Direct URL Origin of installed
    distributions): a folder of the source or a file, or nothing for a package index. A folder or file that
    is not there any more is not named.
    """
    into = "into the environment that loomproof runs in"
    try:
        said = distribution("loomproof").read_text("direct_url.json")
        source = _place(str(json.loads(said)["url"])) if said else "loomproof"
    except (PackageNotFoundError, ValueError, KeyError, TypeError):
        source = ""
    if source:
        return f'pip install "{source}[{extra}]", {into}.'
    return (
        f'In the folder of the source: pip install ".[{extra}]", {into}; of a wheel [{extra}] stands behind '
        "its name."
    )


def _place(url: str) -> str:
    from urllib.request import url2pathname  # brings much along, and hardly any run asks

    parts = urlsplit(url)
    if parts.scheme != "file":
        return ""
    path = Path(url2pathname(parts.path))
    return str(path) if path.exists() else ""
