"""Which sheets of a file are the list: those named, or those with the most promising headings."""

from __future__ import annotations

import posixpath
import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from loomproof.errors import DescriptionError, Problem, Todo, UsageError, suggestion
from loomproof.loom.lists import issues, sheets
from loomproof.loom.lists.heading_rows import grid_of
from loomproof.loom.lists.headings import Grid, Heading
from loomproof.loom.lists.questions import Answers, Question
from loomproof.loom.lists.roles import assign
from loomproof.loom.lists.tables import tables_in


@dataclass(slots=True)
class Found:
    """The sheets that are one list, the titles of the others, what is to be said of them and asked."""

    grids: list[Grid]
    left: list[str]
    notes: list[Problem] = field(default_factory=list)
    questions: tuple[Question, ...] = ()


def grids_of(source: sheets.Source, answers: Answers) -> Found:
    """Return the sheets that are one list: those named, or that which looks most like one and its equals."""
    titles = [sheet.title for sheet in source.sheets]
    meant = answers.sheets or issues.meant(titles, answers)
    wanted = [name.strip().casefold() for name in meant]
    for name in meant:
        if name.strip().casefold() not in [title.strip().casefold() for title in titles]:
            cure = suggestion(name, titles) or f"It has {', '.join(titles) or 'no sheets'}."
            raise UsageError(f"{source.file} has no sheet {name!r}", cure=cure)
    chosen = [sheet for sheet in source.sheets if not wanted or sheet.title.strip().casefold() in wanted]
    grids = [grid for sheet in chosen if (grid := grid_of(sheet, answers.heading_row))]
    said = set(answers.columns.values())
    questions: tuple[Question, ...] = ()
    if not grids and said:
        ruled = posixpath.splitext(source.file.casefold())[1] in sheets.MARKDOWN
        first = "headings" if ruled else answers.said.get("first_row", "")
        grids = [grid for sheet in chosen if (grid := _by_columns(sheet, said, first))]
        questions = tuple(question for grid in grids[:1] if (question := _first_row(grid, said, first)))
    if not grids:
        raise _no_list(source, chosen)
    titled = [grid.sheet.title for grid in grids]
    parted = [tables_in(grid, answers) for grid in grids]
    grids = [grid for found, _ in parted for grid in found]
    best = max(grids, key=lambda grid: _promise(grid, answers))
    same = [grid for grid in grids if grid.texts == best.texts]
    read = [id(grid) for grid in same]
    used = {
        title for title, (found, _) in zip(titled, parted, strict=True) if any(id(g) in read for g in found)
    }
    questions += tuple(
        question for found, asked in parted if any(id(grid) in read for grid in found) for question in asked
    )
    questions += issues.asked(same, source.sheets, answers)
    left = [sheet.title for sheet in source.sheets if sheet.title not in used]
    if wanted and len(used) < len(chosen):
        unlike = [grid.sheet.title for grid in grids if grid not in same] or [
            s.title for s in chosen if s.title not in used
        ]
        message = f"sheet {unlike[0]!r} has other headings than {best.sheet.title!r}"
        raise UsageError(f"{source.file}: {message}", cure="Import sheets with other headings one by one.")
    notes = [
        Problem("this table is not read: its headings are others", source.file, title, severity="warning")
        for title in left
    ]
    return Found(same, left, notes, questions)


def _by_columns(sheet: sheets.Sheet, said: set[str], first: str) -> Grid | None:
    """Return a sheet whose first row holds the headings that a person named, or that has none at all.

    Letters name columns with and without headings: ``first`` is what the first row was said to be.
    """
    grid = grid_of(sheet, sheet.rows[0][0]) if sheet.rows else None
    if grid is None or _named(grid, said) or first == "headings":
        return grid
    bare = tuple(Heading(heading.column, "") for heading in grid.headings)
    return Grid(sheet, 0, bare) if all(len(text) < 3 for text in said) else None


def _named(grid: Grid, said: set[str]) -> bool:
    texts = {heading.casefold() for heading in said}
    return bool(texts & {heading.shown.casefold() for heading in grid.headings if heading.text})


def _first_row(grid: Grid, said: set[str], first: str) -> Question | None:
    """Ask what the first row is, unless that was said, or it looks as those below it do."""
    letters = {text.upper() for text in said}
    used = [h.column for h in grid.headings if h.letter in letters or str(h.column + 1) in letters]
    rows = [cells for _, cells in grid.cells()]
    if first or grid.row or len(rows) < 2 or all(_alike([row[i] for row in rows]) for i in used):
        return None
    shown = " | ".join(text for text in rows[0][:6] if text)
    return Question("first_row", f"is the first row ({shown}) its headings, or a wire?", ("headings", "wire"))


def _alike(texts: Sequence[str]) -> bool:
    """Whether the first of these texts is made as another of them is: X1:1 and X2:30, 7 and 12."""
    shapes = [re.sub(r"[^\W\d_]+", "A", re.sub(r"\d+", "9", text)) for text in texts]
    return shapes[0] in shapes[1:] and "9" in shapes[0]


def _promise(grid: Grid, answers: Answers) -> tuple[int, int]:
    """Return how much a sheet looks like a list: both ends found, then how many rows."""
    try:
        roles = assign(grid, answers)
    except UsageError:
        return 0, 0
    complete = {"wires": 3, "nets": 2, "pins": 1}[roles.kind]
    return (0 if roles.questions else complete), len(grid.cells())


def _no_list(source: sheets.Source, chosen: Sequence[sheets.Sheet]) -> DescriptionError:
    problems = [
        Problem(
            "it is empty" if not sheet.rows else "no row of it looks like the headings of a list of wires",
            source.file,
            sheet.title,
            cure="A row of headings says where a wire starts and ends: From, To.",
        )
        for sheet in chosen[:5]
    ]
    first = next((sheet.rows[0][1] for sheet in chosen if sheet.rows), ())
    cure = "Say in which row the headings stand, or name the columns."
    if first:
        cure += f" Its first row holds {', '.join(repr(text) for text in first[:8] if text)}."
    message = f"{source.file}: the list cannot be read"
    return DescriptionError(message, problems=problems, cure=cure, do=Todo.COLUMNS)
