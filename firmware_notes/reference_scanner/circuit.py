"""Draws each description beside it as SVG: resistors as in IEC 60617, switches, terminals, wires, parts."""

from __future__ import annotations

import sys
import tomllib
from collections.abc import Callable, Mapping
from html import escape
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
Element = Mapping[str, Any]


def text(x: float, y: float, words: str, anchor: str = "middle") -> str:
    """Return a line of text."""
    return f'<text x="{x:g}" y="{y:g}" text-anchor="{anchor}">{escape(words)}</text>'


def line(*points: tuple[float, float]) -> str:
    """Return a line through points."""
    return f'<polyline points="{" ".join(f"{x:g},{y:g}" for x, y in points)}"/>'


def wire(each: Element) -> list[str]:
    """Return a wire."""
    return [line(*map(tuple, each["path"]))]


def box(each: Element) -> list[str]:
    """Return a dashed frame with its name above the lower edge."""
    (x, y), (w, h) = each["at"], each["size"]
    frame = f'<rect x="{x}" y="{y}" width="{w}" height="{h}" stroke-dasharray="6 4"/>'
    return [frame, text(x + w / 2, y + h - 10, each["text"])]


def block(each: Element) -> list[str]:
    """Return a part as a solid frame, lines of text in its middle."""
    (x, y), (w, h) = each["at"], each["size"]
    lines = each["text"].split("\n")
    top = y + h / 2 - 9 * (len(lines) - 1) + 5
    frame = f'<rect x="{x}" y="{y}" width="{w}" height="{h}"/>'
    return [frame, *(text(x + w / 2, top + 18 * i, words) for i, words in enumerate(lines))]


def multiplexer(each: Element) -> list[str]:
    """Return a multiplexer as a trapezoid, 40 wide and 110 high, many ways on its left, one on its right."""
    x, y = each["at"]
    corners = [(x, y - 55), (x + 40, y - 30), (x + 40, y + 30), (x, y + 55), (x, y - 55)]
    stubs = [line((x - 12, y + down), (x, y + down)) for down in (-40, -20, 0, 20, 40)]
    return [line(*corners), *stubs, text(x + 20, y + 5, each["text"])]


def node(each: Element) -> list[str]:
    """Return a joint of wires."""
    x, y = each["at"]
    return [f'<circle cx="{x}" cy="{y}" r="3" style="fill:#000"/>']


def resistor(each: Element) -> list[str]:
    """Return a resistor of 50 by 16, value and name beside it."""
    x, y = each["at"]
    if each.get("upright"):
        stubs = [line((x, y - 20), (x, y - 15)), line((x, y + 35), (x, y + 40))]
        body = f'<rect x="{x - 8}" y="{y - 15}" width="16" height="50"/>'
        words = [text(x + 14, y + 8, each["text"], "start"), text(x + 14, y + 24, each["name"], "start")]
        return [*stubs, body, *words]
    body = f'<rect x="{x - 25}" y="{y - 8}" width="50" height="16"/>'
    return [body, text(x, y - 18, each["name"]), text(x, y + 28, each["text"])]


def switch(each: Element) -> list[str]:
    """Return an open contact, 40 high."""
    x, y = each["at"]
    return [line((x, y - 20), (x, y)), line((x - 14, y + 4), (x, y + 30)), line((x, y + 30), (x, y + 40)),
            text(x - 20, y + 22, each["name"], "end")]  # fmt: skip


def ground(each: Element) -> list[str]:
    """Return 0 V."""
    x, y = each["at"]
    strokes = [line((x - half, y + down), (x + half, y + down)) for half, down in ((12, 0), (7, 5), (2, 10))]
    return [*strokes, text(x + 18, y + 8, "0 V", "start")]


def terminal(each: Element) -> list[str]:
    """Return a terminal with its name below."""
    x, y = each["at"]
    return [f'<circle cx="{x}" cy="{y}" r="6"/>', text(x, y + 26, each["text"])]


def label(each: Element) -> list[str]:
    """Return words."""
    return [text(*each["at"], each["text"])]


KINDS: dict[str, Callable[[Element], list[str]]] = {
    "box": box, "wire": wire, "resistor": resistor, "switch": switch, "ground": ground,
    "terminal": terminal, "label": label, "block": block, "multiplexer": multiplexer, "node": node,
}  # fmt: skip


def draw(description: Mapping[str, Any]) -> str:
    """Return the drawing. Raises `KeyError` for a kind of element that is not known."""
    frame = (0, 0, description["width"], description["height"])
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{" ".join(map(str, frame))}">',
        f"<title>{escape(description['title'])}</title>",
        "<style>rect,polyline,circle{fill:none;stroke:#000;stroke-width:2}"
        "circle{fill:#fff}text{font:14px sans-serif}</style>",
        text(description["width"] / 2, 30, description["title"]),
    ]
    for kind, elements in description.items():
        if isinstance(elements, list):
            for each in elements:
                parts += KINDS[kind](each)
    return "\n".join([*parts, "</svg>", ""])


def main() -> int:
    """Write each description's drawing beside it."""
    for path in sorted(HERE.glob("*.toml")):
        described = tomllib.loads(path.read_text(encoding="utf-8"))
        path.with_suffix(".svg").write_text(draw(described), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
