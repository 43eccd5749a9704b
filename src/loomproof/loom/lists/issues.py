"""Whether the sheets of a book are one loom, or issues of one list.

An issue that no longer holds would be joined with the one that does.
"""

from __future__ import annotations

from collections.abc import Sequence

from loomproof.errors import UsageError
from loomproof.loom.lists.headings import Grid
from loomproof.loom.lists.places import like_a_cavity, nothing
from loomproof.loom.lists.questions import Answers, Question
from loomproof.loom.lists.roles import Roles, assign
from loomproof.loom.lists.sheets import Sheet
from loomproof.loom.text import first_of

_Ends = dict[tuple[str, str], set[tuple[str, str]]]
"""Each end of a sheet as its cells say it, with those at the other end of its wires."""


def meant(titles: Sequence[str], answers: Answers) -> tuple[str, ...]:
    """Return the sheets that an answer names, parted by commas; none where all are meant or nobody said."""
    said = answers.said.get("sheets", "")
    if said in titles:
        return (said,)
    return () if said in ("", "all") else tuple(name.strip() for name in said.split(","))


def asked(grids: Sequence[Grid], sheets: Sequence[Sheet], answers: Answers) -> tuple[Question, ...]:
    """Ask which sheets are meant where one is hidden, or where two take the same ends elsewhere."""
    titles = tuple(dict.fromkeys(grid.sheet.title for grid in grids))
    told = answers.sheets or answers.said.get("sheets")
    if len(titles) < 2 or told or not {*titles} <= {sheet.title for sheet in sheets}:
        return ()
    hidden = [sheet.title for sheet in sheets if sheet.hidden]
    which = "which sheets are this loom? Several are parted by commas."
    if unseen := [title for title in titles if title in hidden]:
        alone = len(unseen) == 1
        one_or_more = f"sheet {unseen[0]} is" if alone else f"sheets {first_of(unseen, 4)} are"
        text = f"{one_or_more} hidden in the book, under the headings of the others: {which}"
        return (Question("sheets", text, ("all", *titles)),)
    try:
        roles = assign(grids[0], answers)
    except UsageError:
        return ()
    if roles.kind != "wires" or roles.by_sheet:
        return ()
    found = [_ends(grid, roles) for grid in grids]
    for i, one in enumerate(found):
        for j, other in enumerate(found[:i]):
            shared = one.keys() & other.keys()
            apart = [end for end in shared if not one[end] & other[end]]
            if len(apart) > 1 and 2 * len(shared) >= min(len(one), len(other)):
                first = min(apart)
                text = (
                    f"sheets {grids[j].sheet.title} and {grids[i].sheet.title} take {len(apart)} ends to "
                    f"different places ({' '.join(filter(None, first))} first), as two issues of one list "
                    f"do: {which}"
                )
                return (Question("sheets", text, ("all", *titles)),)
    return ()


def _ends(grid: Grid, roles: Roles) -> _Ends:
    found: _Ends = {}
    for _, cells in grid.cells():
        one, other = (_end(cells, roles, side) for side in ("from", "to"))
        if one and other:
            found.setdefault(one, set()).add(other)
            found.setdefault(other, set()).add(one)
    return found


def _end(cells: Sequence[str], roles: Roles, side: str) -> tuple[str, str] | None:
    """Return connector and cavity as the cells say them; `None` where no cavity is said."""
    whole, connector, cavity = (
        roles.columns.get(role) for role in (side, f"{side}_connector", f"{side}_cavity")
    )
    name = cells[connector] if connector is not None else roles.connectors.get(side, "")
    pin = cavity if cavity is not None else whole
    text = cells[pin] if pin is not None else ""
    if nothing(text) or (not name and (cavity is not None or like_a_cavity(text))):
        return None
    return name, text
