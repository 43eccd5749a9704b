"""From cells to ends: where each row of a list starts and ends, or why it does not.

Nothing is joined that the list does not join: a mark for "nothing" is no place, a text that may be several
cavities is spelled out only where both ends have equally many, and what can be read in two ways is asked.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from loomproof.errors import Do, Problem
from loomproof.loom.lists import places
from loomproof.loom.lists.places import Place
from loomproof.loom.lists.questions import Answers, Question
from loomproof.loom.lists.roles import Roles
from loomproof.loom.lists.sizes import SCREENS
from loomproof.loom.text import first_of


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
    """What a list comes to: what is left out with its reason, what is wrong, what is noted, what is asked.

    ``about`` is what each question is about, ``new`` what of it no answer that was kept knew.
    """

    file: str
    answers: Answers
    left_out: list[Problem] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    notes: list[Problem] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    about: dict[str, dict[str, None]] = field(default_factory=dict)
    new: dict[str, list[str]] = field(default_factory=dict)

    def leave(self, line: Line, why: str, cure: str = "") -> None:
        """Leave a row out, and say why."""
        self.left_out.append(
            Problem(f"left out: {why}", self.file, line.sheet, line.row, cure=cure, severity="warning")
        )

    def note(
        self,
        message: str,
        cure: str = "",
        row: int | None = None,
        column: str = "",
        sheet: str = "",
        do: Do | None = None,
    ) -> None:
        """Keep what was taken for want of knowing."""
        self.notes.append(Problem(message, self.file, sheet, row, column, cure, "warning", do=do))

    def ask(self, name: str, text: str, answers: Sequence[str], *, must: bool = True) -> None:
        """Ask once for each name; where it is answered already there is nothing to ask."""
        new, old = self.new.get(name), self.answers.said.get(name)
        if new and old:
            kept = f"was answered {old!r} before {first_of(new, 4)} was there"
            text = f"{text} It {kept}."
            if not must:
                cure = "Answer it once more."
                self.note(f"the question of {name} {kept}: the answer is not used", cure)
        if all(question.name != name for question in self.questions):
            self.questions.append(Question(name, text, tuple(answers), must))

    def said(self, name: str, about: Iterable[str] = ()) -> str:
        """Return the answer to a question about these things, or an empty text.

        One that was kept with an issue before is none where the question is about more than it was then.
        """
        now = self.about.setdefault(name, {})
        now.update(dict.fromkeys(about))
        kept = self.answers.about.get(name)
        self.new[name] = [thing for thing in now if kept is not None and thing not in kept]
        return "" if self.new[name] else self.answers.said.get(name, "")


def rows_of(lines: Sequence[Line], most: int = 4) -> str:
    """Return the rows of lines in words: ``row 3``, ``rows 3, 5, 8 and 12 more``."""
    numbers = [f"{line.sheet + ' ' if line.sheet else ''}{line.row}" for line in lines]
    return f"{'row' if len(numbers) == 1 else 'rows'} {first_of(numbers, most)}"


def sides_of(kind: str) -> tuple[str, ...]:
    """Return the ends that a row has: two of a wire, one in a list of ends."""
    return ("from", "to") if kind == "wires" else ("",)


def settle(lines: Sequence[Line], roles: Roles, work: Work) -> None:
    """Say of each end whether it is one; refuse texts that can be no name."""
    _alike(lines, work)
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
    fixed = {*roles.connectors.values(), *roles.by_sheet.values()}
    for line in lines:
        for side in line.sides:
            if side.why:
                continue
            # "X" with a cavity is a connector of that name.
            is_name = side.connector.isalpha() and side.cavity and not places.nothing(side.cavity)
            if (why := places.nothing(side.connector)) and not is_name:
                # A mark beside an empty connector says more than that the connector is empty.
                side.why = (places.nothing(side.cavity) if side.cavity and not side.connector else "") or why
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
    for line in lines:
        # A row with no end at its other side is left out anyway: its reason is that. The end that it has is
        # kept as a cavity without a wire, if it can be one.
        if any(side.why for side in line.sides):
            for side in line.sides:
                side.why = side.why or places.no_name(side.connector) or places.no_name(side.cavity)
            continue
        for side, end in zip(line.sides, sides_of(roles.kind), strict=True):
            _named(side.connector, "connector", end, line, work)
            # Several cavities in one cell are long and no sentence.
            if side.cavity and not places.spelled(side.cavity):
                _named(" ".join(side.cavity.split()), "cavity", end, line, work)


def _alike(lines: Sequence[Line], work: Work) -> None:
    """Ask about names that look alike, or differ in a remark in brackets alone: is it one connector?"""
    count: Counter[str] = Counter()
    for line in lines:
        count.update(
            side.connector for side in line.sides if side.connector and not places.nothing(side.connector)
        )
    groups: dict[str, list[str]] = {}
    for name in count:
        groups.setdefault(places.looks(name), []).append(name)
    doubtful = [names for names in groups.values() if len(names) > 1]
    answer = work.said("alike", [name for names in doubtful for name in names])
    if doubtful and not answer:
        some = "; ".join(" and ".join(map(repr, names)) for names in doubtful[:4])
        work.ask("alike", f"is this one connector, or several: {some}?", ("one", "several"))
    if answer == "one":
        same = {name: max(names, key=lambda n: count[n]) for names in doubtful for name in names}
        for line in lines:
            for side in line.sides:
                side.connector = same.get(side.connector, side.connector)


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
    answer = work.said("brackets", doubtful)
    if doubtful and not answer:
        text = f"are {' and '.join(doubtful[:3])} one cavity with remarks, or several?"
        work.ask("brackets", text, ("remark", "name"))
    for side, bare, remark in found:
        if answer != "name":
            side.cavity, side.remark = bare, remark
