"""Lists on a screen of any width: a table where it stands whole, else one block of lines for each row.

Nothing is ever cropped. A name is not broken while it has room on a line of its own, and a figure is not
parted from its unit.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from rich.cells import cell_len, chop_cells
from rich.console import Console, ConsoleOptions, RenderResult
from rich.text import Text

from loomproof.reports.words import clean

# A plain name such as "A 3" is no figure: a unit here stands behind a digit.
_UNITS = r"(?:[kMGmµ]?Ω|mm²|m|[mkµ]?V|[mµ]?A|[mµnp]?F|k?Hz|°C|K|%|m?s)"
_TIED = re.compile(rf"(?<=\d) (?={_UNITS}(?![\w²]))")
_TIE = "\u00a0"

GAPS = (2, 1)
"""Blank cells between two columns: where there is room for them, and at least."""
LITTLE = (8, 0)
"""What a column may lack to be made whole before others get a share: of both ways the shorter list wins."""
INDENT = 2
"""Blank cells before and behind the headings of a block."""


def folded(text: str, width: int) -> tuple[str, ...]:
    """Return a text as lines of at most ``width`` cells, broken at spaces, never between figure and unit.

    A word that is wider than a whole line is broken where the line ends.
    """
    lines: list[str] = []
    for word in _words(text):
        if lines and cell_len(lines[-1]) + 1 + cell_len(word) <= width:
            lines[-1] += f" {word}"
        else:
            lines += chop_cells(word, max(width, 1)) if cell_len(word) > width else [word]
    return tuple(lines) or ("",)


def _words(text: str) -> list[str]:
    return [word.replace(_TIE, " ") for word in re.split(r"[ \t\n]+", _TIED.sub(_TIE, text).strip(" \t\n"))]


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A text folded to the screen: what stands before its first line, and before the later ones."""

    text: str
    first: str = ""
    later: str = ""
    style: str = ""

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Give the lines."""
        room = options.max_width - max(cell_len(self.first), cell_len(self.later))
        for number, line in enumerate(folded(clean(self.text), room)):
            yield _line((self.later if number else self.first) + line, self.style)


@dataclass(frozen=True, slots=True)
class Column:
    """A column by its heading. ``whole`` cells stand on one line; a figure does so too, set to the right."""

    head: str
    figure: bool = False
    whole: bool = False


@dataclass(frozen=True, slots=True)
class Cell:
    """What stands in a row under a heading, in its own style."""

    text: str
    style: str = ""


@dataclass(frozen=True, slots=True)
class Listing:
    """Rows under headings. In a narrow place each row is a block, headed by its first cell."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[str | Cell, ...], ...]
    title: str = ""

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Give the lines, as wide as there is room."""
        rows = [[_cell(cell) for cell in row] for row in self.rows]
        if self.title:
            yield Paragraph(self.title, style="bold")
        for gap in GAPS:
            widths = _widths(self.columns, rows, options.max_width - gap * (len(self.columns) - 1))
            if widths is not None:
                yield from _table(self.columns, rows, widths, gap)
                return
        yield from _blocks(self.columns, rows, options.max_width)


def _cell(cell: str | Cell) -> Cell:
    given = Cell(cell) if isinstance(cell, str) else cell
    return Cell(clean(given.text), given.style)


def _widths(columns: Sequence[Column], rows: Sequence[Sequence[Cell]], room: int) -> tuple[int, ...] | None:
    """Return how wide each column is, all of them in so much room; ``None`` where they don't fit."""
    least, most = [], []
    for place, column in enumerate(columns):
        texts = [column.head, *(row[place].text for row in rows)]
        whole = max(map(cell_len, texts))
        most.append(whole)
        broken = max(cell_len(word) for text in texts for word in _words(text))
        least.append(whole if column.figure or column.whole else broken)
    spare = room - sum(least)
    if spare < 0:
        return None
    options = [_shared(spare, least, most, little) for little in LITTLE]
    return min(options, key=lambda widths: sum(_height(row, widths) for row in rows))


def _shared(spare: int, least: Sequence[int], most: Sequence[int], little: int) -> tuple[int, ...]:
    """Return the widths: columns that lack little get all of it, the others a share by what they lack."""
    widths = list(least)
    wanted = [whole - narrow for whole, narrow in zip(most, least, strict=True)]
    for place in sorted(range(len(wanted)), key=lambda place: wanted[place]):
        if wanted[place] <= little:
            more = min(spare, wanted[place])
            widths[place] += more
            spare -= more
    lacking = sum(want for want in wanted if want > little)
    for place, want in enumerate(wanted):
        if want > little:
            widths[place] += min(want, spare * want // lacking)
    return tuple(widths)


def _height(row: Sequence[Cell], widths: Sequence[int]) -> int:
    return max(len(folded(cell.text, width)) for cell, width in zip(row, widths, strict=True))


def _table(
    columns: Sequence[Column], rows: Sequence[Sequence[Cell]], widths: Sequence[int], gap: int
) -> Iterator[Text]:
    heads = [Cell(column.head, "bold") for column in columns]
    yield from _row(columns, heads, widths, gap)
    yield _line("─" * (sum(widths) + gap * (len(widths) - 1)))
    for row in rows:
        yield from _row(columns, row, widths, gap)


def _row(columns: Sequence[Column], row: Sequence[Cell], widths: Sequence[int], gap: int) -> Iterator[Text]:
    parts = [folded(cell.text, width) for cell, width in zip(row, widths, strict=True)]
    for number in range(max(map(len, parts))):
        line = _line("")
        for place, (cell, part, width) in enumerate(zip(row, parts, widths, strict=True)):
            text = part[number] if number < len(part) else ""
            blank = " " * (width - cell_len(text))
            line.append(" " * gap if place else "")
            line.append(f"{blank}{text}" if columns[place].figure else f"{text}{blank}", style=cell.style)
        line.rstrip()
        yield line


def _blocks(columns: Sequence[Column], rows: Sequence[Sequence[Cell]], room: int) -> Iterator[Text]:
    heads = max((cell_len(column.head) for column in columns[1:]), default=0) + INDENT
    for row in rows:
        for text in folded(row[0].text, room):
            yield _line(text, row[0].style or "bold")
        for column, cell in zip(columns[1:], row[1:], strict=True):
            if not cell.text:
                continue
            for number, text in enumerate(folded(cell.text, room - INDENT - heads)):
                head = "" if number else column.head
                line = _line(f"{' ' * INDENT}{head}{' ' * (heads - cell_len(head))}")
                line.append(text, style=cell.style)
                yield line


def _line(text: str, style: str = "") -> Text:
    return Text(text, style=style, no_wrap=True, overflow="ignore")
