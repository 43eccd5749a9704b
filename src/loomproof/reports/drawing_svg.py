"""SVG by hand: escaping, text that fits, and wire colours as paint and as letters.

A colour is never shown by paint alone: the IEC 60757 letters stand beside it, so that a drawing
survives a black-and-white printer and a colour-blind reader.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import lru_cache
from typing import TypeVar
from xml.sax.saxutils import escape, quoteattr

T = TypeVar("T")

INK = "#1b1b1b"
PALE = "#6b6b6b"
PAPER = "#ffffff"
MARK = "#c1121f"
FONT = "DejaVu Sans, Liberation Sans, Arial, Helvetica, sans-serif"

# IEC 60757 names the colours; how they look on paper is ours.
PAINT: dict[str, str] = {
    "BK": "#1c1c1c",
    "BN": "#7b4a21",
    "RD": "#d0211c",
    "OG": "#f08c1d",
    "YE": "#f7d417",
    "GN": "#2f9a3f",
    "BU": "#2156b8",
    "VT": "#7d3c98",
    "GY": "#8e9296",
    "WH": "#ffffff",
    "PK": "#f2a0b5",
    "TQ": "#25b7b7",
    "GD": "#c8a23a",
    "SR": "#c7ccd1",
}
UNKNOWN_PAINT = "#e7e2d8"


@lru_cache(maxsize=2**11)
def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Estimate the width of a text in px at a font size in px, from the DejaVu Sans classes of letters."""
    width = size * sum(_width_of(mark) for mark in text)
    return width * BOLD if bold else width


def _width_of(mark: str) -> float:
    """Return the width of one mark in parts of the font size, on the safe side."""
    if mark in "iljtfrI.,:;'|!()[] -/":
        return 0.38
    if mark in "mwMWÄÖÜ@%_→…" or ord(mark) > 0x2000:
        return 0.92
    return 0.74 if mark.isupper() else 0.63


BOLD = 1.14
"""How much wider bold letters are."""


def fitted(
    text: str, width: float, size: float, smallest: float = 5.5, *, bold: bool = False, tail: str = ""
) -> tuple[str, float]:
    """Return the text and a font size that fit the width: smaller first, then cut with an ellipsis.

    ``tail`` is the end of it that is never cut, such as the cavity behind a connector's name.
    """
    needed = text_width(text + tail, size, bold=bold)
    if needed <= width:
        return text + tail, size
    size = max(smallest, size * width / needed)
    while len(text) > 1 and text_width(text + tail, size, bold=bold) > width * 1.02:
        text = text[:-2].rstrip() + "…"
    return text + tail, size


def laid(
    text: str, width: float, size: float, smallest: float, *, bold: bool = False
) -> tuple[list[str], float]:
    """Return the text as lines and a font size that fit the width: smaller first, then on several lines."""
    needed = text_width(text, size, bold=bold)
    if needed > width:
        size = max(smallest, size * width / needed)
    return wrapped(text, width * 1.02, size, bold=bold), size


def wrapped(text: str, width: float, size: float, *, bold: bool = False) -> list[str]:
    """Return a text as lines that fit the width; a word that is longer is broken."""
    lines = [""]
    for word in text.split(" "):
        longer = f"{lines[-1]} {word}".strip()
        if text_width(longer, size, bold=bold) <= width:
            lines[-1] = longer
            continue
        lines.append("")
        for mark in word:
            if lines[-1] and text_width(lines[-1] + mark, size, bold=bold) > width:
                lines.append("")
            lines[-1] += mark
    return [line for line in lines if line]


def text(
    x: float,
    y: float,
    content: str,
    size: float,
    *,
    anchor: str = "start",
    weight: str = "normal",
    fill: str = INK,
) -> str:
    """Return one line of text, nothing where it is empty; ``y`` is its baseline."""
    if not content:
        return ""
    return (
        f'<text x="{x:g}" y="{y:g}" font-size="{size:.3g}" text-anchor="{anchor}" '
        f'font-weight="{weight}" fill="{fill}">{escaped(content)}</text>'
    )


def printable(content: str) -> str:
    """Replace what XML 1.0 cannot carry (control characters, lone surrogates) by U+FFFD."""
    return "".join(mark if _fits_xml(ord(mark)) else "\ufffd" for mark in content)


def escaped(content: str) -> str:
    """Return a text as it stands inside an element."""
    return escape(printable(content))


def named(content: Iterable[T], **names: str) -> Iterator[T | str]:
    """Yield what stands for a thing, as one group that says in data attributes which thing that is.

    Whoever shows the drawing can find it by them; a ``_`` in an attribute's name is written ``-``.
    """
    said = "".join(
        f" data-{name.replace('_', '-')}={quoteattr(printable(text))}" for name, text in names.items()
    )
    yield f"<g{said}>"
    yield from content
    yield "</g>"


def _fits_xml(code: int) -> bool:
    return code in (0x9, 0xA, 0xD) or 0x20 <= code < 0xD800 or 0xE000 <= code < 0xFFFE or code >= 0x10000


def document(width: float, height: float, title: str, description: str, body: Iterable[str]) -> str:
    """Return a whole SVG document with a title and a description for those who cannot see it."""
    return "\n".join(
        [
            '<?xml version="1.0" encoding="UTF-8"?>',
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}" height="{height:g}" '
            f'viewBox="0 0 {width:g} {height:g}" role="img" aria-labelledby="title desc" '
            f"font-family={quoteattr(FONT)}>",
            f'<title id="title">{escaped(title)}</title>',
            f'<desc id="desc">{escaped(description)}</desc>',
            f'<rect width="{width:g}" height="{height:g}" fill="{PAPER}"/>',
            *body,
            "</svg>",
            "",
        ]
    )


SHADES = {"light": ("#ffffff", 0.45), "dark": ("#000000", 0.35)}
WORDS = {"bare": "#c58a58", "clear": "#eef1f2"}
"""Words that stand before a colour's letters, and for what has none: what they mix in, and how it looks."""


@lru_cache(maxsize=2**8)
def paints(colour: str) -> tuple[str, ...]:
    """Return the paint of a colour's parts, base first (``RD/YE`` gives two); unknown letters are beige."""
    found: list[str] = []
    for part in colour.split("/"):
        shade, _, letters = part.strip().rpartition(" ")
        if letters.upper() == "GNYE":
            found += [PAINT["GN"], PAINT["YE"]]
        elif letters in WORDS:
            found.append(WORDS[letters])
        elif letters:
            found.append(
                _mixed(PAINT.get(letters.upper(), UNKNOWN_PAINT), *SHADES.get(shade, ("#000000", 0.0)))
            )
    return tuple(found)


def _mixed(paint: str, other: str, share: float) -> str:
    pairs = ((int(paint[i : i + 2], 16), int(other[i : i + 2], 16)) for i in (1, 3, 5))
    return "#" + "".join(f"{round(a + (b - a) * share):02x}" for a, b in pairs)


def rect(
    x: float,
    y: float,
    width: float,
    height: float,
    *,
    fill: str = "none",
    stroke: str = "",
    line: float = 1.0,
    corner: float = 0.0,
    dash: str = "",
) -> str:
    """Return a rectangle; ``line`` is the stroke's width and ``corner`` its corner radius, px."""
    outline = f' stroke="{stroke}" stroke-width="{line:g}"' if stroke else ""
    rounded = f' rx="{corner:g}"' if corner else ""
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}"{rounded} '
        f'fill="{fill}"{outline}{dashed}/>'
    )


def swatch(x: float, y: float, width: float, height: float, colour: str) -> str:
    """Return a piece of wire in its colour: base paint, and each tracer as a stripe along it."""
    parts = paints(colour)
    if not parts:
        return rect(x, y, width, height, stroke=PALE, line=0.8, corner=2, dash="2 2")
    base, *tracers = parts
    if not tracers:
        return rect(x, y, width, height, fill=base, stroke=INK, line=0.8, corner=2)
    drawn = [rect(x, y, width, height, fill=base, corner=2)]
    for index, paint in enumerate(tracers):
        band = height / (2 * len(tracers) + 1)
        drawn.append(rect(x, y + band * (2 * index + 1), width, band, fill=paint))
    drawn.append(rect(x, y, width, height, stroke=INK, line=0.8, corner=2))
    return "".join(drawn)
