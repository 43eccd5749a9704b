"""From cells to rows with their ends as they are written: parted, and filled down where that is plain."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from loomproof.errors import Problem, UsageError
from loomproof.loom.lists import places
from loomproof.loom.lists.ends import Line, Side, Work, rows_of, sides_of
from loomproof.loom.lists.headings import Grid, plain, spoken
from loomproof.loom.lists.left_over import Withdrawn, ask_about_places, say_parts_within
from loomproof.loom.lists.parting import PIECES, Splitter
from loomproof.loom.lists.questions import Question
from loomproof.loom.lists.roles import Roles
from loomproof.loom.lists.tables import titles_of
from loomproof.loom.text import first_of


def lines_of(grids: Sequence[Grid], roles: Roles, splitter: Splitter, work: Work) -> list[Line]:
    """Return the rows of all sheets with their ends as they are written, filled down where that is plain."""
    lines: list[Line] = []
    variants = variants_of(grids, roles, work)
    withdrawn = Withdrawn(grids, roles, work)
    ask_about_places(grids, roles, work)
    say_parts_within(grids, roles, work)
    for grid in grids:
        mine: list[Line] = []
        used = set(roles.columns.values())
        titles = titles_of(grid) if roles.kind == "pins" and work.said("sections") == "no" else {}
        above: dict[str, str] = {}
        for n, (row, cells) in enumerate(grid.cells()):
            texts = {role: cells[place] for role, place in roles.columns.items()}
            above = texts = _as_above(texts, above, row, grid, roles, work)
            line = Line(grid.sheet.title, row, texts, [])
            if any((row, place) in grid.sheet.lost for place in used):
                continue  # It is refused for what that cell lost; an empty cell asks nothing.
            if re.match(r"(?:#|//)\s*[^\W\d]", next(filter(None, cells), "")):
                work.leave(line, "it begins with the mark of a remark")
            elif row in titles:
                work.leave(line, f"it holds a title alone, {titles[row]!r}")
            elif why := variants.why_not(cells) or withdrawn.why_not(grid, row, cells):
                work.leave(line, why)
            elif roles.kind != "pins" and sum(map(bool, cells)) == 1:
                text = next(text for text in cells if text)
                work.leave(line, f"it holds one text alone, {text[:60]!r}")
            elif _is_headings(cells, grid, roles) or (not n and _speaks_of_ends(texts)):
                work.leave(line, "it holds the headings once more")
            else:
                mine += _ends_in(line, owned_by_sheet(grid, roles), splitter, work)
        for i, side in enumerate(sides_of(roles.kind)):
            _fill(mine, i, grid, roles.columns.get(f"{side}_connector" if side else "connector"), work)
        lines += mine
    return lines


def _as_above(
    texts: dict[str, str], above: Mapping[str, str], row: int, grid: Grid, roles: Roles, work: Work
) -> dict[str, str]:
    """Return a row's texts with the one above where a mark stands for it; a cavity is never the one above."""
    found = dict(texts)
    for role, text in texts.items():
        if text.casefold() in places.AS_ABOVE and above.get(role) and not role.endswith("cavity"):
            found[role] = above[role]
            heading = grid.headings[roles.columns[role]].shown
            message = f"{text!r} is read as the cell above: {above[role]!r}"
            work.note(message, row=row, column=heading, sheet=grid.sheet.title)
    return found


def _speaks_of_ends(texts: Mapping[str, str]) -> bool:
    """Whether a row below the headings says the same in another language: ``Von``, ``Nach``."""
    said = [text for role, text in texts.items() if role.startswith(("from", "to", "place", "connector"))]
    ends = ("whole", "connector", "cavity", "place")
    found = [spoken(0, text) for text in said]
    # "Pin 1 of J1" speaks of a pin, and is one.
    return len(said) > 1 and all(
        len(h.text) > 1 and h.thing in ends and not re.search(r"\d", h.name) for h in found
    )


def _is_headings(cells: Sequence[str], grid: Grid, roles: Roles) -> bool:
    """Whether a row repeats the headings, as lists of several pages do."""
    used = [(cells[place], grid.headings[place].text) for place in roles.columns.values()]
    return bool(used) and all(
        head and cell and head.casefold().endswith(cell.casefold()) for cell, head in used
    )


def owned(roles: Roles, grids: Sequence[Grid], title: str) -> Roles:
    """Say whose the pins of a list are that names no connector: the heading's, the sheet's, the file's."""
    named = grids[0].headings[roles.columns["cavity"]].name if "cavity" in roles.columns else ""
    owners: dict[str, str] = {}
    for n, grid in enumerate(grids, 1):
        # The remark in brackets of a heading ("A (inputs)") says what it holds.
        name = grid.owner or places.without_remark(grid.sheet.title)[0]
        name = f"{title} {n}" if places.no_name(name) or not name else name
        owners[grid.sheet.title] = f"{name} {n}" if name in owners.values() else name
    one = roles.connectors.get("one") or named
    if not one and len(owners) > 1:
        return replace(roles, by_sheet=owners)
    sheet = grids[0].sheet.title
    one = one or (owners[sheet] if places.no_name(sheet) else sheet) or title
    return replace(roles, connectors={**roles.connectors, "one": one})


def owned_end(roles: Roles, grids: Sequence[Grid]) -> Roles:
    """Say at which end of its wires each sheet is of a connector of its own, if any is."""
    side = next((side for side, name in roles.connectors.items() if name == grids[0].owner), "")
    return replace(roles, by_sheet={g.sheet.title: g.owner for g in grids} if side else {}, owned=side)


def of_its_sheet(roles: Roles, grids: Sequence[Grid], answer: str) -> Roles:
    """Say that the cavities at one end are of the connector that their sheet is called, or ask whether."""
    sides = [
        question.name.partition(" ")[2] for question in roles.questions if question.name[:10] == "connector "
    ]
    titles = [grid.sheet.title for grid in grids]
    owners = [grid.owner or grid.sheet.title for grid in grids]
    plain_titles = len({*titles}) == len(titles) > 1 and not any(map(places.no_name, titles))
    if len(sides) != 1 or not plain_titles or answer == "no":
        return roles
    (side,) = sides
    if not answer:
        some = first_of(titles, 4)
        text = f"do the sheets {some} name the connectors of the pins on them?"
        return replace(roles, questions=(Question("sections", text, ("connectors", "no")),))
    columns = dict(roles.columns)
    if side in columns:
        columns[f"{side}_cavity"] = columns.pop(side)
    left = tuple(q for q in roles.questions if q.name != f"connector {side}")
    by_sheet = dict(zip(titles, owners, strict=True))
    return replace(roles, columns=columns, questions=left, by_sheet=by_sheet, owned=side)


def owned_by_sheet(grid: Grid, roles: Roles) -> Roles:
    """Return the roles under which a sheet of pins is read that is of a connector of its own."""
    name = roles.by_sheet.get(grid.sheet.title)
    return replace(roles, connectors={**roles.connectors, roles.owned: name}) if name else roles


_VARIANT = re.compile(
    r"(?:variante?|option|config(?:uration)?|konfiguration|ausf(?:ü|ue)hrung|ausstattung|trim"
    r"|modell?|vehicle|fahrzeug|market|markt)(?:e?[ns])?(?:_?code)?"
)


_OF_ALL = ("all", "alle")
"""What stands for every variant."""


@dataclass(frozen=True, slots=True)
class Variants:
    """The column that says of which variant a row is, and those that are meant (all where there are none)."""

    column: int | None = None
    meant: frozenset[str] = frozenset()

    def why_not(self, cells: Sequence[str]) -> str:
        """Return why a row is none of the loom, or an empty text where it is one."""
        said = cells[self.column] if self.column is not None else ""
        if said.casefold() in _OF_ALL:
            return ""
        return f"it is of variant {said!r}" if said and self.meant and said not in self.meant else ""


def variants_of(grids: Sequence[Grid], roles: Roles, work: Work) -> Variants:
    """Ask which rows are meant where a column that is not used tells variants of the loom apart.

    Raises `UsageError` for an answer that names a variant that there is not.
    """
    for heading in roles.left_out:
        said = list(dict.fromkeys(text for grid in grids for text in grid.column(heading.column) if text))
        if not _VARIANT.fullmatch(plain(heading.text)) or len(said) < 2:
            continue
        answer = work.said("variant", said)
        if answer == "all":
            return Variants()
        text = (
            f"column {heading.shown!r} tells variants apart: which rows are of this loom? Several are parted "
            "by commas."
        )
        if not answer:
            work.ask("variant", text, ("all", *(name for name in said if name.casefold() not in _OF_ALL)))
            return Variants()
        meant = frozenset(name.strip() for name in answer.split(",")) if answer not in said else {answer}
        if strange := sorted(meant - {*said}):
            cure = f"It has {', '.join(said)}; several are parted by commas."
            raise UsageError(f"{work.file} has no variant {strange[0]!r}", cure=cure)
        return Variants(heading.column, frozenset(meant))
    return Variants()


def _ends_in(line: Line, roles: Roles, splitter: Splitter, work: Work) -> list[Line]:
    """Return the row with its ends; in a list of ends one line for each place that its cell holds."""
    places_said = {side: line.texts.get(side or "place", "") for side in sides_of(roles.kind)}
    several = {side: _several(text, splitter) for side, text in places_said.items()}
    if wrong := _unclear(line, roles, splitter):
        column, text = wrong
        cure = "Write one place into the cell, connector and cavity, or leave it empty."
        work.problems.append(Problem(text, work.file, line.sheet, line.row, column, cure))
        return []
    if roles.kind != "wires" and several[""]:
        device = _side({**line.texts, "place": ""}, roles, "", splitter).connector
        front = f"{device}." if device else ""
        sides = [Side(f"{front}{connector}", cavity) for connector, cavity in several[""]]
        return [Line(line.sheet, line.row, line.texts, [side]) for side in sides]
    for side, found in several.items():
        column, said = side or "place", places_said[side]
        if side and _several_connectors(line.texts, side):
            column = f"{side}_connector"
            said = line.texts[column]
        elif len({connector for connector, _ in found}) < 2:
            continue
        if not places.no_name(said):
            text = f"{said!r} holds several places"
            cure = "Write one row for each wire."
            work.problems.append(Problem(text, work.file, line.sheet, line.row, column, cure))
            return []
    line.sides += [_side(line.texts, roles, side, splitter) for side in sides_of(roles.kind)]
    return [line]


_BESIDE = re.compile(r".*\b(?:to|via|from|with|nach|von|zu|mit)\s+(\S.*)", re.IGNORECASE | re.DOTALL)
"""``Jumper to J1``: words, and the connector that they are about."""
_HALVES = re.compile(r"^\s*[|;&]|[|;&]\s*$")
_DOUBTFUL = re.compile(r"[\"″”〃]|.*\?|.*\d\*|\?.*|\*\w.*|.*[¹²³⁰-⁹†‡].*", re.DOTALL)
"""A question mark, a footnote's star or raised number at a name; ``RESET*`` is a name of its own."""
_MEETS = re.compile(r"[+>→/|;&,]")


def _unclear(line: Line, roles: Roles, splitter: Splitter) -> tuple[str, str] | None:
    """Return the column of a cell that names no one place, and why; ``None`` where all of a row's do."""
    for side in sides_of(roles.kind):
        front = f"{side}_" if side else ""
        whole = side or "place"
        alone = f"{front}connector" not in roles.columns and (side or "one") not in roles.connectors
        for column in (whole, f"{front}connector", f"{front}cavity"):
            said = " ".join(line.texts.get(column, "").split())
            if not said or places.nothing(said) or places.no_name(said):
                continue
            if _DOUBTFUL.fullmatch(said):
                return column, f"{said!r} carries a mark of doubt or a footnote's; what it is of is not known"
            if _HALVES.search(said) and not (said.endswith(";") and _several(said, splitter)):
                return column, f"{said!r} has a mark between places, and a place on one side of it is missing"
            if column == f"{front}connector" and (why := places.several_connectors(said)):
                return column, why
            if column == whole and alone and (why := _not_one(said, splitter)):
                return column, why
    return None


def _not_one(said: str, splitter: Splitter) -> str:
    """Return why a cell is no place: it lacks a half, or has one too many."""
    pieces = places.pieces(said, PIECES)
    for piece in pieces:
        beside = _BESIDE.fullmatch(splitter.parted(piece)[0])
        if beside and beside[1] in splitter.known:
            return f"{said!r} holds words beside a place"
    if why := next(filter(None, map(places.several_connectors, pieces)), ""):
        return why
    parted = [bool(splitter.parted(piece)[1]) for piece in pieces]
    if len(pieces) > 1 and any(parted) and not all(parted):
        # ECU:5, 6 is two cavities of ECU; "Motor, left:3" a name with a comma.
        strange = [p for p, is_place in zip(pieces, parted, strict=True) if not is_place]
        if (re.search("[;|\n]", said) or sum(parted) > 1) and not (
            parted[0] and all(map(places.like_a_cavity, strange))
        ):
            return f"{said!r} holds several places, and {strange[0]!r} names no cavity"
    if splitter.separator != ":":
        return ""
    if said.startswith(":") or said.endswith(":"):
        missing = "connector" if said.startswith(":") else "cavity"
        return f"{said!r} names no {missing}: ':' parts the two in this list"
    again = said.count(":") > 1 and not _several(said, splitter)
    # Device, connector and cavity may stand so as well: A1:X2:3, where A1 is no connector of the list.
    if again and (said.partition(":")[0].strip() in splitter.known or _MEETS.search(said)):
        return f"{said!r} holds several places"
    return ""


def _several_connectors(texts: Mapping[str, str], side: str) -> bool:
    """Whether a cell holds as many connectors as the one beside it cavities: ``X2, X3`` and ``2, 1``."""
    cavity = texts.get(f"{side}_cavity", "") or texts.get(side, "")
    return (
        1
        < len(places.pieces(texts.get(f"{side}_connector", ""), PIECES))
        == len(places.pieces(cavity, PIECES))
    )


def _side(texts: Mapping[str, str], roles: Roles, side: str, splitter: Splitter) -> Side:
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
    if why := places.nothing(place):
        return Side(connector, "", why if place or not connector else "", label=label)
    several = _several(place, splitter)
    first, pin = splitter.parted(" ".join(place.split()))
    if several:
        first, pin = several[0][0], ", ".join(pin for _, pin in several)
    if connector:
        # In a list of ends the place stands within a device: "Motec_A.7", or the device's own "2".
        return Side(f"{connector}.{first}", pin) if pin else Side(connector, " ".join(place.split()))
    return Side(" ".join(first.split()), pin or cavity, label=label)


_SPACED = re.compile(r"\s*[,;&|\n]\s*|\s+(?:/|\+|and|und)\s+")
"""Marks between places; a stroke, a plus or a word only where whole places stand on both sides."""
_BLANKS = re.compile(r"\s+(?!\()")
_TIGHT = re.compile(r"\s*(?:[-=]*>|[→+/])\s*")
"""Marks that names hold too: between places only where each piece is one, by a colon."""


def _several(text: str, splitter: Splitter) -> list[tuple[str, str]]:
    """Return the places of ``ECU:5, ECU:6``, ``X2:2 | X3:1`` or ``J1.1 J2.3``; nothing of another text."""
    words = places.pieces(text, _BLANKS) if splitter.separator.strip() else []
    tight = places.pieces(text, _TIGHT) if splitter.separator == ":" else []
    for pieces in (places.pieces(text, PIECES), places.pieces(text, _SPACED), words, tight):
        found = [splitter.parted(piece) for piece in pieces]
        if len(found) > 1 and all(cavity for _, cavity in found):
            return found
    return []


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
    answer = work.said("blank", [heading]) or ("above" if plain and lines[0].sides[i].connector else "")
    if not answer:
        text = (
            f"{rows_of(blank)}: a cavity stands without a connector in column {heading!r}; is it the one "
            "above, or no end?"
        )
        work.ask("blank", text, ("above", "none"))
    if answer == "above":
        above, empty = "", set(map(id, blank))
        for line in lines:
            if id(line) in empty:
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
