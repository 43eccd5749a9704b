"""From cells to ends: where each row of a list starts and ends, or why it does not.

Nothing is joined that the list does not join: a mark for "nothing" is no place, a text that may be several
cavities is spelled out only where both ends have equally many, and what can be read in two ways is asked.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from loomproof.errors import Problem
from loomproof.loom.lists import places
from loomproof.loom.lists.headings import Grid
from loomproof.loom.lists.places import Place
from loomproof.loom.lists.questions import Answers, Question
from loomproof.loom.lists.roles import Roles
from loomproof.loom.lists.sizes import SCREENS


@dataclass(slots=True)
class Side:
    """One end of a row on its way: ``why`` it is no end, ``marked`` where a mark stood for the cavity."""

    connector: str
    cavity: str
    why: str = ""
    remark: str = ""
    marked: str = ""
    label: str = ""
    filled: bool = False


@dataclass(slots=True)
class Line:
    """One row of a list: its texts by role and its ends (two for a wire, one in a list of ends)."""

    sheet: str
    row: int
    texts: dict[str, str]
    sides: list[Side]
    name: str = ""

    @property
    def is_screen(self) -> bool:
        """Whether the row is a screen, by what stands for its colour."""
        return self.texts.get("colour", "").strip(" .()").casefold() in SCREENS


@dataclass(frozen=True, slots=True)
class Entry:
    """A wire (two ends) or an end of a net (one), with the texts of its row by role."""

    sheet: str
    row: int
    ends: tuple[Place, ...]
    texts: Mapping[str, str]
    labels: tuple[str, ...] = ()


@dataclass(slots=True)
class Work:
    """What a list comes to: what is left out with its reason, what is wrong, what is noted, what is asked."""

    file: str
    answers: Answers
    left_out: list[Problem] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    notes: list[Problem] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)

    def leave(self, line: Line, why: str, cure: str = "") -> None:
        """Leave a row out, and say why."""
        self.left_out.append(
            Problem(f"left out: {why}", self.file, line.sheet, line.row, cure=cure, severity="warning")
        )

    def note(
        self, message: str, cure: str = "", row: int | None = None, column: str = "", sheet: str = ""
    ) -> None:
        """Keep what was taken for want of knowing."""
        self.notes.append(Problem(message, self.file, sheet, row, column, cure, "warning"))

    def ask(self, name: str, text: str, answers: Sequence[str], *, must: bool = True) -> None:
        """Ask once for each name; where it is answered already there is nothing to ask."""
        if all(question.name != name for question in self.questions):
            said = " or ".join(f"--answer {name}={_quoted(answer)}" for answer in answers)
            self.questions.append(Question(name, text, tuple(answers), said, must))

    def said(self, name: str) -> str:
        """Return the answer to a question, or an empty text."""
        return self.answers.said.get(name, "")


def _quoted(text: str) -> str:
    return f'"{text}"' if " " in text else text


def rows_of(lines: Sequence[Line], most: int = 4) -> str:
    """Return the rows of lines in words: ``row 3``, ``rows 3, 5, 8 and 12 more``."""
    numbers = [f"{line.sheet + ' ' if line.sheet else ''}{line.row}" for line in lines]
    more = f" and {len(numbers) - most} more" if len(numbers) > most else ""
    return f"{'row' if len(numbers) == 1 else 'rows'} {', '.join(numbers[:most])}{more}"


def separator_for(grids: Sequence[Grid], roles: Roles, work: Work) -> str:
    """Return the mark that parts connector from cavity in one cell; ask where two do, and unlike."""
    if work.answers.separator:
        return work.answers.separator
    texts: list[str] = []
    for role in ("from", "to", "place"):
        connector = f"{role}_connector" if role != "place" else ""
        if role in roles.columns and connector not in roles.columns and role not in roles.connectors:
            texts += [t for grid in grids for t in grid.column(roles.columns[role]) if not places.nothing(t)]
    pieces = [piece for text in texts for piece in text.split("\n")]
    best = places.separators_of(pieces)
    if not best:
        return ""
    unlike = [
        mark for mark in best if any(places.parted(t, mark) != places.parted(t, best[0]) for t in pieces)
    ]
    if unlike and best[0] != ":":
        example = next(t for t in pieces if places.parted(t, best[0]) != places.parted(t, unlike[0]))
        marks = [best[0], *unlike]
        answers = " or ".join(f"--separator {mark!r}" for mark in marks)
        text = f"what parts connector from cavity in {example!r}?"
        work.questions.append(Question("separator", text, tuple(marks), answers))
    return best[0]


def lines_of(grids: Sequence[Grid], roles: Roles, separator: str, work: Work) -> list[Line]:
    """Return the rows of all sheets with their ends as they are written, filled down where that is plain."""
    lines: list[Line] = []
    for grid in grids:
        mine: list[Line] = []
        for row, cells in grid.cells():
            texts = {role: cells[place] for role, place in roles.columns.items()}
            sides = [_side(texts, roles, side, separator, work) for side in _sides(roles.kind)]
            mine.append(Line(grid.sheet.title, row, texts, sides))
        for i, side in enumerate(_sides(roles.kind)):
            _fill(mine, i, grid, roles.columns.get(f"{side}_connector" if side else "connector"), work)
        lines += mine
    return lines


def _sides(kind: str) -> tuple[str, ...]:
    return ("from", "to") if kind == "wires" else ("",)


def _side(texts: Mapping[str, str], roles: Roles, side: str, separator: str, work: Work) -> Side:
    whole = side or "place"
    front = f"{side}_" if side else ""
    named = roles.connectors.get(side or "one", "")
    connector = " ".join((texts.get(f"{front}connector", "") or named).split())
    cavity = texts.get(f"{front}cavity", "")
    label = " ".join(texts.get(f"{front}label", "").split())
    place = texts.get(whole, "")
    if whole not in roles.columns:
        return Side(connector, cavity, label=label)
    if side and (f"{front}connector" in roles.columns or named):
        return Side(connector, cavity or place, label=label)
    why = places.nothing(place)
    if why:
        return Side(connector, "", why if place or not connector else "", label=label)
    given = bool(work.answers.separator)
    found = [places.parted(piece, separator, given=given) for piece in place.split("\n")]
    if len(found) > 1 and len({name for name, _ in found}) == 1 and all(c for _, c in found):
        first, pin = found[0][0], ", ".join(pin for _, pin in found)
    elif len(found) == 1:
        first, pin = _several(place, separator, given) or found[0]
    else:
        first, pin = " ".join(place.split()), ""
    if connector:
        # In a list of ends the place stands within a device: "Motec_A.7", or the device's own "2".
        return Side(f"{connector}.{first}", pin) if pin else Side(connector, " ".join(place.split()))
    return Side(" ".join(first.split()), pin or cavity, label=label)


def _several(text: str, separator: str, given: bool) -> tuple[str, str] | None:
    """Return connector and cavities of ``ECU:5, ECU:6``; `None` where the text is something else."""
    pieces = re.split(r"\s*[,;&]\s*", text)
    found = [places.parted(piece, separator, given=given) for piece in pieces if separator]
    if len(found) < 2 or not all(cavity for _, cavity in found):
        return None
    names = {name for name, _ in found}
    return (found[0][0], ", ".join(cavity for _, cavity in found)) if len(names) == 1 else None


def _fill(lines: Sequence[Line], i: int, grid: Grid, column: int | None, work: Work) -> None:
    """Write a connector into the rows below that give a cavity and no connector, where that is meant."""
    if column is None:
        return
    blank = [
        line for line in lines if not line.sides[i].connector and not places.nothing(line.sides[i].cavity)
    ]
    if not blank:
        return
    merged = any(place == column for _, place in grid.sheet.merged)
    said = Counter(line.sides[i].connector for line in lines if line.sides[i].connector)
    plain = (
        not merged and len(blank) > 1 and 4 * len(blank) >= len(lines) and max(said.values(), default=0) == 1
    )
    heading = grid.headings[column].shown
    answer = work.said("blank") or ("above" if plain and lines[0].sides[i].connector else "")
    if not answer:
        text = (
            f"{rows_of(blank)} have a cavity and no connector in column {heading!r}: is it the one above, or "
            "do they end nowhere?"
        )
        work.ask("blank", text, ("above", "none"))
    if answer == "above":
        above = ""
        for line in lines:
            if line in blank:
                line.sides[i].connector, line.sides[i].filled = above, True
            above = line.sides[i].connector or above
        work.note(
            f"empty cells are taken as the cell above ({rows_of(blank)})",
            column=heading,
            sheet=grid.sheet.title,
        )
    for line in blank:
        if not line.sides[i].connector:
            line.sides[i].why = "it has a cavity and no connector"


def settle(lines: Sequence[Line], roles: Roles, work: Work) -> None:
    """Say of each end whether it is one; refuse texts that can be no name."""
    _remarks(lines, work)
    beside: dict[str, set[str]] = {}
    for line in lines:
        for side in line.sides:
            if side.connector and side.cavity and not places.nothing(side.cavity):
                beside.setdefault(side.connector, set()).add(side.cavity)
    marks: dict[str, set[str]] = {}
    for line in lines:
        for side in line.sides:
            if side.connector and side.cavity:
                marks.setdefault(side.connector, set()).add(side.cavity)
    fixed = set(roles.connectors.values())
    for line in lines:
        for side, end in zip(line.sides, _sides(roles.kind), strict=True):
            if side.why:
                continue
            # "X" with a cavity is a connector of that name.
            if (why := places.nothing(side.connector)) and not (side.connector.isalpha() and side.cavity):
                side.why = why
                continue
            if side.cavity and (
                why := places.empty_cavity(side.cavity, marks[side.connector] - {side.cavity})
            ):
                # "-" beside a splice says that it has no cavities; beside a plug, that the wire ends nowhere.
                not_used = (
                    side.cavity.casefold() in ("nc", "n.c.", "n/c", "open", "x", "?")
                    or side.connector in fixed
                )
                if beside.get(side.connector) or not_used:
                    side.why = why
                    continue
                side.marked, side.cavity = side.cavity, ""
            elif not side.cavity and side.connector in fixed:
                side.why = "is empty"
                continue
            for text, role in ((side.connector, "connector"), (" ".join(side.cavity.split()), "cavity")):
                # Several cavities in one cell are long and no sentence.
                if text and (role == "connector" or not places.spelled(side.cavity)):
                    _named(text, role, end, line, work)


def _named(text: str, role: str, end: str, line: Line, work: Work) -> None:
    if wrong := places.no_name(text, f"name of a {role}"):
        cure = "Take the row out or write a short name there; is another column the one that is meant?"
        heading = next((r for r in (f"{end}_{role}", end, "place", role) if r in line.texts), role)
        work.problems.append(Problem(wrong, work.file, line.sheet, line.row, heading, cure))


def _remarks(lines: Sequence[Line], work: Work) -> None:
    """Take remarks in brackets off cavities, unless two remarks alone tell two cavities apart."""
    said: dict[tuple[str, str], set[str]] = {}
    found: list[tuple[Side, str, str]] = []
    for line in lines:
        for side in line.sides:
            bare, remark = places.without_remark(" ".join(side.cavity.split()))
            if remark and not side.why:
                said.setdefault((side.connector, bare), set()).add(remark)
                found.append((side, bare, remark))
    doubtful = [
        f"{c}:{bare} ({remark})"
        for (c, bare), remarks in said.items()
        if len(remarks) > 1
        for remark in sorted(remarks)
    ]
    answer = work.said("brackets")
    if doubtful and not answer:
        text = f"are {' and '.join(doubtful[:3])} one cavity with remarks, or several?"
        work.ask("brackets", text, ("remark", "name"))
    for side, bare, remark in found:
        if answer != "name":
            side.cavity, side.remark = bare, remark
