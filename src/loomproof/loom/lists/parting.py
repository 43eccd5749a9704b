"""By which mark the places of a list part connector from cavity, and what is asked about it."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from loomproof.loom.lists import places
from loomproof.loom.lists.ends import Work
from loomproof.loom.lists.headings import Grid
from loomproof.loom.lists.questions import Question
from loomproof.loom.lists.roles import Roles

PIECES = re.compile(r"\s*[,;&|\n]\s*")
"""Marks between several places in one cell."""


_TWO_LINES = re.compile(r"[^\n:]+\n(?:\d{1,3}|[A-Za-z])", re.ASCII)
"""A connector and below it, in the same cell, its cavity."""


@dataclass(frozen=True, slots=True)
class Splitter:
    """How one text is parted: by which mark, whether a person said so, connectors known from plain places.

    ``others``: where another mark gives a cavity of a known connector, it is one (a person said so).
    """

    separator: str = ""
    given: bool = False
    known: frozenset[str] = frozenset()
    others: bool = False

    def parted(self, text: str) -> tuple[str, str]:
        """Return connector and cavity, the cavity empty where the text is one place."""
        found = places.parted(text, self.separator, given=self.given, known=self.known)
        if self.others and not found[1] and text not in self.known:
            connector, cavity = _by_another(text, self.separator, self.known)
            return (connector, cavity) if cavity else found
        return found


def splitter_for(grids: Sequence[Grid], roles: Roles, work: Work) -> Splitter:
    """Return the mark that parts connector from cavity in one cell; ask where two do, and unlike."""
    texts: list[str] = []
    for role in ("from", "to", "place"):
        connector = f"{role}_connector" if role != "place" else ""
        if role in roles.columns and connector not in roles.columns and role not in roles.connectors:
            texts += [t for grid in grids for t in grid.column(roles.columns[role]) if not places.nothing(t)]
    pieces = [piece for text in texts for piece in places.pieces(text, PIECES)]
    mark = work.answers.separator
    work.said("separator", ["places"] if pieces else [])
    fits = any(places.parted(text, mark, given=True)[1] for text in pieces)
    # A mark that was kept with an issue before is none where this one has it nowhere.
    if mark and (fits or "separator" not in work.answers.about):
        return Splitter(mark, given=True)
    if texts and all(_TWO_LINES.fullmatch(text) for text in texts):
        return Splitter(" ")
    best = places.separators_of(pieces)
    if not best:
        return Splitter()
    unlike = [
        mark for mark in best if any(places.parted(t, mark) != places.parted(t, best[0]) for t in pieces)
    ]
    if unlike and best[0] != ":":
        example = next(t for t in pieces if places.parted(t, best[0]) != places.parted(t, unlike[0]))
        marks = [best[0], *unlike]
        text = f"what parts connector from cavity in {example!r}?"
        work.questions.append(Question("separator", text, tuple(marks)))
    if best[0] != ":" and roles.kind == "wires" and _are_names(pieces, best[0], work):
        return Splitter()
    plain = [(text, places.parted(text, best[0])) for text in pieces]
    known = frozenset(connector for _, (connector, cavity) in plain if cavity)
    answer = _mixed([text for text, (_, cavity) in plain if not cavity], best[0], known, work)
    return Splitter(best[0], known=known, others=answer == "cavity")


_CONNECTOR_OF = 4
"""A connector of so many cavities is one, and no series of things that are numbered: Lamp 1, Lamp 2."""


def _are_names(pieces: Sequence[str], separator: str, work: Work) -> bool:
    """Whether places such as ``C-7`` are names, as was said; ask where wires would meet in their cavities."""
    cavities: dict[str, set[str]] = {}
    for text in pieces:
        connector, cavity = places.parted(text, separator)
        if cavity:
            cavities.setdefault(connector, set()).add(cavity)
    doubtful = [
        text
        for text, n in Counter(pieces).items()
        if n > 1 and 0 < len(cavities.get(places.parted(text, separator)[0], ())) < _CONNECTOR_OF
    ]
    answer = work.said("parted", doubtful)
    if doubtful and not answer:
        connector, cavity = places.parted(doubtful[0], separator)
        text = f"is {doubtful[0]!r}, where several wires end, the cavity {cavity} of {connector}, or a name?"
        work.ask("parted", text, ("cavities", "names"))
    return answer == "names"


def _mixed(texts: Sequence[str], separator: str, known: frozenset[str], work: Work) -> str:
    """Return what places are that another mark would part into connector and cavity (``ECU-2``), or ask."""
    doubtful = [t for t in dict.fromkeys(texts) if t not in known and _by_another(t, separator, known)[0]]
    answer = work.said("mixed", doubtful)
    if doubtful and not answer:
        connector, cavity = _by_another(doubtful[0], separator, known)
        more = f" ({len(doubtful)} such)" if len(doubtful) > 1 else ""
        text = f"is {doubtful[0]!r} the cavity {cavity} of {connector}, or a name of its own?{more}"
        work.ask("mixed", text, ("cavity", "name"))
    return answer


def _by_another(text: str, separator: str, known: frozenset[str]) -> tuple[str, str]:
    """Return connector and cavity as another mark parts them, where the connector is known; else nothing."""
    for mark in places.SEPARATORS:
        connector, cavity = places.parted(text, mark) if mark != separator else ("", "")
        if cavity and connector in known:
            return connector, cavity
    return "", ""
