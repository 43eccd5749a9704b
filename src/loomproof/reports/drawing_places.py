"""Where a run found faults, under the drawing of the loom: each stretch of wire as a ruler to scale."""

from __future__ import annotations

import re

from loomproof.reports import drawing_svg as svg
from loomproof.reports.ruler import rulers
from loomproof.reports.words import shared_places
from loomproof.results.document import Document

MARGIN, LINE, GAP = 28.0, 18.0, 14.0
TITLE, HEAD, PLAIN = 14.0, 12.0, 10.0
_SIZE = re.compile(r'<svg [^>]*?width="([0-9.]+)" height="([0-9.]+)"')
_NAMED = re.compile(r' (?:id="(?:title|desc)"|role="img"|aria-labelledby="title desc")')


def places(document: Document) -> str | None:
    """Return one picture (SVG) of all places of a run on wires, each under its finding; ``None`` of none."""
    found = [(k, each, rulers(document, each)) for k, each in enumerate(document.findings, 1)]
    drawn = [(f"{k}. {each.title}", own) for k, each, own in found if own]
    if not drawn:
        return None
    width = max(_size(ruler)[0] for _, own in drawn for ruler, _ in own) + 2 * MARGIN
    room = width - 2 * MARGIN
    y = MARGIN + TITLE
    body = [
        svg.text(MARGIN, y, *svg.fitted(f"Places found by run {document.run}", room, TITLE), weight="bold")
    ]
    for said in shared_places(document):
        y += LINE
        body.append(svg.text(MARGIN, y, *svg.fitted(f"One place, {said}", room, PLAIN), fill=svg.PALE))
    for title, own in drawn:
        y += LINE + GAP
        body.append(svg.text(MARGIN, y, *svg.fitted(title, room, HEAD, bold=True), weight="bold"))
        for ruler, _ in own:
            body.append(_inside(ruler, MARGIN, y + GAP / 2))
            y += GAP / 2 + _size(ruler)[1]
    told = "; ".join(f"{title}: {said}" for title, own in drawn for _, said in own)
    return svg.document(width, y + MARGIN, f"Places found by run {document.run}", told, body)


def with_places(loom: str, found: str) -> str:
    """Return the drawing of a loom (SVG) with that of a run's places under it, as one picture."""
    (wide, high), (width, height) = _size(loom), _size(found)
    told = re.search(r'<desc id="desc">(.*?)</desc>', found, re.DOTALL)
    body = [_inside(loom, 0.0, 0.0), _inside(found, 0.0, high)]
    drawn = svg.document(max(wide, width), high + height, "Loom, with places", "", body)
    return drawn.replace('<desc id="desc"></desc>', f'<desc id="desc">{told[1] if told else ""}</desc>', 1)


def _size(drawn: str) -> tuple[float, float]:
    found = _SIZE.search(drawn)
    assert found is not None
    return float(found[1]), float(found[2])


def _inside(drawn: str, x: float, y: float) -> str:
    """Return a whole drawing as a part of another, without the names that only the outermost has."""
    inner = _NAMED.sub("", drawn.partition("\n")[2])
    return inner.replace("<svg ", f'<svg x="{x:g}" y="{y:g}" ', 1).rstrip("\n")
