"""What somebody who helps needs to know: versions, where things are kept, the workshop's file, ports."""

from __future__ import annotations

import platform
import sys
from collections.abc import Iterator
from importlib import metadata
from pathlib import Path

from loomproof.errors import StoreError
from loomproof.jobs.archive import Archive
from loomproof.jobs.workshop import find
from loomproof.jobs.workshop_places import places
from loomproof.records.data_folder import home
from loomproof.reports.words import plural
from loomproof.version import VERSION

PACKAGES = ("pyserial", "pyvisa", "pyvisa-py", "numpy", "scipy", "pydantic", "typst", "sqlalchemy")


def about(store: str | None = None, loom: Path | None = None) -> Iterator[tuple[str, str]]:
    """Yield name and text of each thing; the workshop's file is the one that holds for a loom.

    Raises `InputError` for a workshop's file that cannot be read.
    """
    yield "loomproof", VERSION
    yield "Python", f"{sys.version.split()[0]} on {platform.platform()}"
    for name in PACKAGES:
        try:
            yield name, metadata.version(name)
        except metadata.PackageNotFoundError:
            yield name, "missing"
    yield "home", str(home())
    try:
        where, runs = Archive(store).where()
        yield "store", f"{where} ({plural(runs, 'run')})"
    except StoreError as error:
        yield "store", f"{store or 'default'}: {error.message}"
    yield from _workshop(loom)
    found = ports()
    yield from (("port", f"{device}  {description}") for device, description in found)
    if not found:
        yield "port", "no serial port found"


def ports() -> tuple[tuple[str, str], ...]:
    """Return the serial ports of this machine, name and description each."""
    from serial.tools import list_ports

    return tuple((port.device, port.description) for port in sorted(list_ports.comports()))


def _workshop(loom: Path | None) -> Iterator[tuple[str, str]]:
    """Yield which workshop's file holds, what it says, and where it was looked for."""
    found = find(loom)
    if found.path is None:
        yield "workshop", f"none; no workshop.toml in {', '.join(str(path.parent) for path in places(loom))}"
        return
    yield "workshop", str(found.path)
    for table, keys in found.workshop.model_dump(mode="json", exclude_defaults=True).items():
        for key, said in keys.items() if isinstance(keys, dict) else [("", keys)]:
            yield "", f"{' '.join(filter(None, (table, key)))}: {said}"
