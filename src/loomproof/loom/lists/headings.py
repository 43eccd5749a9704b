"""Headings of a list: what each column probably is.

A heading is taken apart into the end that it speaks of (from, to, A, B, von, nach), the thing (connector,
cavity, colour, …), a unit, and a name that is left: ``LCD Pin`` is a cavity of ``LCD``.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from loomproof.loom.lists.sheets import Sheet

ROLES: dict[str, str] = {
    "from": "where a wire starts, as one text: ECU:12 (the cavity alone where from_connector is given)",
    "from_connector": "connector where it starts",
    "from_cavity": "cavity where it starts",
    "from_label": "what that connector is called",
    "to": "where it ends, as one text (the cavity alone where to_connector is given)",
    "to_connector": "connector where it ends",
    "to_cavity": "cavity where it ends",
    "to_label": "what that connector is called",
    "place": "in a list of ends: connector and cavity as one text",
    "connector": "in a list of ends: the connector",
    "cavity": "in a list of ends: the cavity",
    "net": "in a list of ends: what the ends that are joined have in common",
    "wire": "name of the wire",
    "colour": "colour",
    "csa_mm2": "section in mm²",
    "awg": "gauge",
    "section": "size, with its unit in the cell: 14/0.30, 18 AWG, 0.5 mm²",
    "length_m": "length in metres",
    "length_mm": "length in millimetres",
    "length": "length, with its unit in the cell or answered",
    "circuit": "circuit or signal",
    "twisted": "the wires twisted with it, or the name of the pair",
    "screen": "the wire that is its screen",
    "note": "free text",
}
"""What a column of a list can be."""

SIDES = ("from", "to")

_FROM = ["from", "source", "src", "start", "origin", "von", "quelle", "a"]
_TO = ["to", "target", "dest", "destination", "nach", "zu", "ziel", "b"]
_CONNECTOR = [
    "connector",
    "conn",
    "plug",
    "device",
    "component",
    "comp",
    "unit",
    "housing",
    "stecker",
    "steckverbinder",
    "geraet",
    "gerät",
    "ref",
    "refdes",
    "reference",
    "id",
    "harness",
    "bauteil",
    "komponente",
    "jack",
    "module",
    "modul",
    "designator",
    "name",
]
_CAVITY = [
    "cavity",
    "cav",
    "pin",
    "kammer",
    "way",
    "position",
    "pos",
    "klemme",
    "terminal",
    "term",
    "hole",
    "number",
    "no",
    "nr",
    "contact",
    "kontakt",
]
_NAMING = ["harness", "module", "modul", "device", "unit"]
"""Words for a connector that are its name as well, where two columns of cavities have no other."""
_LABEL = ["kurzname", "label", "bezeichnung", "benennung", "description", "titel", "beschreibung"]
_PLACE = [
    "endpoint",
    "endpoints",
    "pins",
    "nodes",
    "ends",
    "places",
    "connections",
    "connexions",
    "verbindungen",
    "members",
    "anschlüsse",
    "place",
    "node",
    "point",
    "location",
    "ort",
]
STARTS = ("start", "anfang", "beginn")
"""Words for where something begins, beside which "end" is where it ends."""

_FILLERS = [
    "physical",
    "the",
    "goes",
    "connects",
    "connected",
    "geht",
    "of",
    "und",
    "and",
    "end",
    "ende",
    "side",
    "seite",
]

_PATTERNS: dict[str, str] = {
    "wire": r"(?:wire|lead|cable|conductor|ader|ltg|leitungs?|draht)"
    r"(?:_?(?:no|nr|number|nummer|name|id|label|#))?|w_?(?:no|nr|#)|item|id|no|nr|#|num|number",
    "colour": r"(?:wire_|ader_?|leitungs_?)?(?:colou?rs?|farben?|col|farbe)(?:_?code)?",
    "csa_mm2": r"(?:csa|area|section|cross_section|size|querschnitt|quer|gauge|wire)?"
    r"_?(?:mm2|mm²|sqmm|qmm|mm_?2)|csa|querschnitt|quer|wire_dm",
    "awg": r"(?:awg|gauge_awg|awg_gauge|wire_awg|size_awg|awg_size)",
    "section": r"section|(?:wire_)?size|cross_section|strands?|(?:wire_)?(?:gauge|ga)(?:_size)?",
    "length_m": r"(?:cut_?)?(?:length|l[aä]e?nge)_(?:m|metres?|meters?)",
    "length_mm": r"(?:cut_?)?(?:length|l[aä]e?nge)_mm",
    "length": r"(?:wire_|cut_?)?(?:length|l[aä]e?nge|len)(?:_(?:cm|in|inch|inches|ft|feet))?",
    "net": r"nets?|net_?(?:name|no|nr|number|id|code)|netz(?:name)?|potential|pot",
    "circuit": r"circuits?|signals?|signal_?name|stromkreis|circuit_?(?:no|name|number)",
    "function": r"functions?|funktion|purpose|zweck|use",
    "twisted": r"twist(?:ed)?(?:_(?:pair|with|group))?|pair|verdrillt(?:_mit)?|paar",
    "screen": r"screen(?:ed)?(?:_by)?|shield(?:ed)?(?:_by)?|schirm",
    "note": r"notes?|comments?|remarks?|bemerkung(?:en)?|(?:connection_)?description|kommentar|hinweis",
}


@dataclass(frozen=True, slots=True)
class Heading:
    """One column: its place from 0, its text, and what the text says.

    ``twin`` numbers headings of one text (``Pin#2``); ``side`` is ``from``, ``to`` or empty; ``thing`` a
    role, ``connector``, ``cavity``, ``label``, ``place`` or empty; ``name`` what is left (a connector).
    """

    column: int
    text: str
    twin: int = 0
    side: str = ""
    thing: str = ""
    name: str = ""

    @property
    def letter(self) -> str:
        """Return the column as a spreadsheet names it."""
        letters, number = "", self.column + 1
        while number:
            number, rest = divmod(number - 1, 26)
            letters = chr(65 + rest) + letters
        return letters

    @property
    def shown(self) -> str:
        """Return the heading as it is said and typed: ``Pin#2``; a column without one by its letter."""
        if not self.text:
            return self.letter
        return f"{self.text}#{self.twin}" if self.twin else self.text


@dataclass(frozen=True, slots=True)
class Grid:
    """A sheet with its headings found, in ``row``; ``owner`` is the connector that all of its pins are of."""

    sheet: Sheet
    row: int
    headings: tuple[Heading, ...]
    owner: str = ""

    @property
    def texts(self) -> tuple[str, ...]:
        """Return the headings' texts, as another sheet must have them to be of the same list."""
        return tuple(heading.text.casefold() for heading in self.headings)

    def cells(self) -> list[tuple[int, tuple[str, ...]]]:
        """Return the rows below the headings, each as wide as they are."""
        width = len(self.headings)
        return [
            (number, (*cells[:width], *("",) * (width - len(cells))))
            for number, cells in self.sheet.rows
            if number > self.row
        ]

    def column(self, place: int) -> list[str]:
        """Return the texts of one column."""
        return [cells[place] for _, cells in self.cells()]


def plain(heading: str) -> str:
    """Return a heading as it is compared: small letters, words joined by underscores."""
    if heading.strip() == "#":
        return "#"
    parted = re.sub(r"(?<=[a-zäöü])(?=[A-Z])", "_", heading)
    return re.sub(r"[^a-z0-9²äöüß#]+", "_", parted.casefold()).strip("_")


_MATE = re.compile(r"(?:^|_)(?:mat(?:e|es|ing)|mated|counterpart|gegen\w*)(?:_|$)")


_BETWEEN = re.compile(r"\s*[/|\n()\[\],;]\s*")
_SIZES = {"csa_mm2", "awg", "section"}


def spoken(column: int, text: str) -> Heading:
    """Say what one heading speaks of; one in two languages (``Von / From``) what both agree on."""
    found = _spoken(column, text)
    parts = [part for part in _BETWEEN.split(text) if part]
    if found.thing or len(parts) < 2:
        return found
    each = [_spoken(column, part) for part in parts]
    things = {part.thing for part in each}
    if len({part.side for part in each}) > 1 or "" in things or (len(things) > 1 and not things <= _SIZES):
        return found
    return Heading(column, text, side=each[0].side, thing="section" if len(things) > 1 else each[0].thing)


def _spoken(column: int, text: str) -> Heading:
    said = plain(text).replace("ref_des", "refdes")
    for role, pattern in _PATTERNS.items():
        if re.fullmatch(pattern, said):
            return Heading(column, text, thing=role)
    words = [word for word in said.split("_") if word]
    if _MATE.search(said):
        return Heading(column, text)  # What a plug mates with is no end of a wire.
    side, rest = _side(words)
    things = [w for w in rest if w not in _FILLERS]
    kept = [w for w in things if w not in ("no", "nr", "number", "name", "id", "position")] or things
    if side and not things:
        return Heading(column, text, side=side, thing="whole")
    if kept and all(word in _PLACE for word in kept):
        return Heading(column, text, side=side, thing="place" if not side else "whole")
    if kept and all(word in _LABEL for word in kept):
        return Heading(column, text, side=side, thing="label")
    if kept and kept[-1] in _CAVITY and all(w in _CAVITY or w in _CONNECTOR for w in kept):
        named = not side and any(word in _NAMING for word in kept)
        return Heading(column, text, side=side, thing="cavity", name=_name(text) if named else "")
    if kept == ["name"] and not side:
        return Heading(column, text)  # Of what? A connector, where there is one for each end (`_numbered`).
    if kept and all(word in _CONNECTOR for word in kept):
        return Heading(column, text, side=side, thing="connector")
    ends = [i for i, word in enumerate(things) if word in ("pin", "cavity", "kammer", "cav", "pins")]
    if ends and len(things) > 1 and not side:
        return Heading(column, text, thing="cavity", name=_name(text))
    return Heading(column, text, side=side)


def _side(words: Sequence[str]) -> tuple[str, list[str]]:
    for i, word in enumerate(words):
        # A letter or a number is an end only as the first or last word: "Pin A", "A end", "Connector 2".
        at_edge = i in (0, len(words) - 1) or words[i - 1] in ("end", "side", "ende", "seite")
        side = ""
        if word in _FROM and (len(word) > 1 or at_edge):
            side = "from"
        elif word in _TO and (len(word) > 1 or at_edge):
            side = "to"
        elif word in ("1", "2") and at_edge and len(words) > 1:
            side = SIDES[int(word) - 1]
        if side:
            return side, [w for j, w in enumerate(words) if j != i]
    return "", list(words)


def _name(text: str) -> str:
    """Return the connector that a heading such as ``LCD Pin`` or ``board_J5_physical_pin`` names."""
    left = re.sub(
        r"(?i)(?<![a-z0-9])(?:physical|pins?|cavity|cav|kammer|no\.?|number)(?![a-z0-9])",
        " ",
        text.replace("_", " "),
    )
    return " ".join(left.split()).rstrip("# ")
