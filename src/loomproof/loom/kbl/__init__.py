"""Looms from and to KBL (VDA 4964), the open harness description: versions 2.3, 2.4 and 2.5."""

from __future__ import annotations

from loomproof.loom.kbl.reading import configurations, read
from loomproof.loom.kbl.writing import Written, write

__all__ = ["Written", "configurations", "read", "write"]
