"""Drivers from other packages: each names the address scheme that it opens as an entry point.

A package states, in its own ``pyproject.toml``::

    [project.entry-points."loomproof.benches"]
    relaybox = "relaybox.loomproof:RelayBox"

and ``relaybox:PLACE?KEY=VALUE`` is a bench from then on. The class is a `Bench`, called with the
`OtherAddress`; it opens and identifies what stands there, and states its ``address`` and its opening
(`Bench._holds`).
"""

from __future__ import annotations

from loomproof import installed
from loomproof.bench.address import DRIVERS, OtherAddress
from loomproof.bench.interface import Bench
from loomproof.errors import UsageError


def open_other(where: OtherAddress) -> Bench:
    """Open a bench with the driver of another package.

    Raises `UsageError` where the driver cannot be loaded or is none, and what the driver itself raises.
    """
    scheme = where.scheme
    driver = installed.loaded(
        DRIVERS, scheme, f"the driver of {scheme}: benches", f"{scheme}: benches are opened"
    )
    if not _is_driver(driver):
        raise UsageError(
            f"what is installed for {scheme}: benches is no driver: {driver!r}",
            cure="Its entry point has to name a class that is a Bench.",
        )
    bench: Bench = driver(where)
    return bench


def _is_driver(loaded: object) -> bool:
    return isinstance(loaded, type) and issubclass(loaded, Bench)
