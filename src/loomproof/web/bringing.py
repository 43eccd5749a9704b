"""Bringing a loom: files are sent, what is understood of them is shown and asked, then it is kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any
from urllib.parse import quote

from loomproof.errors import InputError, LoomproofError, Problem, UsageError
from loomproof.jobs.bringing import Brought, Sort, brought, keep, place_for, standing, understood
from loomproof.jobs.importing import KINDS, LEAVE, ListImport, facts_of
from loomproof.loom.lists.headings import ROLES, Heading
from loomproof.loom.lists.questions import CHOICES, FILE, Answers
from loomproof.loom.lists.sheets import Sheet
from loomproof.loom.reading import LoadedLoom
from loomproof.loom.summary import summary_of
from loomproof.loom.text import shortened
from loomproof.reports.words import plural
from loomproof.web import beside
from loomproof.web.answers import Answer, Asked, Go, House, Page
from loomproof.web.session import told

MOST_ROWS = 100
"""So many rows that are left out, and changes, are shown of a long list; how many more there are is said."""

MOST_SHEETS, MOST_STANDING, MOST_COLUMNS = 5, 8, 26
"""So many tables, rows and columns are shown of a file that is no list as it stands."""

STRANGE = f"The headings are not those that {FILE} speaks of; it is not used."
"""What is said of answers that were kept for a list with other columns."""

CODES = ("IEC 60757", "BS AU 7", "German", "US", "Japanese")
"""Codes of wire colours, as the command line names them."""

_CHOICES = tuple(
    (f"{name}={answer}", f'{name}="{answer}"' if " " in answer else f"{name}={answer}")
    for name, answers in CHOICES.items()
    for answer in answers
)
"""Each answer that a list may be given, as a form sends it and as what is said of a list names it."""

SIDES = ("from", "to", "one")
_SAID = ("heading row", "separator", "decimal", "colour code", *(f"{side} connector" for side in SIDES))


def bring(house: House, asked: Asked) -> Answer:
    """Take files, and go on to what is understood of them."""
    sent: dict[str, bytes] = {}
    for each in asked.files:
        if each.name in sent:
            raise UsageError(
                f"two files are called {each.name}",
                cure="Bring the files of one loom's folder, without those below it.",
            )
        sent[each.name] = each.data
    return Go(f"/brought/{house.memory.brought.put(brought(sent))}")


def show(house: House, asked: Asked) -> Answer:
    """Show what is understood of what was brought, and what it leaves open."""
    return _shown(house, asked, _found(house, asked))


def read(house: House, asked: Asked) -> Answer:
    """Take an answer to a question of a list, or how it is to be read otherwise."""
    what = _found(house, asked)
    try:
        now = _said(what, asked, house)
    except LoomproofError as error:
        return _shown(house, asked, what, error)
    try:
        understood(now, house.workplace.folder)
    except UsageError as error:  # an answer that the list can't take changes nothing
        return _shown(house, asked, what, error)
    except LoomproofError:
        pass  # what is wrong with the file is told where it is shown
    house.memory.brought.put(now, asked.names["key"])
    return Go(f"/brought/{asked.names['key']}")


def take(house: House, asked: Asked) -> Answer:
    """Keep it as a loom here, once somebody has looked at what was understood."""
    what = _found(house, asked)
    try:
        what = replace(what, called=asked.field("called") or what.called)
        made = understood(what, house.workplace.folder)
        if isinstance(made, ListImport):
            made.made()  # what is open or wrong is said before
            if made.reading.questions:
                raise UsageError("a question stands open", cure=f"Answer it, if with {LEAVE!r}.")
        if isinstance(made, ListImport) and made.unsure and not asked.field("right"):
            raise UsageError(
                "nobody has confirmed these columns", cure="Look at them, and say that this is right."
            )
        name = keep(what, made, house.workplace.folder, over=bool(asked.field("over")))
    except LoomproofError as error:
        return _shown(house, asked, what, error)
    house.memory.brought.drop(asked.names["key"])
    return Go(f"/looms/{quote(name, safe='')}/look")


def drop(house: House, asked: Asked) -> Answer:
    """Forget what was brought."""
    house.memory.brought.drop(asked.names["key"])
    return Go("/")


def _found(house: House, asked: Asked) -> Brought:
    found = house.memory.brought.get(asked.names["key"])
    if found is None:
        raise UsageError(
            "what was brought here was kept, dropped, or pushed out by what came later",
            cure="Bring it again.",
        )
    return found


def _said(what: Brought, asked: Asked, house: House) -> Brought:
    """Return what was brought with what a form says of it."""
    if what.sort is not Sort.LIST:
        return replace(
            what,
            configuration=asked.field("configuration"),
            length_type=asked.field("length type"),
            harness=asked.field("harness"),
        )
    if asked.field("question"):
        made = understood(what, house.workplace.folder)
        assert isinstance(made, ListImport)
        asking = {question.name: question for question in made.reading.questions}
        question = asking.get(asked.field("question"))
        if question is None:
            raise UsageError("this question was answered already", cure="Look at what stands there now.")
        return replace(what, answers=what.answers.with_answer(question, asked.field("answer")))
    if asked.field("said"):
        name, _, answer = asked.field("said").partition("=")
        return replace(what, answers=replace(what.answers, said={**what.answers.said, name: answer}))
    if asked.field("role"):
        if asked.field("role") not in ROLES or not asked.field("heading"):
            raise UsageError("which column holds what is not said", cure="Pick both.")
        told_columns = {**what.answers.columns, asked.field("role"): asked.field("heading")}
        return replace(what, answers=replace(what.answers, columns=told_columns))
    said = {name: asked.field(name) for name in _SAID}
    if said["decimal"] not in ("", ".", ",") or said["colour code"] not in ("", *CODES):
        raise UsageError("this is no way to read a list", cure="Load the page again.")
    sides = {side: said[f"{side} connector"] for side in SIDES}
    answers: Answers = replace(
        what.answers,
        heading_row=asked.number("heading row") if said["heading row"] else 0,
        separator=said["separator"],
        decimal=said["decimal"],
        colour_code=said["colour code"],
        connectors={side: name for side, name in sides.items() if name},
    )
    return replace(what, answers=answers, called=asked.field("called") or what.called)


def _shown(house: House, asked: Asked, what: Brought, error: LoomproofError | None = None) -> Answer:
    values: dict[str, Any] = {
        "key": asked.names["key"],
        "what": what,
        "given": asked.form,
        "error": None,
        "placed": [],
        "list": None,
        "loom": None,
        "roles": ROLES,
        "codes": CODES,
        "choices": _CHOICES,
        "standing": [],
        "leave": LEAVE,
        "called": asked.field("called") or what.called,
        "kept_as": "",
    }
    try:
        made = understood(what, house.workplace.folder)
    except InputError as wrong:
        values["error"] = told(error or wrong, house.how)
        if error is None:
            values |= _placed(wrong, what, house)
        values["standing"] = list(map(_rows, standing(what)[:MOST_SHEETS]))
        return Page("brought.html", values, 409)
    if isinstance(made, ListImport):
        values |= {"list": _list(made, house), "kept_as": made.target.name}
        problems = made.reading.problems
    else:
        values |= {"loom": _loom(made, what, house), "called": values["called"] or made.loom.name}
        values["kept_as"] = place_for(values["called"], house.workplace.folder).name
        problems = ()
    if error is not None:
        values["error"] = told(error, house.how)
    elif problems:
        values["placed"] = [beside.Beside(_text(each, house), True, "") for each in problems]
    return Page("brought.html", values, 200 if error is None else 409)


def _placed(wrong: InputError, what: Brought, house: House) -> Mapping[str, Any]:
    """Return what is wrong with what was brought, beside its cells."""
    tables = {} if what.sort in (Sort.HARNESS, Sort.OTHER, Sort.LIST) else beside.tables_in(what.files)
    placed = list(beside.among(wrong.problems, tables, house.how))
    lines = list(filter(None, [wrong.cure, house.how(wrong.do)]))
    return {"placed": placed, "error": {"message": wrong.message, "lines": lines}}


def _rows(sheet: Sheet) -> dict[str, Any]:
    """Return the first rows of a table as they stand there, by number, and the letters of its columns."""
    first = sheet.rows[:MOST_STANDING]
    width = min(max(len(cells) for _, cells in first), MOST_COLUMNS)
    return {
        "title": sheet.title,
        "letters": [Heading(place, "").letter for place in range(width)],
        "rows": [
            (n, [shortened(c, beside.CELL) for c in (*cells, *[""] * width)[:width]]) for n, cells in first
        ],
        "more": len(sheet.rows) - len(first),
    }


def _text(problem: Problem, house: House) -> str:
    return " ".join(filter(None, (str(problem), house.how(problem.do))))


def _loom(made: LoadedLoom, what: Brought, house: House) -> dict[str, Any]:
    """Return what a loom that was brought comes to."""
    summary = summary_of(made.loom)
    tables = beside.tables_in(what.files) if what.sort in (Sort.FOLDER, Sort.WORKBOOK) else {}
    return {
        "name": made.loom.name,
        "serial": made.loom.serial,
        "counts": ", ".join(
            [
                plural(summary.connectors, "connector"),
                plural(summary.cavities, "cavity", "cavities"),
                plural(summary.wires, "wire"),
                plural(summary.splices, "splice"),
                plural(summary.components, "component"),
            ]
        ),
        "missing": summary.missing,
        "odd": list(beside.among(made.warnings, tables, house.how)),
        "left_out": [_text(each, house) for each in made.left_out],
    }


def _list(made: ListImport, house: House) -> dict[str, Any]:
    """Return what was understood of a list, as the terminal shows it."""
    reading = made.reading
    try:
        changed = made.changes()
    except LoomproofError:
        changed = None  # it makes no loom yet
    left = [_text(each, house) for each in reading.left_out]
    return {
        "kind": KINDS[reading.kind],
        "facts": list(facts_of(reading)),
        "sample": reading.sample,
        "left_out": left[:MOST_ROWS],
        "more_left": len(left) - MOST_ROWS,
        "notes": [_text(each, house) for each in reading.notes],
        "questions": reading.questions,
        "headings": reading.answers.headings,
        "answers": made.answers,
        "unsure": made.unsure,
        "strange": f"The headings are not those that {FILE} speaks of; it is not used."
        if made.strange
        else "",
        "again": made.old is not None,
        "changed": None if changed is None else changed[:MOST_ROWS],
        "more_changed": 0 if changed is None else len(changed) - MOST_ROWS,
        "makes": reading.loom is not None,
    }
