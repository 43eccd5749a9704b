"""What columns that are not used, and remarks, say against reading a list as it was read."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from loomproof.loom.lists import places
from loomproof.loom.lists.ends import Work
from loomproof.loom.lists.headings import Grid, Heading, plain
from loomproof.loom.lists.parting import PIECES
from loomproof.loom.lists.roles import Roles
from loomproof.loom.text import first_of

_WITHDRAWN = re.compile(
    r"(?:deleted?|removed|cancell?ed|withdrawn|obsolete|superseded|discontinued|no longer (?:used|fitted)"
    r"|inactive|inaktiv|void|dnf|dnp|(?:do )?not (?:fit|fitted|install|installed|used|populated)"
    r"|nicht (?:verbaut|best(?:ü|ue)ckt|verwendet|eingebaut)"
    r"|entf(?:ä|ae)llt|entfallen|gel(?:ö|oe)scht|gestrichen|storniert|ung(?:ü|ue)ltig)"
    r"(?:[\s:;,.(-]+"
    r"(?:(?:in|at|since|by|per|from|as of|with|ab|seit|mit|rev|issue|see)\b|[\d(]).{0,60})?[\s.!)]*",
    re.IGNORECASE,
)
"""What people write beside a wire that is no longer there."""


_IS_IT = re.compile(
    r"(?:is_?)?(?:active|fitted|installed|populated|present|valid|used|in_use|aktiv|verbaut|eingebaut"
    r"|best(?:ü|ue)ckt|g(?:ü|ue)ltig|vorhanden|qty|quantity|menge|anzahl|st(?:ü|ue)ckzahl)"
)
_NO = frozenset(["no", "n", "nein", "false", "0", "off"])
"""A column that asks whether a wire is there, or how many, and what says that it is not."""
_HIDDEN = "hidden in the book"


class Withdrawn:
    """The rows that a column says are no longer of the loom, and whether they are left out."""

    def __init__(self, grids: Sequence[Grid], roles: Roles, work: Work) -> None:
        """Ask where a column that is not used, or that of the notes, says so of a row, or a book hides it."""
        self._columns = [h.column for h in roles.left_out]
        self._columns += [roles.columns["note"]] if "note" in roles.columns else []
        self._asks = {h.column for h in roles.left_out if _IS_IT.fullmatch(plain(h.text))}
        found = [
            (grid, row, text, words)
            for grid in grids
            for row, cells in grid.cells()
            for text, words in [self._against(grid, row, cells)]
            if text
        ]
        answer = work.said("withdrawn", list(dict.fromkeys(text for *_, text, _ in found)))
        self._leaves = answer == "leave out"
        if found and not answer:
            grid, row, _, words = found[0]
            sheet = f"sheet {grid.sheet.title}, " if grid.sheet.title else ""
            rest = len(found) - 1
            more = f" (and {rest} more {'row' if rest == 1 else 'rows'})" if rest else ""
            work.ask(
                "withdrawn",
                f"{sheet}row {row}{words}{more}: is such a row left out, or a wire of this loom?",
                ("leave out", "keep"),
            )

    def why_not(self, grid: Grid, row: int, cells: Sequence[str]) -> str:
        """Return why a row is none of the loom, or an empty text where it is one."""
        text, _ = self._against(grid, row, cells) if self._leaves else ("", "")
        if text == _HIDDEN:
            return f"it is {_HIDDEN}"
        return f"the list says {text!r}" if text else ""

    def _against(self, grid: Grid, row: int, cells: Sequence[str]) -> tuple[str, str]:
        """Return what speaks against a row, and how it is said behind the row's number; else nothing."""
        if row in grid.sheet.hidden_rows:
            return _HIDDEN, f" is {_HIDDEN}, by a filter or by hand"
        for column in self._columns:
            if self._says(cells[column], column):
                return cells[column], f", column {grid.headings[column].shown!r} says {cells[column]!r}"
        return "", ""

    def _says(self, text: str, column: int) -> bool:
        no = column in self._asks and text.casefold() in _NO
        return no or bool(_WITHDRAWN.fullmatch(text))


_WITHIN = re.compile(
    r"\b(?:via|through|in[- ]?line|in series|über|ueber|in reihe)\b.*?"
    r"(?:diode|resistor|widerstand|relay|relais|fuse|sicherung|capacitor|kondensator|switch|schalter)"
    r"|(?:diode|resistor|widerstand|fuse|sicherung|capacitor|kondensator)\b.*?"
    r"\b(?:in[- ]?line|in series|in reihe)\b",
    re.IGNORECASE,
)
"""What people write beside a wire that a part is in the middle of."""


def say_parts_within(grids: Sequence[Grid], roles: Roles, work: Work) -> None:
    """Say where remarks may mean a part within a wire: a proof would expect a plain conductor there."""
    columns = [h.column for h in roles.left_out] + [roles.columns[r] for r in ("note",) if r in roles.columns]
    found = [
        (grid, row, column, cells[column])
        for grid in grids
        for row, cells in grid.cells()
        for column in columns
        if _WITHIN.search(cells[column])
    ]
    if found and roles.kind == "wires":
        grid, row, column, text = found[0]
        more = f" ({len(found)} such)" if len(found) > 1 else ""
        work.note(
            f"{places.one_line(text)[:60]!r} may mean a part within the wire{more}, which is taken as a "
            "plain conductor",
            "Where a part is there, write it into components.csv and the wire as two.",
            row,
            grid.headings[column].shown,
            grid.sheet.title,
        )


_SPEAKS = {
    "via",
    "through",
    "other",
    "goes",
    "connects",
    "connected",
    "über",
    "ueber",
    "durch",
    "mate",
    "verbunden",
    "gegenstelle",
}
_THINGS = ("whole", "place", "cavity", "connector")
_MARKS = (":", ".", "-", "/")


def ask_about_places(grids: Sequence[Grid], roles: Roles, work: Work) -> None:
    """Ask where a column that is not used holds what looks like ends of wires: they would be lost."""
    known = {
        text
        for grid in grids
        for role, column in roles.columns.items()
        if role.endswith("connector")
        for text in grid.column(column)
        if not places.nothing(text)
    }
    found: list[tuple[Heading, str]] = []
    for heading in roles.left_out:
        texts = [t for grid in grids for t in grid.column(heading.column) if not places.nothing(t)]
        speaks = (
            bool(heading.side)
            or heading.thing in _THINGS
            or bool(_SPEAKS & {*plain(heading.text).split("_")})
        )
        alike = [text for text in texts if any(_is_place(text, known, strange=speaks))]
        if roles.kind == "wires" and _is_one_more_end(heading, grids[0], roles):
            alike = texts  # "To 2" beside "To 1", "Pin 3" beside "Pin 2" are ends, whatever they hold.
        if alike and 2 * len(alike) > len(texts):
            found.append((heading, alike[0]))
    shown = [heading.shown for heading, _ in found]
    if found and not work.said("left_over", shown):
        text = f"column {first_of([repr(name) for name in shown], 4)} holds what looks like ends of wires"
        work.ask(
            "left_over",
            f"{text} ({found[0][1][:40]!r}) and is not used: is it left out? Where it holds ends, write a "
            "row for each wire, or say what the column is.",
            ("leave out",),
        )


def _is_one_more_end(heading: Heading, grid: Grid, roles: Roles) -> bool:
    """Whether a heading that is not used is called as those of ends are, but for its number."""
    if heading.side and heading.thing == "whole":
        return True
    ends = {column for role, column in roles.columns.items() if role.startswith(("from", "to"))}
    used = [other for other in grid.headings if other.column in ends]
    called = re.sub(r"\d+", "9", plain(heading.text))
    return bool(heading.text) and any(re.sub(r"\d+", "9", plain(other.text)) == called for other in used)


def _is_place(text: str, known: set[str], *, strange: bool) -> Iterator[bool]:
    """Yield for each mark whether it makes each piece of a text a cavity of a connector."""
    pieces = places.pieces(text, PIECES)
    for mark in _MARKS:
        parted = [piece.rpartition(mark) for piece in pieces]
        yield bool(parted) and all(
            re.fullmatch(r"\d{1,3}|[A-Za-z]\d{0,2}", cavity.strip(), re.ASCII)
            and (
                connector.strip() in known
                or (strange and re.fullmatch(r"[A-Za-z]{1,6}\d{1,3}[A-Za-z]?", connector.strip(), re.ASCII))
            )
            for connector, _, cavity in parted
        )
