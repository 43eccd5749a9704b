"""What other packages bring, found by the entry points of what is installed: one name, one thing."""

from __future__ import annotations

from importlib.metadata import EntryPoint, entry_points
from typing import Any

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
