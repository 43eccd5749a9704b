"""Which column is what: taken from a person's answers first, then from the headings."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from loomproof.errors import UsageError, suggestion
from loomproof.loom.checking import near_miss
from loomproof.loom.lists.headings import ROLES, SIDES, Grid, Heading, plain
from loomproof.loom.lists.places import nothing, separators_of, spelled
from loomproof.loom.lists.places import parted as place_of
from loomproof.loom.lists.questions import Answers, Question

_PIN_WORDS = [
    "pin",
    "cavity",
    "cav",
    "kammer",
    "way",
    "position",
    "pos",
    "hole",
    "terminal",
    "term",
    "klemme",
    "number",
    "no",
    "nr",
    "contact",
    "kontakt",
]
_LISTED = ("place", "connector", "cavity", "net")


@dataclass(frozen=True, slots=True)
class Roles:
    """What the columns of a list are.

    ``kind`` is ``wires`` (a row for each wire), ``nets`` (a row for each end) or ``pins`` (of connectors,
    with nothing joined). ``columns`` is role to column from 0, ``connectors`` the name by side where no
    column holds it, ``given`` the roles that a person named; ``by_sheet`` whose pins each sheet
    holds, by its title, where that differs from sheet to sheet (``owned`` the end that they are at).
    """

    kind: str
    columns: Mapping[str, int]
    connectors: Mapping[str, str]
    given: frozenset[str]
    left_out: tuple[Heading, ...]
    questions: tuple[Question, ...] = ()
    by_sheet: Mapping[str, str] = field(default_factory=dict)
    owned: str = "one"


def assign(grid: Grid, answers: Answers) -> Roles:
    """Say what each column is. Raises `UsageError` for a role or a column that there is not."""
    return _Assigning(grid, answers).roles()


def heading_at(grid: Grid, said: str, role: str = "", file: str = "the list") -> Heading:
    """Return the column that a person names: heading, ``Pin#2``, letter or number. Raises `UsageError`."""
    text = " ".join(said.split()).casefold()
    same = [h for h in grid.headings if h.text.casefold() == text and h.text]
    if same:
        return same[-1] if role.startswith("to") and len(same) == 2 else same[0]
    numbered = [h for h in grid.headings if h.shown.casefold() == text]
    if numbered:
        return numbered[0]
    if text.isdecimal() and 0 < int(text[:6]) <= len(grid.headings):
        return grid.headings[int(text[:6]) - 1]
    lettered = [h for h in grid.headings if h.letter.casefold() == text]
    if lettered:
        return lettered[0]
    shown = [h.shown for h in grid.headings if h.text]
    near = near_miss(said, shown)
    cure = (
        f"There is {near!r}."
        if near
        else f"It has {', '.join(map(repr, shown))}; a letter or a number will do."
    )
    raise UsageError(f"{file} has no column {said!r}", cure=cure)


class _Assigning:
    def __init__(self, grid: Grid, answers: Answers) -> None:
        self.grid = grid
        self.answers = answers
        self.columns: dict[str, int] = {}
        self.connectors: dict[str, str] = {k: v for k, v in answers.connectors.items() if v}
        self.questions: list[Question] = []
        for role, said in answers.columns.items():
            if role not in ROLES:
                cure = suggestion(role, ROLES) or f"Known: {', '.join(ROLES)}."
                raise UsageError(f"a column cannot be {role!r}", cure=cure)
            self.columns[role] = heading_at(grid, said, role).column
        self.given = frozenset(self.columns)

    def free(self) -> list[Heading]:
        used = set(self.columns.values())
        return [h for h in self.grid.headings if h.column not in used]

    def take(self, role: str, found: Iterable[Heading]) -> bool:
        """Give a role to the first of these columns, unless it has one."""
        heading = next(iter(found), None)
        if role not in self.columns and heading is not None:
            self.columns[role] = heading.column
        return role in self.columns

    def roles(self) -> Roles:
        kind = self.answers.said.get("kind", "")
        for side in SIDES:
            self._side(side)
        if not self.given & {*_LISTED} and kind not in ("nets", "pins"):
            # Whose one column of pins is (from_connector) may be said: the pins are still to be found.
            if not any(self._has(side) for side in SIDES) or {*self.columns} <= self.given - {*SIDES}:
                self._named_pins()
            self._other_side()
        both = all(self._has(side) for side in SIDES)
        if kind in ("nets", "pins") or (not both and not kind and self._has_listed()):
            for role in [r for r in self.columns if r not in self.given and r.startswith(SIDES)]:
                del self.columns[role]
            kind = self._listed(kind)
        else:
            self._missing()
            if not kind:
                self._two_uses()
            kind = "wires"
        self._rest(kind)
        self._pins_left(kind)
        used = set(self.columns.values())
        left = tuple(h for h in self.grid.headings if h.column not in used and self._says_something(h))
        ordered = {role: self.columns[role] for role in ROLES if role in self.columns}
        return Roles(kind, ordered, self.connectors, self.given, left, tuple(self.questions))

    def _says_something(self, heading: Heading) -> bool:
        return bool(heading.text) or any(self.grid.column(heading.column))

    def _has(self, side: str) -> bool:
        return bool({side, f"{side}_connector"} & self.columns.keys()) or (
            side in self.connectors and f"{side}_cavity" in self.columns
        )

    def _side(self, side: str) -> None:
        mine = [h for h in self.free() if h.side == side]
        if side in self.given and f"{side}_connector" not in self.given:
            return  # A person who names the column of the whole place has no use for a guess at its parts.
        connector, cavity = f"{side}_connector", f"{side}_cavity"
        whole = [h for h in mine if h.thing == "whole"]
        if side not in self.connectors:
            self.take(connector, (h for h in mine if h.thing == "connector"))
        if side not in self.given:
            self.take(cavity, sorted((h for h in mine if h.thing == "cavity"), key=_pin_first))
        self.take(f"{side}_label", (h for h in mine if h.thing == "label"))
        if connector not in self.columns and side not in self.connectors and whole:
            # "From" beside "From Pin" is the connector, alone it is the whole place.
            role = connector if cavity in self.columns else side
            self.columns.setdefault(role, whole[0].column)
        elif side in self.connectors and cavity not in self.columns and whole:
            self.columns[cavity] = whole[0].column
        if connector not in self.columns and side not in self.connectors and cavity in self.columns:
            if cavity in self.given:
                return
            place = self.columns.pop(cavity)
            if side not in self.columns:
                # A pin without a connector beside it is the whole place: "From Pin" holds ECU:12.
                self.columns[side] = place

    def _named_pins(self) -> None:
        """Take two columns of cavities whose headings name their connectors: ``LCD Pin`` and ``MCU Pin``."""
        pins = [h for h in self.free() if h.thing == "cavity" and not h.side]
        if len(pins) != 2 or not any(h.name for h in pins):
            return
        for side, heading in zip(SIDES, pins, strict=True):
            self.columns[f"{side}_cavity"] = heading.column
            if side not in self.connectors:
                self._owned(side, heading)

    def _owned(self, side: str, heading: Heading) -> None:
        """Say whose these cavities are: a column's ("Header" beside "Header Pin"), else the heading's own."""
        words = plain(heading.text).split("_")
        owner = "_".join(words[: next((i for i, w in enumerate(words) if w in _PIN_WORDS), 0)])
        found = [h for h in self.free() if re.fullmatch(rf"{owner}(?:_(?:connector|name))?", plain(h.text))]
        if owner and not self.take(f"{side}_connector", found) and heading.name:
            self.connectors[side] = heading.name

    def _two_uses(self) -> None:
        """Ask where a row gives two pins two signals: is it a wire, or are they pins of two connectors?"""
        uses = [h for h in self.grid.headings if h.thing in ("circuit", "net", "function") and h.twin]
        if len(uses) != 2 or uses[0].text.casefold() != uses[1].text.casefold():
            return
        for row, cells in self.grid.cells():
            one, other = (cells[heading.column] for heading in uses)
            if one and other and one.casefold() != other.casefold():
                columns = " and ".join(repr(heading.shown) for heading in uses)
                text = (
                    f"columns {columns} say {one!r} and {other!r} in row {row}: "
                    "is each row a wire, or are these pins of two connectors?"
                )
                self.questions.append(Question("kind", text, ("wires", "pins")))
                return

    def _other_side(self) -> None:
        """Take the one connector and cavity that no heading gives an end for the end that none speaks of."""
        missing = [side for side in SIDES if not self._has(side)]
        cavities = sorted((h for h in self.free() if h.thing == "cavity" and not h.side), key=_pin_first)
        connectors = [h for h in self.free() if h.thing == "connector" and not h.side]
        if len(missing) != 1 or not cavities or missing[0] in self.given:
            return
        (side,) = missing
        if len(connectors) == 1 and len(cavities) == 1:
            self.take(f"{side}_connector", connectors)
            self.take(f"{side}_cavity", cavities)
            return
        owner = cavities[0].name or self.grid.owner
        if owner and not connectors and len(cavities) == 1 and side not in self.connectors:
            self.take(f"{side}_cavity", cavities)
            self.connectors[side] = owner

    def _has_listed(self) -> bool:
        if self.given & {"place", "cavity"}:
            return True
        if any(self._has(side) for side in SIDES):
            return False
        return any(h.thing in ("place", "cavity") and not h.side for h in self.free())

    def _missing(self) -> None:
        """Ask for the columns of ends that were not found."""
        shown = tuple(h.shown for h in self.free() if self._says_something(h))
        for side in SIDES:
            cavity = f"{side}_cavity" in self.columns
            if cavity and not self._has(side):
                where = self.grid.headings[self.columns[f"{side}_cavity"]].shown
                text = f"which connector do the cavities in column {where!r} belong to?"
                if any(h.thing == "connector" for h in self.free()):
                    text = f"which column says of which connector the cavities in column {where!r} are?"
                    self.questions.append(Question(f"column {side}_connector", text, shown))
                else:
                    self.questions.append(Question(f"connector {side}", text, ()))
            elif not self._has(side):
                text = f"no column is known to say where a wire goes {side}: which is it?"
                self.questions.append(Question(f"column {side}", text, shown))
            elif side in self.columns and not cavity and side not in self.connectors:
                texts = [t for t in self.grid.column(self.columns[side]) if not nothing(t)]
                numbers = texts and all(re.fullmatch(r"[A-Za-z]?\d{1,3}[A-Za-z]?", text) for text in texts)
                if numbers and not separators_of(texts) and f"{side}_connector" not in self.columns:
                    where = self.grid.headings[self.columns[side]].shown
                    text = f"column {where!r} holds cavities alone: which connector do they belong to?"
                    self.questions.append(Question(f"connector {side}", text, ()))

    def _listed(self, kind: str) -> str:
        """Find the columns of a list with one row for each end."""
        free = [h for h in self.free() if not h.side]
        things = {h.thing for h in free} | self.columns.keys()
        if not {"connector", "cavity"} <= things:
            # Where connector and cavity have columns, "Location" is where the connector sits.
            self.take("place", (h for h in free if h.thing == "place"))
        if "one" not in self.connectors:
            self.take("connector", (h for h in free if h.thing == "connector"))
        if "place" not in self.columns:
            self.take("cavity", sorted((h for h in free if h.thing == "cavity"), key=_pin_first))
        if "connector" not in self.columns and "cavity" in self.columns and "cavity" not in self.given:
            texts = [t for t in self.grid.column(self.columns["cavity"]) if not nothing(t)]
            parted = separators_of([text for text in texts if not spelled(text)])[:1]
            whole = sum(bool(place_of(text, parted[0])[1]) for text in texts) if parted else 0
            if parted and parted[0] != " " and 2 * whole > len(texts) and "one" not in self.connectors:
                self.columns["place"] = self.columns.pop("cavity")
        if kind == "pins":
            return "pins"
        several = "place" in self.columns or "connector" in self.columns
        if not self.take("net", self._nets()) and several and not kind:
            shown = tuple(h.shown for h in self.free() if self._says_something(h))
            text = "it has one end in each row, and no column is known to say which are joined: which is it?"
            self.questions.append(Question("column net", text, shown))
        if kind == "nets" or "net" in self.given or (several and self._connectors() > 1):
            return "nets"
        self.columns.pop("net", None)
        if not several:
            self._repeated_cavities()
        return "pins"

    def _repeated_cavities(self) -> None:
        """Ask whose the cavities are where one stands in several rows: a column may say it."""
        heading = self.grid.headings[self.columns["cavity"]] if "cavity" in self.columns else None
        if heading is None or heading.name or "one" in self.connectors:
            return
        count = Counter(text for text in self.grid.column(heading.column) if not nothing(text))
        twice = next((text for text, n in count.items() if n > 1), "")
        shown = tuple(h.shown for h in self.free() if self._says_something(h))
        if twice and shown:
            text = (
                f"{twice!r} stands in column {heading.shown!r} more than once: which column says of which "
                "connector it is?"
            )
            self.questions.append(Question("column connector", text, shown))

    def _connectors(self) -> int:
        """Return how many connectors a list of ends speaks of, as far as its cells say (at most two)."""
        if "place" not in self.columns and "connector" in self.columns:
            return min(2, len({t for t in self.grid.column(self.columns["connector"]) if not nothing(t)}))
        return 2 if "place" in self.columns else 1

    def _nets(self) -> list[Heading]:
        free = self.free()
        numbers = [h for h in free if h.thing == "wire" and self._fills_down(h)]
        nets = [h for h in free if h.thing == "net"]
        signals = [h for h in free if h.thing == "circuit"]
        wires = [h for h in free if h.thing == "wire" and self._repeats(h)]
        return [*numbers, *nets, *signals, *wires]

    def _fills_down(self, heading: Heading) -> bool:
        """Whether a number stands in the first row of each of its groups only, each number once."""
        texts = self.grid.column(heading.column)
        said = [text for text in texts if text]
        return bool(texts and texts[0] and len(said) < len(texts) and len(set(said)) == len(said))

    def _repeats(self, heading: Heading) -> bool:
        said = [text for text in self.grid.column(heading.column) if text]
        return len(said) >= 2 * len(set(said)) > 0

    def _rest(self, kind: str) -> None:
        for role in (
            "wire",
            "colour",
            "csa_mm2",
            "awg",
            "section",
            "length_m",
            "length_mm",
            "twisted",
            "screen",
            "note",
        ):
            if role in ("csa_mm2", "awg", "section") and {"csa_mm2", "awg", "section"} & self.columns.keys():
                continue
            self.take(role, (h for h in self.free() if h.thing == role and self._useful(h)))
        if not {"length_m", "length_mm"} & self.columns.keys():
            self.take("length", (h for h in self.free() if h.thing == "length"))
        if kind == "wires":
            order: tuple[str, ...] = ("circuit", "net", "function")
            self.take(
                "circuit", (h for thing in order for h in self.free() if h.thing == thing and self._useful(h))
            )
        else:
            order = ("circuit", "net", "function")[: 3 if kind == "pins" else 1]
            self.take("circuit", (h for thing in order for h in self.free() if h.thing == thing))
        if kind == "nets" and self.columns.get("wire") == self.columns.get("net"):
            self.columns.pop("wire", None)

    def _useful(self, heading: Heading) -> bool:
        return any(not nothing(text) for text in self.grid.column(heading.column)) or not self.grid.cells()

    def _pins_left(self, kind: str) -> None:
        """Stop where an end has no cavity and a column that looks like cavities is left over."""
        if kind != "wires":
            return
        for side in SIDES:
            if f"{side}_cavity" in self.columns or not self._has(side):
                continue
            if side in self.columns:
                texts = [t for t in self.grid.column(self.columns[side]) if not nothing(t)]
                if separators_of(texts) or self.answers.separator:
                    continue
            left = [h for h in self.free() if h.thing == "cavity" and h.side in ("", side)]
            left += [h for h in self.free() if not h.thing and _speaks_of_pins(h)]
            shown = tuple(dict.fromkeys(h.shown for h in left if self._says_something(h)))
            if shown and f"column {side}_cavity" not in self.answers.said:
                columns = " or ".join(map(repr, shown))
                text = f"no cavity is known where a wire goes {side}; is it column {columns}?"
                self.questions.append(Question(f"column {side}_cavity", text, shown))


def _pin_first(heading: Heading) -> int:
    words = plain(heading.text).split("_")
    return min((_PIN_WORDS.index(word) for word in words if word in _PIN_WORDS), default=len(_PIN_WORDS))


def _speaks_of_pins(heading: Heading) -> bool:
    return any(
        word in ("pin", "pins", "cavity", "kammer", "kontakt", "contact")
        for word in plain(heading.text).split("_")
    )
