"""Looms from and to KBL (VDA 4964), the open harness description: versions 2.3, 2.4 and 2.5."""

from __future__ import annotations

from pathlib import Path

from loomproof.loom.kbl import reading
from loomproof.loom.kbl.reading import configurations
from loomproof.loom.kbl.writing import Written, write
from loomproof.loom.reading import LoadedLoom

__all__ = ["Written", "configurations", "read", "write"]


def read(
    path: Path | str,
    *,
    configuration: str | None = None,
    side_table: Path | str | None = None,
    length_type: str | None = None,
) -> LoadedLoom:
    """Read a KBL file as a loom; `loomproof.loom.kbl.reading.read` says how and what is raised."""
    return reading.read(
        path, configuration=configuration, side_table_path=side_table, length_type=length_type
    )
