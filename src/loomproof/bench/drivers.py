"""Drivers from other packages: each names the address scheme that it opens as an entry point.

A package states, in its own ``pyproject.toml``::

    [project.entry-points."loomproof.benches"]
    relaybox = "relaybox.loomproof:RelayBox"

and ``relaybox:PLACE?KEY=VALUE`` is a bench from then on. The class is a `Bench`, called with the
`OtherAddress`; it opens and identifies what stands there, and states its ``address`` and its opening
(`Bench._holds`).
"""

from __future__ import annotations

from importlib.metadata import EntryPoint, entry_points
from typing import Any

from loomproof.bench.address import OtherAddress
from loomproof.bench.interface import Bench
from loomproof.errors import UsageError

GROUP = "loomproof.benches"


def installed_schemes() -> tuple[str, ...]:
    """Return the address schemes that installed packages open, sorted."""
    return tuple(sorted(entry_points(group=GROUP).names))


def open_other(where: OtherAddress) -> Bench:
    """Open a bench with the driver of another package.

    Raises `UsageError` where the driver cannot be loaded or is none, and what the driver itself raises.
    """
    driver = _loaded(where.scheme)
    if not _is_driver(driver):
        raise UsageError(
            f"what is installed for {where.scheme}: benches is no driver: {driver!r}",
            cure="Its entry point has to name a class that is a Bench.",
        )
    bench: Bench = driver(where)
    return bench


def _is_driver(loaded: object) -> bool:
    return isinstance(loaded, type) and issubclass(loaded, Bench)


def _loaded(scheme: str) -> Any:
    found = tuple(entry_points(group=GROUP, name=scheme))
    if len(found) > 1:
        raise UsageError(
            f"{scheme}: benches are opened by {' and by '.join(_named(each) for each in found)}",
            cure="Uninstall all but one of them.",
        )
    try:
        return found[0].load()
    except (ImportError, AttributeError) as error:
        raise UsageError(
            f"the driver of {scheme}: benches, {_named(found[0])}, cannot be loaded: {error}",
            cure="Install it again, in the version that fits this one.",
        ) from error


def _named(entry: EntryPoint) -> str:
    return f"{entry.dist.name} {entry.dist.version}" if entry.dist is not None else entry.value
