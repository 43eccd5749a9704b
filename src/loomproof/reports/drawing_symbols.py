"""Graphical symbols of parts after IEC 60617, small enough to stand before a line of text."""

from __future__ import annotations

from typing import assert_never

from loomproof.loom.model import ComponentKind
from loomproof.reports import drawing_svg as svg

WIDTH = 20.0
"""Width of a symbol in px; its height is 8 px, half of it above its middle line."""


def symbol(kind: ComponentKind, x: float, y: float) -> str:
    """Return the symbol of a kind as SVG, from ``x`` on and with its middle line at ``y``."""
    ways = " ".join(f"M{x + right:g} {y + down:g}{way}" for right, down, way in _ways(kind))
    return f'<path class="{kind}" d="{ways}" fill="none" stroke="{svg.PALE}" stroke-width="0.8"/>'


def _ways(kind: ComponentKind) -> tuple[tuple[float, float, str], ...]:
    """Return the strokes of a symbol: where each begins, and how it goes on from there."""
    box = (4.0, -3.0, "h12v6h-12z")
    leads = ((0.0, 0.0, "h4"), (16.0, 0.0, "h4"))
    match kind:
        case ComponentKind.FUSE:
            return (box, (0.0, 0.0, "h20"))
        case ComponentKind.RESISTOR:
            return (box, *leads)
        case ComponentKind.RELAY:
            return ((4.0, -2.0, "h12v4h-12z"), (10.0, -4.0, "v2"), (10.0, 2.0, "v2"))
        case ComponentKind.DIODE:
            return ((0.0, 0.0, "h20"), (6.0, -4.0, "v8l8 -4z"), (14.0, -4.0, "v8"))
        case ComponentKind.CAPACITOR:
            return ((0.0, 0.0, "h8.5"), (8.5, -4.0, "v8"), (11.5, -4.0, "v8"), (11.5, 0.0, "h8.5"))
        case ComponentKind.COIL:
            return ((0.0, 0.0, "h4a2 2 0 0 1 4 0a2 2 0 0 1 4 0a2 2 0 0 1 4 0h4"),)
        case ComponentKind.LINK:
            ring = "a1.5 1.5 0 1 0 3 0a1.5 1.5 0 1 0 -3 0"
            return ((2.0, 0.0, ring), (15.0, 0.0, ring), (5.0, 0.0, "h10"))
        case _:
            assert_never(kind)
