"""What a watch saw of a loom that was moved, as a picture: events over time, by what was being moved.

Each place has a row, and in it a lane for each trouble that showed there, under the trouble's number in the
list below. What is closer together than a picture can show stands as one mark; the count beside is of all.
Bars, dots and frames differ in shape, so that it survives a printer without colours.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import count
from typing import assert_never

from loomproof.reports import drawing_svg as svg
from loomproof.reports.moved_words import length_told, surely_told
from loomproof.reports.words import plural
from loomproof.results.wiggled import Change, Moved, Trouble, Wiggled

WIDTH, LEFT, RIGHT, TOP = 960.0, 210.0, 64.0, 66.0
LANE, SPACE, SIZE = 22.0, 10.0, 13.0
"""Pixels: the whole, what stands left and right of the time, above it; a lane, between rows; a letter."""

UNSAID = "nothing said"
STEPS_S = (*(m * 10.0**k for k in range(-3, 2) for m in (1, 2, 5)), 60.0, 120.0, 300.0, 600.0, 1800.0)
"""Steps of the time axis, s."""
MOST_STEPS = 10
PER_PX = 2.0
"""Marks are told apart to half a pixel."""

_SHAPES = {
    Change.BREAK: "a bar: a break",
    Change.TOUCH: "a dot: a touch",
    Change.JOIN: "a frame: open at rest, and joined for a while",
}


def moved_picture(
    name: str, watched: Wiggled, troubles: Sequence[Trouble], places: Sequence[str] = ()
) -> str:
    """Return an SVG document of a watch of this loom; equal input gives equal text.

    ``places`` are those that could be chosen, in their order; others stand behind, as they came.
    """
    number = {(t.change, t.nets, t.cavities): k for k, t in enumerate(troubles, start=1)}
    lanes: dict[str, dict[int, list[Moved]]] = {place: {} for place in places}
    for each in watched.seen:
        key = number.get((each.change, each.nets, each.cavities), 0)
        lanes.setdefault(each.place or UNSAID, {}).setdefault(key, []).append(each)
    title, size = svg.fitted(
        name, WIDTH - LEFT - RIGHT, 17, 9, bold=True, tail=": what let go while it was moved"
    )
    body: list[str] = [
        svg.text(LEFT, 26, title, size, weight="bold"),
        svg.text(LEFT, 46, _key(watched), SIZE, fill=svg.PALE),
    ]
    y = TOP
    end_s = max([watched.asked_s, *(each.began_s for each in watched.seen)])
    scale = (WIDTH - LEFT - RIGHT) / max(end_s, 1e-9)
    for place, mine in lanes.items() if lanes else {UNSAID: {}}.items():
        height = LANE * max(1, len(mine))
        body.append(svg.rect(LEFT, y, WIDTH - LEFT - RIGHT, height, fill="#f4f4f1"))
        label, size = svg.fitted(place, LEFT - 46, SIZE, 8)
        body.append(svg.text(LEFT - 34, y + LANE / 2 + SIZE / 3, label, size, anchor="end"))
        for line, key in zip(count(), sorted(mine)):
            top = y + line * LANE
            body.append(
                svg.text(
                    LEFT - 8, top + LANE / 2 + SIZE / 3, str(key or "?"), SIZE, anchor="end", weight="bold"
                )
            )
            body += _marks(mine[key], top, scale)
            body.append(svg.text(WIDTH - RIGHT + 8, top + LANE / 2 + SIZE / 3, f"× {len(mine[key])}", SIZE))
        y += height + SPACE
    body += _axis(y - SPACE, end_s, scale)
    y += 52
    for text in _listed(watched, troubles):
        for part in svg.wrapped(text, WIDTH - LEFT - RIGHT, SIZE):
            body.append(svg.text(LEFT, y, part, SIZE))
            y += 19
    return svg.document(
        WIDTH,
        y + 10,
        f"{name}: what let go while it was moved",
        f"{plural(len(watched.seen), 'event')} in {watched.asked_s:g} s, by what was being moved.",
        body,
    )


def _key(watched: Wiggled) -> str:
    kinds = dict.fromkeys(each.change for each in watched.seen)
    return "; ".join(_SHAPES[kind] for kind in Change if kind in kinds)


def _marks(events: Iterable[Moved], top: float, scale: float) -> Iterator[str]:
    """Yield the marks of one lane; of those at one place on the picture the longest."""
    spans: dict[tuple[Change, int], float] = {}
    for each in events:
        x, width = LEFT + each.began_s * scale, (each.length_us or 0) / 1e6 * scale
        key = (each.change, round(x * PER_PX))
        spans[key] = max(spans.get(key, 0.0), min(width, WIDTH - RIGHT - x))
    for (change, place), width in sorted(spans.items()):
        x = place / PER_PX
        match change:
            case Change.BREAK:
                yield svg.rect(x, top + 4, max(width, 1.2), LANE - 8, fill=svg.MARK)
            case Change.TOUCH:
                yield f'<circle cx="{x:g}" cy="{top + LANE / 2:g}" r="3.2" fill="{svg.INK}"/>'
            case Change.JOIN:
                yield svg.rect(x, top + 7, max(width, 5), LANE - 14, stroke=svg.INK, line=1.2)
            case _:
                assert_never(change)


def _axis(y: float, end_s: float, scale: float) -> Iterator[str]:
    step_s = next((s for s in sorted(STEPS_S) if end_s / s <= MOST_STEPS), 3600.0)
    for k in range(int(end_s / step_s + 1e-9) + 1):
        x = LEFT + k * step_s * scale
        yield svg.rect(x, TOP - 4, 0.6, y - TOP + 10, fill=svg.PALE)
        yield svg.text(x, y + 22, f"{round(k * step_s, 6):g}", SIZE, anchor="middle")
    yield svg.text(WIDTH - RIGHT + 8, y + 22, "s", SIZE)


def _listed(watched: Wiggled, troubles: Sequence[Trouble]) -> Iterator[str]:
    """Yield what the numbers mean, and what was watched: no picture says more than its watch did."""
    for number, trouble in enumerate(troubles, start=1):
        ends = ", ".join(map(str, trouble.cavities[:6])) + (" and more" if len(trouble.cavities) > 6 else "")
        # Without a word of what was moved nothing tells the suspects apart.
        likely = f"; likeliest {trouble.suspects[0].what}" if trouble.suspects and trouble.places else ""
        yield f"{number}: {trouble.change.value} of {ends}, {_times(trouble)}{likely}."
    if not troubles:
        yield "Nothing was seen in that time. What moves more rarely, shorter or otherwise is not ruled out."
    shortest = (
        "how short a change is surely seen is not known"
        if watched.shortest_us is None
        else f"what lasts {surely_told(watched.shortest_us)} is surely seen"
    )
    yield f"Watched for breaks for {watched.watched_s:.1f} s of {watched.asked_s:g} s; {shortest}."
    if watched.lost:
        yield (
            f"{plural(watched.lost, 'event')} or more were lost on the line; {watched.unwatched_s:.1f} s are "
            "not counted as watched."
        )


def _times(trouble: Trouble) -> str:
    lengths = (trouble.shortest_us, trouble.longest_us)
    if None in lengths:
        return f"{plural(trouble.times, 'time')}, how long is not known"
    low, high = (length_told(us or 0) for us in lengths)
    return f"{plural(trouble.times, 'time')}, {low if low == high else f'{low} to {high}'} long"
