"""Cells that stand for several cavities, ends without a cavity, and the entries that come of all rows."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterator, Sequence

from loomproof.errors import Do, Todo
from loomproof.loom import colours
from loomproof.loom.lists import places
from loomproof.loom.lists.ends import Entry, Line, Side, Work, rows_of
from loomproof.loom.lists.places import Place
from loomproof.loom.text import first_of

_NAMED_SPLICE = (
    r"(?:sp|spl|splice|joint|splei(?:ss|ß))(?:[-_ ][a-z]{1,10})?[-_ ]?\d+[a-z]?"
    r"|(?:splice|splei(?:ss|ß))[-_ ]\w{1,10}"
)
SPLICE = re.compile(rf"{_NAMED_SPLICE}|s[-_ ]?\d+[a-z]?", re.IGNORECASE)
"""Names that people give to splices."""

_PLACES = r"stud|bolt|point|post|bar|bus|lug|strap|block|terminal|ring|punkt|bolzen|schiene"
_MEETS = re.compile(
    # S and G with one or two digits may be a switch and a generator as well (IEC 81346-2).
    rf"{_NAMED_SPLICE}|[sg][-_ ]?\d{{3,}}[a-z]{{0,2}}(?:\(\w+\))?"
    r"|g[-_ ]?\d{1,2}[-_]?[a-z]?\(\w+\)"
    r"|(?:gnd|ground|earth|masse|erde)[-_ ]?\d*[-_a-z]{0,3}(?:\(\w+\))?"
    rf"|(?:\w+[-_ ]){{0,3}}(?:gnd|earth|ground|masse|chassis)(?:[-_ ]+(?:{_PLACES}))?(?:[-_ ]?\d+)?"
    r"|(?:\w+[-_ ]){0,3}(?:ring[-_ ](?:terminal|lug)|eyelet)(?:[-_ ]?m?\d+)?|ring[-_ ]?m?\d+"
    r"|(?:b|bat|batt|battery|batterie)[-_ ]*(?:[+−-]|pos|neg|positive|negative|plus|minus)"
    r"(?:[-_ ]+(?:post|pole|terminal|pol))?",
    re.IGNORECASE,
)
"""Names of splices, bolts and posts, where wires do meet: any other is asked about."""


def spell_out(lines: Sequence[Line], work: Work) -> list[Line]:
    """Return rows with several cavities in a cell as one row for each, where both ends have equally many."""
    by_name, times = _by_name(lines), _times(lines)
    each = [_each(line, by_name) for line in lines]
    answer = work.said("ranges", [connector for connector, _ in _several(lines, each)])
    if answer == "all names":
        return list(lines)
    uneven = {connector for connector, even in _several(lines, each) if not even}
    result: list[Line] = []
    spelled: list[Line] = []
    asked: list[Line] = []
    for line, names in zip(lines, each, strict=True):
        if all(len(found) < 2 for found in names):
            result.append(line)
            continue
        # A cavity that a range would spell out and that stands elsewhere as well: is it a range at all?
        doubtful = any(
            side.connector in uneven or any(times[side.connector, name] > 1 for name in found)
            for side, found in zip(line.sides, names, strict=True)
            if len(found) > 1
        )
        if answer == "names" and (doubtful or not _even(names)):
            result.append(line)
        elif answer == "expand" and len(names) > 1 and not _even(names) and min(map(len, names)) > 1:
            against = " against ".join(str(len(found)) for found in names)
            work.leave(line, f"so many cavities stand at its ends: {against}", "Write one row for each wire.")
        elif answer == "expand" or (_even(names) and not doubtful):
            spelled.append(line)
            result += _spelled(line, names)
        else:
            asked.append(line)
    if spelled:
        work.note(
            f"several cavities stand in a cell of {rows_of(spelled)}, and each is read as a wire",
            "Where they are names of one cavity, say so.",
            do=Do(Todo.ANSWER, 'ranges="all names"'),
        )
    if asked:
        text = " against ".join(repr(side.cavity or side.connector) for side in asked[0].sides)
        text = f"{text} in row {asked[0].row}: are these several cavities (2-4 is 2, 3 and 4), or names?"
        work.ask("ranges", f"{text} ({rows_of(asked)})", ("expand", "names"))
    return result


def _several(lines: Sequence[Line], each: Sequence[Sequence[tuple[str, ...]]]) -> Iterator[tuple[str, bool]]:
    """Yield the connectors at which a cell may stand for several cavities, and whether both ends agree."""
    for line, names in zip(lines, each, strict=True):
        for side, found in zip(line.sides, names, strict=True):
            if len(found) > 1:
                yield side.connector, _even(names)


def _each(line: Line, by_name: Collection[str]) -> list[tuple[str, ...]]:
    """Return what each end's cell spells out; nothing where an end is none or its cavities are names."""
    if any(side.why for side in line.sides):
        return [() for _ in line.sides]
    found = [() if side.connector in by_name else places.spelled(side.cavity) for side in line.sides]
    most = max(map(len, found), default=0)
    if most < 2:
        return found
    return [
        names or (() if side.connector in by_name else places.spelled_as(side.cavity, most))
        for side, names in zip(line.sides, found, strict=True)
    ]


def _even(names: Sequence[tuple[str, ...]]) -> bool:
    """Whether both ends have equally many; an end of a net has nothing to be held against."""
    counts = [max(1, len(found)) for found in names]
    return len(set(counts)) == 1 and (len(counts) > 1 or counts == [1])


def _by_name(lines: Sequence[Line]) -> set[str]:
    """Return connectors whose cavities are plainly named 1-1, 1-2 and so on: 1-1 is no range."""
    found: dict[str, set[str]] = {}
    for line in lines:
        for side in line.sides:
            if not side.why:
                found.setdefault(side.connector, set()).add(side.cavity)
    return {
        connector
        for connector, texts in found.items()
        if any(len(places.spelled(text)) == 1 and text != places.spelled(text)[0] for text in texts)
    }


def _times(lines: Sequence[Line]) -> Counter[tuple[str, str]]:
    """Return how often each cavity stands in the list, those that a range spells out included."""
    return Counter(
        (side.connector, name)
        for line in lines
        for side in line.sides
        if not side.why
        for name in places.spelled(side.cavity) or (side.cavity,)
    )


def _spelled(line: Line, each: Sequence[tuple[str, ...]]) -> list[Line]:
    count = max(len(names) for names in each)
    parts = {
        role: _parts(text, count)
        for role, text in line.texts.items()
        if role in ("colour", "wire", "circuit")
    }
    found: list[Line] = []
    for i in range(count):
        sides = [
            Side(
                side.connector,
                names[i] if len(names) > 1 else side.cavity,
                remark=side.remark,
                label=side.label,
            )
            for side, names in zip(line.sides, each, strict=True)
        ]
        texts = dict(line.texts)
        for role, said in parts.items():
            texts[role] = said[i] if said else texts[role]
        if not parts.get("wire") and texts.get("wire"):
            texts["wire"] = f"{texts['wire']}.{i + 1}"
        found.append(Line(line.sheet, line.row, texts, sides))
    return found


def _parts(text: str, count: int) -> tuple[str, ...]:
    """Return the parts of a cell that holds one text for each of ``count`` wires; empty where it does not."""
    for pattern in (r"\s*[,;\n]\s*", r"\s+/\s+"):
        parts = re.split(pattern, text)
        if len(parts) == count:
            return tuple(parts)
    return ()


def pinless(lines: Sequence[Line], work: Work) -> None:
    """Settle the ends that name a connector and no cavity: a splice, a bolt, a screen, or a question."""
    having = {s.connector for line in lines for s in line.sides if s.cavity and not s.why}
    without: dict[str, list[tuple[Line, Side]]] = {}
    for line in lines:
        for side in line.sides:
            if not side.cavity and not side.why:
                without.setdefault(side.connector, []).append((line, side))
    mixed: _Found = {}
    joints: _Found = {}
    for connector, found in without.items():
        screens = [pair for pair in found if pair[0].is_screen and connector in having]
        for line, side in screens:
            side.cavity = "screen" if len(screens) == 1 else f"screen {_name_of(line)}"
            work.note(
                f"the screen at {connector} has no cavity in the list: its end is called {side.cavity}",
                "If it is not brought out there, take the wire out of wires.csv.",
                line.row,
                sheet=line.sheet,
            )
        rest = [pair for pair in found if pair not in screens]
        if rest and connector in having:
            mixed[connector] = rest
        elif rest and not _meets(connector, rest) and (len(rest) > 1 or rest[0][1].marked):
            joints[connector] = rest
    _settle(
        "pinless",
        mixed,
        "no cavity is given at {}, which has cavities elsewhere; has the wire an end of its own there, "
        "or is it left out?",
        ("own", "leave out"),
        work,
    )
    _settle(
        "joints",
        joints,
        "no cavity is known at {}: do the wires meet there (a splice, a bolt), or has each an end of its "
        "own?",
        ("joined", "own", "leave out"),
        work,
    )


_Found = dict[str, list[tuple[Line, Side]]]
"""Ends without a cavity, by their connector."""


def _settle(name: str, found: _Found, text: str, answers: Sequence[str], work: Work) -> None:
    """Carry out what was answered about connectors, in common or one by one; ask what was not."""
    if not found:
        return
    shown = {c: f"{c} ({rows_of([line for line, _ in pairs], 2)})" for c, pairs in found.items()}
    common = work.said(name, found) or ("each" if work.answers.said.get(name) == "each" else "")
    if not common:
        several = ("each",) if len(found) > 1 else ()
        work.ask(name, text.format(first_of(shown.values(), 5)), (*answers, *several))
    for connector, pairs in found.items():
        answer = work.said(f"{name} {connector}", [connector]) or common
        if answer == "each":
            work.ask(f"{name} {connector}", text.format(shown[connector]), answers)
        _answered(pairs, answer)


def _meets(connector: str, found: Sequence[tuple[Line, Side]]) -> bool:
    """Whether wires at this place meet, by its name; a mark in the cavity's cell speaks against a bolt."""
    marked = any(side.marked for _, side in found)
    return bool(_MEETS.fullmatch(connector)) and (not marked or bool(SPLICE.fullmatch(connector)))


def _name_of(line: Line) -> str:
    return places.one_line(line.texts.get("wire", "")) or str(line.row)


def _answered(found: Sequence[tuple[Line, Side]], answer: str) -> None:
    for line, side in found:
        if answer == "own":
            side.cavity = f"end {_name_of(line)}"
        elif answer == "leave out":
            side.why = "no cavity is known there"


def entries_of(lines: Sequence[Line], work: Work) -> list[Entry]:
    """Return the rows that have their ends; leave the others out, each with its reason."""
    entries: list[Entry] = []
    unsure: list[Line] = []
    answer = work.said("blank", ["an empty end"])
    before: Line | None = None
    for line in lines:
        wrong = [side for side in line.sides if side.why]
        if len(line.sides) > 1 and len(wrong) == 1 and wrong[0].why == "is empty" and _is_wire(line):
            unsure.append(line)
            if answer == "above" and before is not None and before.sheet == line.sheet:
                _take_above(line, before)
                wrong = [side for side in line.sides if side.why]
        before = line
        if not wrong:
            ends = tuple(Place(s.connector, " ".join(s.cavity.split()), s.remark) for s in line.sides)
            entries.append(Entry(line.sheet, line.row, ends, line.texts, tuple(s.label for s in line.sides)))
        elif len(wrong) == len(line.sides) and len(line.sides) > 1:
            empty = all(side.why == "is empty" for side in wrong)
            work.leave(line, "it holds neither end" if empty else f"no end: {_why(wrong)}")
        else:
            which = "" if len(line.sides) == 1 else f" ({'from' if line.sides[0].why else 'to'})"
            work.leave(line, f"it ends nowhere{which}: {_why(wrong)}")
    if unsure and not answer:
        text = f"{rows_of(unsure)}: a wire is described and one end is empty; is it the end above, or none?"
        work.ask("blank", text, ("above", "none"))
    return entries


def _take_above(line: Line, above: Line) -> None:
    for side, end in zip(line.sides, above.sides, strict=True):
        if side.why:
            side.connector, side.cavity, side.why = end.connector, end.cavity, end.why


def _why(sides: Sequence[Side]) -> str:
    return ", ".join(
        dict.fromkeys(
            f"the cell {side.why}" if side.why.startswith(("is ", "says ")) else side.why for side in sides
        )
    )


def _is_wire(line: Line) -> bool:
    """Whether a row tells something of a wire besides its end."""
    return any(
        line.texts.get(role)
        for role in ("colour", "csa_mm2", "awg", "section", "length", "length_m", "length_mm")
    )


def colour_texts(entries: Sequence[Entry]) -> list[str]:
    """Return what stands for colours, remarks in brackets off."""
    return [bare_colour(entry.texts.get("colour", "")) for entry in entries]


def bare_colour(text: str) -> str:
    """Return a colour's text without a remark in brackets and a size after it: ``YE-VT (18ga)``."""
    return places.without_remark(" ".join(text.split()))[0]


def read_colour(text: str, code: str) -> str | None:
    """Return the colour as held, an empty text where none is said, `None` where the code does not read it."""
    parts = colours.parts_of(text, code) if text else None
    if parts is not None:
        return "/".join(parts)  # "blank" is a colour in German, and no end.
    return "" if places.nothing(text) else None
