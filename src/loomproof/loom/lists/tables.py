"""Several tables in one sheet: one below the other under titles, or side by side, an empty column between.

Read as one they would give pins to the wrong connector, or join the rows of two tables as ends of wires.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial

from loomproof.loom.lists.heading_rows import grid_of
from loomproof.loom.lists.headings import SIDES, Grid
from loomproof.loom.lists.places import no_name, nothing
from loomproof.loom.lists.questions import Answers, Question
from loomproof.loom.lists.sheets import Row

_CALLED = re.compile(
    r"(?:connector|conn\.?|plug|stecker|steckverbinder|socket)\s*[:#]?\s+(?=\S)", re.IGNORECASE
)


def tables_in(grid: Grid, answers: Answers) -> tuple[list[Grid], list[Question]]:
    """Return the tables that a sheet holds, and what is to be asked where it may hold several."""
    side_by_side, questions = _blocks(grid, answers)
    found: list[Grid] = []
    for each in side_by_side:
        grids, asked = _sections(each, answers)
        found += grids
        questions += asked
    return found, questions


def _blocks(grid: Grid, answers: Answers) -> tuple[list[Grid], list[Question]]:
    """Return the tables that stand side by side under the same headings, an empty column between."""
    texts = list(grid.texts)
    while texts and not texts[-1]:
        texts.pop()
    gap = next((i for i in range(2, len(texts)) if not texts[i] and texts[:i] == texts[i + 1 :]), 0)
    if not gap or any(grid.column(gap)):
        return [grid], []
    halves = [_cut(grid, 0, gap), _cut(grid, gap + 1, len(texts))]
    whole = {
        heading.side for heading in halves[0].headings if heading.thing in ("whole", "connector", "cavity")
    }
    answer = "tables" if {"from", "to"} <= whole else answers.said.get("blocks", "")
    if answer:
        return (halves if answer == "tables" else [grid]), []
    text = (
        f"the headings stand twice, with column {grid.headings[gap].letter} empty between: are these two "
        "tables, or the two ends of each wire?"
    )
    return [grid], [Question("blocks", text, ("tables", "ends"))]


def _cut(grid: Grid, first: int, last: int) -> Grid:
    """Return the columns of a grid from ``first`` to before ``last``."""
    sheet = grid.sheet
    rows = tuple((number, cells[first:last]) for number, cells in sheet.rows if any(cells[first:last]))
    title = (
        sheet.title if not first else f"{sheet.title or 'table'} from column {grid.headings[first].letter}"
    )
    part = replace(
        sheet,
        title=title,
        rows=rows,
        lost={(row, i - first): what for (row, i), what in sheet.lost.items() if first <= i < last},
        retyped={i - first: what for i, what in sheet.retyped.items() if first <= i < last},
        merged=frozenset((row, i - first) for row, i in sheet.merged if first <= i < last),
    )
    return grid_of(part, grid.row) or grid


def _sections(grid: Grid, answers: Answers) -> tuple[list[Grid], list[Question]]:
    """Return the parts of a list of pins that stand under titles, where these name their connectors."""
    things = {heading.thing for heading in grid.headings if not heading.side}
    named = any(heading.name for heading in grid.headings if heading.thing == "cavity")
    unowned = "cavity" in things and not things & {"connector", "place"} and not named
    if not unowned and not any(map(partial(_end_unowned, grid), SIDES)):
        return [grid], []
    parts = list(_parts(grid))
    if len(parts) < 2:
        return [grid], []
    answer = answers.said.get("sections", "")
    if answer == "connectors":
        return [_part(grid, title, rows) for title, rows in parts], []
    if answer:
        return [grid], []
    titles = ", ".join(repr(title) for title, _ in parts[:4])
    text = f"{titles} stand alone between the rows: do they name the connectors of the pins below them?"
    return [grid], [Question("sections", text, ("connectors", "no"))]


def _end_unowned(grid: Grid, side: str) -> bool:
    """Whether one end of each wire has a column of cavities and none that says whose they are."""
    things = {heading.thing for heading in grid.headings if heading.side == side}
    named = any(heading.name for heading in grid.headings if heading.side == side)
    unsided = any(h.thing == "connector" and not h.side for h in grid.headings)
    return "cavity" in things and not things & {"connector", "whole"} and not named and not unsided


def titles_of(grid: Grid) -> dict[int, str]:
    """Return what stands alone in a row of a list of pins and is no pin, by row; one may be above all."""
    pins = next((heading.column for heading in grid.headings if heading.thing == "cavity"), 0)
    shapes = {_shape(cells[pins]) for _, cells in grid.cells() if sum(map(bool, cells)) > 1}
    found: dict[int, str] = {}
    above = [row for row in grid.sheet.rows if row[0] < grid.row][-1:]
    for number, cells in (*above, *((n, c) for n, c in grid.sheet.rows if n > grid.row)):
        said = [text for text in cells if text]
        text = said[0] if len(said) == 1 else ""
        if not re.search(r"[^\W\d_]", text) or _shape(text) in shapes or nothing(text) or no_name(text):
            continue
        found[number] = text
    return found


def _parts(grid: Grid) -> Iterator[tuple[str, list[Row]]]:
    """Yield each title that stands alone in a row, with the rows below it."""
    heads = {text for text in grid.texts if text}
    titles = titles_of(grid)
    title, rows = "", list[Row]()
    for number, cells in grid.sheet.rows:
        if number == grid.row or {text.casefold() for text in cells if text} == heads:
            continue
        if number not in titles:
            rows.append((number, cells))
            continue
        if title and rows:
            yield title, rows
        title, rows = titles[number], []
    if title and rows:
        yield title, rows


def _shape(text: str) -> str:
    """Return how a text is made: a pin without a use (PB7 among PB1, PB2) is no title."""
    return re.sub(r"[^\W\d_]+", "A", re.sub(r"\d+", "9", text))


def _part(grid: Grid, title: str, rows: Sequence[Row]) -> Grid:
    owner = _CALLED.sub("", title, count=1) or title
    return Grid(replace(grid.sheet, title=title, rows=tuple(rows)), grid.row, grid.headings, owner)
