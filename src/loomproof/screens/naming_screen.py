"""The screen on which a loom is named: the net, what it may be, the line that is typed, the keys.

What stands there is made by `loomproof.naming.shown`; here it is only laid out, for any width and height.
"""

from __future__ import annotations

import unicodedata

from loomproof.jobs.events import Shown
from loomproof.reports.words import plural
from loomproof.screens.full_screen import Frame

LEAST_WIDTH = 20


def frame(shown: Shown, width: int, height: int) -> Frame:
    """Return the lines of the screen and where its cursor is.

    Where it is low, ends of a long net are left out first (that which is meant stays), then reasons.
    """
    width = max(width - 1, LEAST_WIDTH)
    head = [
        _side(
            shown.loom,
            f"{plural(shown.touches, 'touch', 'touches')}, {shown.done} of {shown.of} ends named",
            width,
        ),
        "─" * width,
    ]
    line, column = _line(shown, width)
    below = [
        *_folded(shown.heading, width),
    ]
    parts = [text for part in shown.parts for text in _folded(part, width, "  ")]
    offers = [text for offer in shown.offers for text in _offer(offer.key, offer.says, offer.reason, width)]
    short = [text for offer in shown.offers for text in _folded(f"[{offer.key}] {offer.says}", width, "    ")]
    question = [shown.question, line]
    after = _after(shown, width)
    keys = _folded("   ".join(f"[{key}] {what}".replace(" ", "\xa0") for key, what in shown.keys), width)
    foot = [*_folded(shown.progress, width), *_folded(shown.nameless, width)[:2], *keys]

    fixed = len(head) + len(below) + len(question) + len(after) + 2
    if fixed + len(foot) + len(parts) + len(offers) + min(len(shown.ends), 3) > height:
        foot = keys
    if fixed + len(foot) + len(parts) + len(offers) + min(len(shown.ends), 3) > height:
        offers = short
    if fixed + len(foot) + len(parts) + len(offers) + 1 > height:
        foot, parts = [], []
    room = max(height - fixed - len(foot) - len(parts) - len(offers), 1)
    ends = _ends(shown, width, room)
    top = [*head, *below, *ends, *parts, *offers, ""]
    row = len(top) + 1
    lines = [*top, *question, *after]
    space = height - len(lines) - len(foot)
    lines += [""] * max(space, 0)
    lines += foot
    if row >= height:  # so low that not even the line would stand there
        lines, row = lines[row - height + 1 :], height - 1
    return Frame(tuple(_cut(each, width) for each in lines[:height]), row, column)


def _side(left: str, right: str, width: int) -> str:
    room = width - len(right) - 2
    return f"{_cut(left, room).ljust(room)}  {right}" if room > 8 else _cut(right, width)


def _ends(shown: Shown, width: int, room: int) -> list[str]:
    """Return a line for each end of the net, as many as there is room for, that which is meant among them."""
    ends = shown.ends
    texts = []
    wide = min(max((len(each.name) for each in ends), default=0), max(width // 3, 8))
    for each in ends:
        mark = ">" if each.chosen else " "
        name = _cut(each.name, wide).ljust(wide)
        state = "?" if each.nameless else " "
        told = ", ".join(filter(None, (each.ohms, each.known)))
        texts.append(_cut(f"{mark} {name} {state} {told}".rstrip(), width))
    if len(texts) <= room:
        return texts
    at = next((k for k, each in enumerate(ends) if each.chosen), 0)
    count = max(room - 1, 1)
    first = min(max(at - count // 2, 0), len(texts) - count)
    kept = texts[first : first + count]
    return [*kept, f"  and {len(texts) - count} more"] if room > 1 else kept


def _offer(key: str, says: str, reason: str, width: int) -> list[str]:
    return [
        *_folded(f"[{key}] {says}?", width, "    "),
        *(f"    {each}" for each in _folded(reason, width - 4)),
    ]


def _line(shown: Shown, width: int) -> tuple[str, int]:
    """Return the line that is typed, and the column of its cursor; of a long one what is around that."""
    room = width - 3
    text, at = shown.text, shown.cursor
    first = 0
    while _wide(text[first:at]) > room - 1:
        first += 1
    head = "<" if first else " "
    seen = text[first : first + room]
    return f">{head}{seen}", 2 + _wide(text[first:at])


def _after(shown: Shown, width: int) -> list[str]:
    lines: list[str] = []
    if shown.meant:
        lines += [f"  {each}" for each in _folded(f"= {shown.meant}", width - 2)]
    if shown.candidates:
        lines += _candidates(shown, width)
    if shown.said:
        mark = "! " if shown.refused else "  "
        folded = _folded(shown.said, width - 2)
        lines += [mark + folded[0], *(f"  {each}" for each in folded[1:])]
    return lines


def _candidates(shown: Shown, width: int) -> list[str]:
    """Return how the line may go on, in two lines at most."""
    items = [f"{word} ({meaning})" if meaning else word for word, meaning in shown.candidates]
    lines = ["  Tab:"]
    for item in items:
        longer = f"{lines[-1]} {item}" if lines[-1].endswith(":") else f"{lines[-1]}, {item}"
        if len(longer) <= width:
            lines[-1] = longer
        elif len(lines) == 1:
            lines.append(_cut(f"       {item}", width))
        else:
            break
    return lines


def _folded(text: str, width: int, later: str = "") -> list[str]:
    """Fold between words; a word that is longer than a line is cut into pieces. A hard space is none."""
    lines: list[str] = []
    now = ""
    for word in text.split(" "):
        lead = later if lines else ""
        joined = f"{now} {word}" if now else f"{lead}{word}"
        if _wide(joined) <= width:
            now = joined
            continue
        if now:
            lines.append(now)
        now = f"{later}{word}"
        while _wide(now) > width:
            most = next(k for k in range(len(now), 0, -1) if _wide(now[:k]) <= width or k == 1)
            lines.append(now[:most])
            now = later + now[most:]
    lines.append(now)
    return [each.replace("\xa0", " ") for each in lines]


def _cut(text: str, width: int) -> str:
    """Return a text in so many columns at most; where it is cut an ellipsis says so."""
    if _wide(text) <= width:
        return text
    while text and _wide(text) > width - 1:
        text = text[:-1]
    return f"{text}…"


def _wide(text: str) -> int:
    """Return how many columns a text takes: some letters take two, marks that stand on others none."""
    return sum(
        0 if unicodedata.combining(mark) else 2 if unicodedata.east_asian_width(mark) in "WF" else 1
        for mark in text
    )
