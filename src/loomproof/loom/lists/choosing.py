"""Which sheets of a file are the list: those named, or those with the most promising headings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from loomproof.errors import DescriptionError, Problem, Todo, UsageError, suggestion
from loomproof.loom.lists import sheets
from loomproof.loom.lists.headings import Grid, Heading, grid_of
from loomproof.loom.lists.questions import Answers
from loomproof.loom.lists.roles import assign


@dataclass(slots=True)
class Found:
    """The sheets that are one list, the titles of the others, and what is to be said of them."""

    grids: list[Grid]
    left: list[str]
    notes: list[Problem] = field(default_factory=list)


def grids_of(source: sheets.Source, answers: Answers) -> Found:
    """Return the sheets that are one list: those named, or that which looks most like one and its equals."""
    wanted = [name.strip().casefold() for name in answers.sheets]
    titles = [sheet.title for sheet in source.sheets]
    for name in answers.sheets:
        if name.strip().casefold() not in [title.strip().casefold() for title in titles]:
            cure = suggestion(name, titles) or f"It has {', '.join(titles) or 'no sheets'}."
            raise UsageError(f"{source.file} has no sheet {name!r}", cure=cure)
    chosen = [sheet for sheet in source.sheets if not wanted or sheet.title.strip().casefold() in wanted]
    grids = [grid for sheet in chosen if (grid := grid_of(sheet, answers.heading_row))]
    said = set(answers.columns.values())
    if not grids and said:
        grids = [grid for sheet in chosen if (grid := _by_columns(sheet, said))]
    if not grids:
        raise _no_list(source, chosen)
    best = max(grids, key=lambda grid: _promise(grid, answers))
    same = [grid for grid in grids if grid.texts == best.texts]
    used = {grid.sheet.title for grid in same}
    left = [sheet.title for sheet in source.sheets if sheet.title not in used]
    if wanted and len(same) < len(chosen):
        unlike = [grid.sheet.title for grid in grids if grid not in same] or [
            s.title for s in chosen if s.title not in used
        ]
        message = f"sheet {unlike[0]!r} has other headings than {best.sheet.title!r}"
        raise UsageError(f"{source.file}: {message}", cure="Import sheets with other headings one by one.")
    notes = [
        Problem("this table is not read: its headings are others", source.file, title, severity="warning")
        for title in left
    ]
    return Found(same, left, notes)


def _by_columns(sheet: sheets.Sheet, said: set[str]) -> Grid | None:
    """Return a sheet whose first row holds the headings that a person named, or that has none at all."""
    grid = grid_of(sheet, sheet.rows[0][0]) if sheet.rows else None
    texts = {heading.casefold() for heading in said}
    if grid is None or texts & {heading.shown.casefold() for heading in grid.headings if heading.text}:
        return grid
    # Letters and numbers alone name columns of a list without headings: its first row is a wire.
    bare = tuple(Heading(heading.column, "") for heading in grid.headings)
    return Grid(sheet, 0, bare) if all(len(text) < 3 for text in texts) else None


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
