"""One list, read: what was understood, what is left out and why, what is still to be asked, and the loom.

``understand`` is one pure function from bytes and answers to a `Reading`. A loom comes of it only where
nothing that it depends on is open.
"""

from __future__ import annotations

import posixpath
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from loomproof.errors import Do, Problem, Todo
from loomproof.loom import building, colours
from loomproof.loom.lists import ends, kicad, making, nets, parting, sheets, sizes, spelling
from loomproof.loom.lists import lines as lining
from loomproof.loom.lists.choosing import grids_of
from loomproof.loom.lists.ends import Entry, Work
from loomproof.loom.lists.headings import Grid
from loomproof.loom.lists.making import Units
from loomproof.loom.lists.nets import Joined
from loomproof.loom.lists.places import one_line
from loomproof.loom.lists.questions import Answers, Question
from loomproof.loom.lists.roles import Roles, assign
from loomproof.loom.model import Loom
from loomproof.loom.text import first_of

MOST_SAMPLES = 5
"""Rows that are shown as they were read."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What was understood of a list.

    ``kind`` is ``wires``, ``nets`` or ``pins``; ``columns`` role and heading, ``guessed`` the roles that
    nobody confirmed, ``named`` the connectors by end that no column holds; ``rows`` how many say anything
    below the headings, whatever became of them; ``left_out`` those that are not in the loom, each with its
    reason; ``sample`` rows as they were read. ``problems`` refuse the list;
    ``loom`` is `None` while there are any, or questions that must be answered.
    """

    file: str
    kind: str
    sheets: tuple[str, ...]
    sheets_left: tuple[str, ...]
    heading_row: int
    columns: tuple[tuple[str, str], ...]
    guessed: tuple[str, ...]
    columns_left: tuple[str, ...]
    named: tuple[tuple[str, str], ...]
    separator: str
    units: Units
    code_why: str
    rows: int
    left_out: tuple[Problem, ...]
    sample: tuple[tuple[int, str], ...]
    questions: tuple[Question, ...]
    problems: tuple[Problem, ...]
    notes: tuple[Problem, ...]
    loom: Loom | None
    answers: Answers

    @property
    def counts(self) -> tuple[int, int, int]:
        """How many of its ``rows`` were read, how many were left out, and how many refuse the list."""
        refused = _rows_of(self.problems)
        left = _rows_of(self.left_out) - refused
        return self.rows - len(left) - len(refused), len(left), len(refused)

    @property
    def open(self) -> tuple[Question, ...]:
        """Return the questions without whose answers there is no loom."""
        return tuple(question for question in self.questions if question.must)


def understand(data: bytes, file: str, name: str = "", answers: Answers | None = None) -> Reading:
    """Read a list under the answers so far.

    Raises `DescriptionError` where the file holds no list that can be read, `UsageError` for an answer that
    names a sheet, a column or a role that there is not.
    """
    answers = answers or Answers()
    work = Work(file, answers)
    title = one_line(name or posixpath.splitext(posixpath.basename(file))[0]) or "loom"
    if kicad.is_netlist(data) or file.casefold().endswith(".net"):
        return _netlist(data, file, title, work)
    source = sheets.read(data, file)
    found = grids_of(source, answers)
    work.notes += [*source.notes, *found.notes]
    grid = found.grids[0]
    roles = assign(grid, answers)
    if roles.kind != "wires" and "connector" not in roles.columns and "place" not in roles.columns:
        roles = lining.owned(roles, found.grids, title)
    elif roles.kind == "wires":
        roles = lining.owned_end(roles, found.grids) if grid.owner else roles
        roles = lining.of_its_sheet(roles, found.grids, answers.said.get("sections", ""))
    # Which tables there are comes first: of several read as one nothing else can be asked.
    work.questions += found.questions or roles.questions
    _lost(found.grids, roles, work)
    joined, separator, entries, rows = _joined(found.grids, roles, work)
    units, why = _units(entries, roles, grid, work)
    headings = _headings(roles, grid)
    work.problems = [replace(p, column=headings.get(p.column, p.column)) for p in work.problems]
    if not entries and not work.questions and not work.problems:
        cure = "Say where its headings stand, or what its columns are."
        work.problems.append(Problem("no row of it holds a wire", file, cure=cure, do=Do(Todo.COLUMNS)))
    loom = None
    if not work.problems and not any(question.must for question in work.questions):
        loom = making.loom_of(joined, units, title, headings, work)
        loom = None if work.problems else loom
    work.notes += _mangled(entries, file)
    columns = tuple((role, grid.headings[place].shown) for role, place in roles.columns.items())
    return Reading(
        file=file,
        kind=roles.kind,
        sheets=tuple(g.sheet.title for g in found.grids if g.sheet.title),
        sheets_left=tuple(found.left),
        heading_row=grid.row,
        columns=columns,
        guessed=tuple(role for role in roles.columns if role not in roles.given),
        columns_left=tuple(heading.shown for heading in roles.left_out),
        named=tuple(roles.connectors.items()),
        separator=separator,
        units=units,
        code_why=why,
        rows=len(rows | _rows_of(work.left_out) | _rows_of(work.problems)),
        left_out=tuple(work.left_out),
        sample=_sample(entries),
        questions=tuple(work.questions),
        problems=tuple(work.problems),
        notes=tuple(work.notes),
        loom=loom,
        answers=replace(
            answers,
            columns=_kept(roles, grid, answers),
            headings=tuple(h.text for h in grid.headings),
            about=_about(work),
        ),
    )


def _rows_of(problems: Iterable[Problem]) -> frozenset[tuple[str, int]]:
    return frozenset((each.sheet, each.row) for each in problems if each.row is not None)


def _kept(roles: Roles, grid: Grid, answers: Answers) -> Mapping[str, str]:
    """Return every column that is used, as an answer: what was shown and taken is confirmed."""
    shown = {role: grid.headings[place].shown for role, place in roles.columns.items()}
    return {**shown, **answers.columns}


def _about(work: Work) -> dict[str, tuple[str, ...]]:
    """Return what each answer is about, so that it is none to what a later issue holds besides."""
    answers = work.answers
    whole = {name for name in ("separator", "colour_code") if getattr(answers, name)}
    return {
        name: tuple(dict.fromkeys((*answers.about.get(name, ()), *things)))
        for name, things in work.about.items()
        if name in answers.said or name in whole
    }


def _lost(grids: Sequence[Grid], roles: Roles, work: Work) -> None:
    """Refuse cells of used columns that hold a formula, a date or an error; ask about numbers among names."""
    for grid in grids:
        used = {place: role for role, place in roles.columns.items()}
        for (row, column), what in grid.sheet.lost.items():
            if row > grid.row and column in used:
                message = f"the cell holds {what}{'; what was typed is lost' if what == 'a date' else ''}"
                cure = (
                    "Paste its value as text." if what == "a formula" else "Write as text what it should say."
                )
                heading = grid.headings[column].shown
                work.problems.append(Problem(message, work.file, grid.sheet.title, row, heading, cure))
        for column, (row, text) in grid.sheet.retyped.items():
            if used.get(column, "") in _NAMES and row > grid.row:
                work.note(
                    f"it holds what is not text, read as shown (first {text}); "
                    "a leading zero may have been lost",
                    "Format the column as text and look at it once more.",
                    row,
                    grid.headings[column].shown,
                    grid.sheet.title,
                )


_NAMES = frozenset(
    ["from", "to", "place", "net", "wire", "connector", "cavity"]
    + [f"{side}_{part}" for side in ("from", "to") for part in ("connector", "cavity")]
)


_Row = tuple[str, int]


def _joined(
    grids: Sequence[Grid], roles: Roles, work: Work
) -> tuple[Joined, str, list[Entry], frozenset[_Row]]:
    splitter = parting.splitter_for(grids, roles, work)
    separator = splitter.separator
    lines = lining.lines_of(grids, roles, splitter, work)
    rows = frozenset((line.sheet, line.row) for line in lines)
    if any(
        question.name.startswith(("column", "connector", "blocks", "sections", "sheets"))
        for question in work.questions
    ):
        return Joined(), separator, [], rows
    ends.settle(lines, roles, work)
    if roles.kind == "nets":
        nets.fill_nets(lines, work)
    spelled = spelling.spell_out(lines, work)
    if roles.kind != "pins":
        spelling.pinless(spelled, work)
    entries = spelling.entries_of(spelled, work)
    if roles.kind == "wires":
        joined = nets.of_wires(entries, work)
    elif roles.kind == "nets":
        joined = nets.of_nets(entries, work)
    else:
        joined = nets.of_pins(entries)
        work.note(
            "a list of pins says what is at each and joins nothing: the loom has connectors and no wires",
            "Where a column says which pins are joined, say that it is the net.",
        )
    return joined, separator, entries, rows


def _units(entries: Sequence[Entry], roles: Roles, grid: Grid, work: Work) -> tuple[Units, str]:
    """Decide for the whole list colour code, decimal mark and what bare numbers are; ask where two fit."""
    answers = work.answers
    numeric = [
        e.texts[role]
        for e in entries
        for role in ("csa_mm2", "section", "length", "length_m", "length_mm")
        if e.texts.get(role)
    ]
    decimal = answers.decimal or sizes.decimal_of(numeric)
    said = spelling.colour_texts(entries)
    code = sizes.code_of(said)
    name = answers.colour_code
    work.said("colour_code", sorted({*said} - {""}))
    new = work.new["colour_code"]
    if name and sizes.reads(name, new) < sizes.reads(code.name, new):
        work.note(
            f"{name} was the code of the issue before; {code.name} reads more of what is new in this one"
        )
        name = ""
    if code.rivals and not name:
        work.questions.append(_which_code(entries, code.rivals))
    texts = {e.texts["section"] for e in entries if e.texts.get("section")}
    size = work.said("size", sizes.magnitudes(texts, decimal))
    if texts and not size:
        size = sizes.size_unit(texts, decimal)
        if not size and any(sizes.section_of(text, "", decimal) is None for text in texts):
            some = ", ".join(sorted(texts)[:4])
            work.ask(
                "size",
                f"are the sizes {some} in mm² or AWG? Without an answer they go into the notes",
                ("mm2", "awg"),
                must=False,
            )
    lengths = [e.texts["length"] for e in entries if e.texts.get("length")]
    length = work.said("length", sizes.magnitudes(lengths, decimal)) or _length_unit(
        entries, roles, grid, decimal, work
    )
    why = "as you said" if name else code.why
    return Units(name or code.name, decimal, size, length, bool(answers.decimal)), why


def _which_code(entries: Sequence[Entry], rivals: Sequence[str]) -> Question:
    said = sorted(set(spelling.colour_texts(entries)) - {""})
    unlike = next((t for t in said if len({colours.parts_of(t, code) for code in rivals}) > 1), said[0])
    each = "; ".join(
        f"{code} reads {unlike!r} as {colours.name_of('/'.join(parts))}"
        for code in rivals
        if (parts := colours.parts_of(unlike, code))
    )
    return Question("colour_code", f"which colour code is it? {each}.", tuple(rivals))


def _length_unit(entries: Sequence[Entry], roles: Roles, grid: Grid, decimal: str, work: Work) -> str:
    """Return the unit of lengths whose heading gives none; asked where the numbers do not tell it."""
    if "length" not in roles.columns:
        return ""
    heading = grid.headings[roles.columns["length"]].text.casefold()
    for unit, words in (("cm", ("cm",)), ("in", ("in", "inch", "inches")), ("ft", ("ft", "feet"))):
        if any(heading.replace("(", " ").replace(")", " ").split()[-1:] == [word] for word in words):
            return unit
    texts = [e.texts["length"] for e in entries if e.texts.get("length")]
    bare = [value for text in texts if (value := sizes.number_of(text, decimal))]
    if not bare:
        return ""
    if heading.startswith(("länge", "laenge", "lange")) and min(bare) >= 20:
        work.note(
            "the lengths have no unit and are taken as millimetres",
            "Say what they are where they are not.",
            do=Do(Todo.ANSWER, "length=m"),
        )
        return "mm"
    some = ", ".join(texts[:3])
    work.ask(
        "length",
        f"in what are the lengths {some}? Without an answer they go into the notes",
        ("mm", "cm", "m", "in", "ft"),
        must=False,
    )
    return ""


def _headings(roles: Roles, grid: Grid) -> dict[str, str]:
    """Return the list's own heading for each role and for what a loom's tables call it."""
    shown = {role: grid.headings[place].shown for role, place in roles.columns.items()}
    for side in ("from", "to"):
        whole = shown.get(side) or shown.get(f"{side}_cavity") or shown.get(f"{side}_connector", side)
        shown.setdefault(f"{side}_cavity", whole)
        shown.setdefault(f"{side}_connector", shown.get(side, whole))
    for part in ("connector", "cavity"):
        if "place" in shown:
            shown.setdefault(part, shown["place"])
            shown.setdefault(f"_{part}", shown["place"])
    return shown


def _sample(entries: Sequence[Entry]) -> tuple[tuple[int, str], ...]:
    """Return a few rows from all over the list, as they were read."""
    step = max(1, len(entries) // MOST_SAMPLES)
    return tuple(
        (
            entry.row,
            " to ".join(
                f"{end.connector}:{end.cavity}" if end.cavity else end.connector for end in entry.ends
            ),
        )
        for entry in entries[::step][:MOST_SAMPLES]
    )


def _mangled(entries: Sequence[Entry], file: str) -> list[Problem]:
    found: list[Problem] = []
    for entry in entries:
        for text in (t for end in entry.ends for t in (end.connector, end.cavity)):
            number = re.fullmatch(r"\d{1,4}\.0", text)
            if building.looks_mangled(text) or number:
                name = text.removesuffix(".0") if number else "1-3 or 1E5"
                message = f"{text!r} looks like what a spreadsheet makes of a name such as {name}"
                cure = "If so, format the column as text and write it again."
                found.append(Problem(message, file, entry.sheet, entry.row, cure=cure, severity="warning"))
    return found


def _netlist(data: bytes, file: str, name: str, work: Work) -> Reading:
    """Read a netlist of electronics design: its nodes are the ends of a list of nets."""
    entries, drawn = kicad.entries_of(data, file)
    if drawn:
        work.note(f"marks on the drawing are no parts and are left out: {first_of(drawn, 8)}")
    joined = nets.of_nets(entries, work)
    units = Units(colours.IEC_60757, ".", "", "")
    loom = None
    if not any(question.must for question in work.questions):
        loom = making.loom_of(joined, units, name, {}, work)
    columns = (("connector", "ref"), ("cavity", "pin"), ("net", "name"))
    return Reading(
        file=file,
        kind="nets",
        sheets=(),
        sheets_left=(),
        heading_row=0,
        columns=columns,
        guessed=(),
        columns_left=(),
        named=(),
        separator="",
        units=units,
        code_why="no colours",
        rows=len(entries),
        left_out=tuple(work.left_out),
        sample=_sample(entries),
        questions=tuple(work.questions),
        problems=tuple(work.problems),
        notes=tuple(work.notes),
        loom=None if work.problems else loom,
        answers=work.answers,
    )
