"""The face of a connector: its cavities as they sit, seen from the mating side, each with its wires."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import NamedTuple

from loomproof.loom.model import ConnectorKind
from loomproof.reports import drawing_svg as svg

CELL = 46.0
GAP = 5.0
HEAD = 40.0
PAD = 12.0
BAND = 9.0
"""Sizes in px: one cavity, the space between two, the heading, the margin, one wire's swatch."""
WIDEST = 20
"""Cavities side by side; a longer row goes on in the line below, and the caption says so."""
SMALL = 8.5
"""Least font size in px of anything on a face; cavities are drawn wider before a text is made smaller."""
BAND_STEP = 21.0
MOST = 3
"""Height in px that a further wire in a cavity takes, and how many are drawn before they are counted."""


class Letters(NamedTuple):
    """A text in a cavity: the middle of its baseline, px, what stands there, its font size, px, its looks."""

    x: float
    y: float
    content: str
    size: float
    bold: bool = False
    fill: str = svg.INK


class Drawn(NamedTuple):
    """A face whose cavities' letters are still to be set on it; ``wide`` and ``high`` are its size, px."""

    wide: float
    high: float
    title: str
    told: str
    body: list[str | Letters]

    def document(self, *, lettered: bool = True) -> str:
        """Return it as an SVG document, with the letters in its cavities or without."""
        marks = (
            (
                svg.text(*each[:4], anchor="middle", weight="bold" if each.bold else "normal", fill=each.fill)
                if isinstance(each, Letters)
                else each
            )
            for each in self.body
            if lettered or isinstance(each, str)
        )
        return svg.document(self.wide, self.high, self.title, self.told, marks)

    @property
    def letters(self) -> list[Letters]:
        """The letters in its cavities."""
        return [each for each in self.body if isinstance(each, Letters) and each.content]


def face(
    name: str,
    kind: str,
    rows: Sequence[Sequence[str]],
    colours: Mapping[str, str],
    *,
    description: str = "",
    marked: Collection[str] = (),
) -> str:
    """Return the face that `drawn` draws as an SVG document."""
    return drawn(name, kind, rows, colours, description=description, marked=marked).document()


def drawn(
    name: str,
    kind: str,
    rows: Sequence[Sequence[str]],
    colours: Mapping[str, str],
    *,
    description: str = "",
    marked: Collection[str] = (),
    page_px: float = math.inf,
    small: float = SMALL,
) -> Drawn:
    """Draw the face, its rows cut so that they are no wider than ``page_px``.

    ``small`` is the least font size in px, at most 13.

    ``rows`` are cavity names seen from the mating face ("" is a gap); ``colours`` gives the wires of a
    cavity as IEC 60757 codes, tracer after a slash, several wires separated by a space, "" where a part
    alone is in it; what is not in it is empty. Cavities in
    ``marked`` are ringed and carry an exclamation mark. A splice has no cavities and gets one joint.
    """
    cell = max(CELL, *_needed(rows, colours, small))
    grid = cut(rows, colours, page_px, small) or [[""]]
    is_cut = len(grid) > max(len(rows), 1)
    across = max(max(len(row) for row in grid), 1)
    heights = [_row_height(row, colours) for row in grid]
    body_width = across * (cell + GAP) - GAP
    body_height = sum(heights) + GAP * (len(grid) - 1)
    width = max(body_width, 190.0, svg.text_width(name, 14, bold=True) + 4) + 2 * PAD + 12
    height = HEAD + body_height + 2 * PAD + 26
    left = (width - body_width) / 2
    top = HEAD + PAD
    head, head_size = svg.fitted(name, width - 2 * PAD, max(14, small + 1), small, bold=True)
    sub, sub_size = svg.fitted(description or kind, width - 2 * PAD, max(9.5, small), small)
    body: list[str | Letters] = [
        svg.text(PAD, 19, head, head_size, weight="bold"),
        svg.text(PAD, 33, sub, sub_size, fill=svg.PALE),
        _shell(kind, left, top, body_width, body_height),
    ]
    y = top
    for row, cell_height in zip(grid, heights, strict=True):
        for x, cavity in enumerate(row):
            if cavity:
                wires = _wires(colours.get(cavity, ""))
                at = left + x * (cell + GAP)
                sizes = cell, cell_height
                one = _cavity(at, y, sizes, cavity, wires, cavity in colours, cavity in marked, small)
                body += svg.named(one, cavity=cavity)
        y += cell_height + GAP
    caption = f"{kind}, seen from the mating face" + (", long rows cut" if is_cut else "")
    body.append(svg.text(width / 2, height - 9, caption, small, anchor="middle", fill=svg.PALE))
    return Drawn(width, height, f"Connector {name}", _told(name, kind, grid, colours, marked), body)


def cut(
    rows: Sequence[Sequence[str]],
    colours: Mapping[str, str],
    page_px: float = math.inf,
    small: float = SMALL,
) -> list[list[str]]:
    """Return the rows as lines that are no wider than ``page_px`` and `WIDEST` when they are drawn."""
    cell = max(CELL, *_needed(rows, colours, small))
    widest = max(1, int(min(WIDEST, (page_px - 2 * PAD - 12 + GAP) / (cell + GAP))))
    lines: list[list[str]] = []
    for row in rows:
        # A row that is cut is cut evenly.
        across = math.ceil(len(row) / max(1, math.ceil(len(row) / widest)))
        lines += [list(row[at : at + across]) for at in range(0, len(row), max(1, across))]
    return lines


def _needed(rows: Sequence[Sequence[str]], colours: Mapping[str, str], small: float) -> Iterator[float]:
    """Yield the width in px that each cavity needs for its name and its wires' letters."""
    for cavity in (cavity for row in rows for cavity in row if cavity):
        yield svg.text_width(cavity, small, bold=True) + 6
        yield from (svg.text_width(wire, small) + 4 for wire in _wires(colours.get(cavity, "")))
    yield 0.0


def _row_height(row: Sequence[str], colours: Mapping[str, str]) -> float:
    most = max((len(_wires(colours.get(cavity, ""))) for cavity in row), default=1)
    return CELL + BAND_STEP * max(0, min(most, MOST) - 1)


def _wires(colours: str) -> list[str]:
    """Split a cavity's colours into wires; ``light`` and ``dark`` belong to the letters after them."""
    wires: list[str] = []
    for word in colours.split():
        if wires and wires[-1].rpartition("/")[2] in svg.SHADES:
            wires[-1] += f" {word}"
        else:
            wires.append(word)
    return wires


def _shell(kind: str, left: float, top: float, width: float, height: float) -> str:
    if kind in (ConnectorKind.RING, ConnectorKind.BULLET):
        return (
            f'<ellipse cx="{left + width / 2:g}" cy="{top + height / 2:g}" rx="{width / 2 + 12:g}" '
            f'ry="{height / 2 + 10:g}" fill="#f4f4f2" stroke="{svg.INK}" stroke-width="1.6"/>'
        )
    # The second outline tells a socket (cavities behind a rim) from a plug at a glance.
    shell = _outline(left, top, width, height, 7.0, "#f4f4f2", 1.6)
    return (
        shell + _outline(left, top, width, height, 3.5, "none", 0.8)
        if kind == ConnectorKind.SOCKET
        else shell
    )


def _outline(left: float, top: float, width: float, height: float, rim: float, fill: str, line: float) -> str:
    return svg.rect(
        left - rim,
        top - rim,
        width + 2 * rim,
        height + 2 * rim,
        fill=fill,
        stroke=svg.INK,
        line=line,
        corner=rim + 2,
    )


def _cavity(
    x: float,
    y: float,
    sizes: tuple[float, float],
    cavity: str,
    wires: list[str],
    wired: bool,
    marked: bool,
    small: float,
) -> list[str | Letters]:
    width, height = sizes
    fill, dash = (svg.PAPER, "") if wired else ("#e9e9e6", "3 2.5")
    middle = x + width / 2
    body: list[str | Letters] = [
        svg.rect(x, y, width, height, fill=fill, stroke=svg.INK, corner=5, dash=dash)
    ]
    label, size = svg.fitted(cavity, width - 6, 13, small, bold=True)
    body.append(Letters(middle, y + 16, label, size, bold=True))
    shown = wires if len(wires) <= MOST else wires[: MOST - 1]
    for index, colour in enumerate(shown):
        at = y + 21 + index * BAND_STEP
        body.append(svg.swatch(x + 6, at, width - 12, BAND, colour if colour != "?" else ""))
        letters, size = svg.fitted(colour, width - 4, small, small)
        body.append(Letters(middle, at + BAND + max(9.0, min(small, 10.5)), letters, size))
    if len(shown) < len(wires):
        at = y + 21 + len(shown) * BAND_STEP
        body.append(Letters(middle, at + BAND, f"+{len(wires) - len(shown)} wires", small))
    if not wires:
        said = "part" if wired else "empty"
        body.append(Letters(middle, y + 34, said, small, fill=svg.PALE))
    if marked:
        body.append(svg.rect(x - 2, y - 2, width + 4, height + 4, stroke=svg.MARK, line=3, corner=7))
        body.append(Letters(x + width - 7, y + 14, "!", 14, bold=True, fill=svg.MARK))
    return body


def _told(
    name: str, kind: str, grid: Sequence[Sequence[str]], colours: Mapping[str, str], marked: Collection[str]
) -> str:
    told = []
    for row in grid:
        for cavity in row:
            if cavity:
                nothing = "a part" if cavity in colours else "empty"
                wires = " and ".join(_wires(colours.get(cavity, ""))) or nothing
                told.append(f"{cavity}: {wires}{' (fault here)' if cavity in marked else ''}")
    return f"{kind} {name}, seen from the mating face. " + "; ".join(told) + "."
