"""Which row of a sheet holds its headings, and what they say together: ends in pairs, rows over rows."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from loomproof.loom.lists.headings import SIDES, STARTS, Grid, Heading, plain, spoken
from loomproof.loom.lists.sheets import Sheet

MOST_HEADING_ROWS = 30
"""Rows from the top in which the headings are looked for."""


def _score(cells: Sequence[str]) -> int:
    """Return how much a row looks like headings: ends count most, numbers count against."""
    score = 0
    for i, text in enumerate(cells):
        heading = spoken(i, text)
        if heading.thing in ("whole", "connector", "cavity", "place"):
            # A letter alone may be an end, and a name in a cell as well.
            score += 3 if len(text) > 1 and (heading.thing != "connector" or heading.side) else 2
        elif heading.thing:
            score += 2
        elif re.fullmatch(r"[\d.,:/\s-]+", text):
            score -= 1
    # One word can be anything; headings come in company.
    return score if sum(bool(text) for text in cells) > 1 else 0


def grid_of(sheet: Sheet, row: int = 0) -> Grid | None:
    """Find the headings of a sheet, at ``row`` or where they probably are; `None` where there are none.

    A row above that names ends over several columns (``FROM`` over ``Connector | Pin``) is read with it.
    """
    if not sheet.rows:
        return None
    if row:
        place = next((i for i, (number, _) in enumerate(sheet.rows) if number >= row), None)
        if place is None:
            return None
    else:
        scores = [_score(cells) for _, cells in sheet.rows[:MOST_HEADING_ROWS]]
        if max(scores) < 4:
            return None
        place = scores.index(max(scores))
    number, cells = sheet.rows[place]
    above = sheet.rows[place - 1][1] if place else ()
    if not row and place + 1 < len(sheet.rows) and _is_above(cells, sheet.rows[place + 1][1]):
        above, (number, cells) = cells, sheet.rows[place + 1]
        place += 1
    texts = [" ".join(text.split()) for text in cells]
    below = (len(c) for n, c in sheet.rows[place + 1 :])
    width = max(len(texts), *below, 0)
    texts += [""] * (width - len(texts))
    return Grid(sheet, number, _numbered(_under(above, texts)))


def _is_above(cells: Sequence[str], below: Sequence[str]) -> bool:
    """Whether the row below these headings holds what they are over: ``Connector | Pin`` under ``End 1``."""
    under = [spoken(i, text) for i, text in enumerate(below)]
    parts = [heading for heading in under if heading.thing in ("connector", "cavity") and not heading.side]
    words = all(len(heading.text) > 1 for heading in parts) and not any(map(str.isdecimal, below))
    return len(parts) > 3 and words and _under(cells, below) != list(below)


def _under(above: Sequence[str], texts: Sequence[str]) -> list[str]:
    """Return headings with the end that a row above them names over several columns."""
    spans = [" ".join(text.split()) for text in above]
    sides = _ended([spoken(i, text) for i, text in enumerate(spans)])
    if {h.side for h in sides if h.thing == "whole" or h.thing in ("connector", "label", "place")} != {
        "from",
        "to",
    }:
        return list(texts)
    joined: list[str] = []
    over = ""
    for i, text in enumerate(texts):
        if i < len(spans) and spans[i]:
            over = spans[i]
            if not text and not sides[i].side:
                joined.append(over)  # A heading over no other is a column's own.
                continue
        heading = spoken(i, text)
        takes = heading.thing in ("connector", "cavity", "place", "label", "wire") and not heading.side
        side = next((h.side for h in sides if h.text == over), "") if over else ""
        joined.append(f"{over} {text}" if side and takes else text)
        if side and heading.thing and not takes:
            over = ""
    return joined


def _numbered(texts: Sequence[str]) -> tuple[Heading, ...]:
    count = Counter(text.casefold() for text in texts if text)
    seen: Counter[str] = Counter()
    found: list[Heading] = []
    for i, text in enumerate(texts):
        key = text.casefold()
        seen[key] += 1
        heading = spoken(i, text) if text else Heading(i, "")
        if count[key] == 2 and plain(text) == "name":
            heading = replace(heading, thing="connector")
        found.append(replace(heading, twin=seen[key] if count[key] > 1 else 0))
    return tuple(_with_sides(found))


def _ended(found: Sequence[Heading]) -> list[Heading]:
    """Take "end" for the end that a wire goes to where other headings speak of its start."""
    if not any(word in STARTS for heading in found for word in plain(heading.text).split("_")):
        return list(found)
    result: list[Heading] = []
    for heading in found:
        words = plain(heading.text).split("_")
        said = ["from" if w in STARTS else "to" if w in ("end", "ende") else w for w in words]
        other = spoken(heading.column, " ".join(said))
        turned = said != words and bool(other.side) and bool(other.thing)
        result.append(replace(heading, side=other.side, thing=other.thing, name="") if turned else heading)
    return result


def _with_sides(headings: Sequence[Heading]) -> list[Heading]:
    """Give the ends to headings that stand there once for each: by ``von … nach …``, or by their order."""
    found = _ended(headings)
    marks = {h.side: h.column for h in found if h.thing == "whole"}
    paired = ("connector", "cavity", "label")
    result: list[Heading] = []
    for heading in found:
        if heading.side or heading.thing not in paired or heading.name:
            result.append(heading)
            continue
        twins = [
            h for h in found if h.thing == heading.thing and h.text.casefold() == heading.text.casefold()
        ]
        if len(twins) == 2:
            side = SIDES[twins.index(heading)]
            if len(marks) == 2 and marks["from"] < marks["to"]:
                side = "to" if heading.column > marks["to"] else "from"
            result.append(replace(heading, side=side))
        else:
            result.append(heading)
    return result
