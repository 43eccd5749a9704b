"""Drawings of the drawing room as they stand within a page."""

from __future__ import annotations

from loomproof.loom.model import ConnectorKind, Loom
from loomproof.reports.drawing import loom_face


def within(drawing: str, own: str) -> str:
    """Return an SVG document as a part of a page.

    Several stand on one page, and no two things there may have one id: its title's and description's get
    ``own`` behind them.
    """
    part = drawing.partition("?>")[2]
    part = part.replace('"title desc"', f'"title-{own} desc-{own}"', 1)
    part = part.replace('id="title"', f'id="title-{own}"', 1)
    return part.replace('id="desc"', f'id="desc-{own}"', 1)


def faces(loom: Loom) -> list[tuple[str, str, str]]:
    """Return name, what it is, and the face as a part of a page, of every connector but splices."""
    return [
        (each.name, each.description or each.kind.value, within(loom_face(loom, each), f"face-{number}"))
        for number, each in enumerate(loom.connectors)
        if each.kind is not ConnectorKind.SPLICE
    ]
