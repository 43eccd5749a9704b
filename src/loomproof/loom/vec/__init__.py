"""Looms from VEC (VDA 4968), the open vehicle electric container: versions 1.1.3 to 2.1.0."""

from __future__ import annotations

from loomproof.loom.vec.reading import read

__all__ = ["read"]
