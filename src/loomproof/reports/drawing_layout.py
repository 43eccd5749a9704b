"""Where everything of a loom stands in its picture: two columns of boxes, and wires in the channel between.

Left rows lie on one grid and right rows half a step below it, so that no two wires ever share a
horizontal line; upright stretches share a track only where they do not meet. A splice is an upright bar.
All sizes are px, y downwards.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from loomproof.loom.model import ComponentKind, Connector, ConnectorKind, End, Loom, Wire

ROW = 14.0
HEAD_ROWS = 2
TRACK = 8.0
BAR = 15.0
SWEEPS = 24
NARROWEST = 80.0
"""Row height, rows of a heading, widths of a wire's and a splice's track, sorting rounds, least channel."""

LEFT, RIGHT = 0, 1


class FootLine(NamedTuple):
    """A line below a connector: ``part`` says that it speaks of a part, ``kind`` that its symbol leads it."""

    text: str
    part: bool = False
    kind: ComponentKind | None = None


@dataclass(frozen=True)
class Row:
    """One wire's end at one cavity. ``first`` is false for a further wire in the same cavity."""

    end: End
    wire: Wire
    side: int
    y: float
    first: bool


@dataclass(frozen=True)
class Box:
    """A connector's box: its rows (one for each wire end) and foot lines below them."""

    connector: Connector
    side: int
    top: float
    height: float
    rows: tuple[Row, ...]
    foot: tuple[FootLine, ...]


@dataclass(frozen=True)
class Bar:
    """A splice: an upright bar at ``x`` from ``top`` to ``bottom``."""

    name: str
    x: float
    top: float
    bottom: float


@dataclass(frozen=True)
class Line:
    """A wire as a polyline in the channel; an x of 0 is its left edge, the channel's width its right one."""

    wire: Wire
    points: tuple[tuple[float, float], ...]
    joints: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Layout:
    """The whole picture without its frame: boxes by side, bars and lines in a channel of this width."""

    boxes: tuple[Box, ...]
    bars: tuple[Bar, ...]
    lines: tuple[Line, ...]
    channel: float
    height: float


@dataclass
class _Block:
    """A box while it is sorted: its wire ends in cavity order, and where it is at the moment."""

    connector: Connector
    ends: list[tuple[End, Wire, bool]]
    foot: tuple[FootLine, ...]
    side: int = LEFT
    top: float = 0.0
    near: dict[str, float] = field(default_factory=dict)

    @property
    def height(self) -> float:
        """Height with its heading and foot."""
        return ROW * (HEAD_ROWS + len(self.ends) + len(self.foot))

    def y(self, index: int) -> float:
        """Return the middle of a row."""
        return self.top + ROW * (HEAD_ROWS + index + 0.5)


def lay_out(loom: Loom, feet: Mapping[str, tuple[FootLine, ...]], least: float = NARROWEST) -> Layout:
    """Place everything; ``feet`` gives foot lines by connector (empty cavities, built-in parts).

    ``least`` is how wide the channel is at least.
    """
    blocks = [_block(loom, connector, feet) for connector in loom.connectors if _is_box(connector)]
    _split(blocks, loom)
    order = _sorted(blocks)
    boxes, places = _settled(order)
    bars, lines, channel = _routed(loom, places, least)
    height = max([ROW, *(box.top + box.height for box in boxes), *(bar.bottom for bar in bars)])
    return Layout(tuple(boxes), bars, lines, channel, height)


def _is_box(connector: Connector) -> bool:
    return connector.kind is not ConnectorKind.SPLICE


def _block(loom: Loom, connector: Connector, feet: Mapping[str, tuple[FootLine, ...]]) -> _Block:
    ends = []
    for end in connector.ends:
        for index, wire in enumerate(loom.wires_at.get(end, ())):
            ends.append((end, wire, index == 0))
            if wire.a == wire.b:
                ends.append((end, wire, False))
    return _Block(connector, ends, feet.get(connector.name, ()))


def _split(blocks: list[_Block], loom: Loom) -> None:
    """Give each box a side: away from what it is wired to, and so that both columns are about as tall."""
    by_name = {block.connector.name: block for block in blocks}
    for wire in loom.wires:
        a, b = wire.a.connector, wire.b.connector
        for here, there in ((a, b), (b, a)):
            if here in by_name and there in by_name and here != there:
                near = by_name[here].near
                near[there] = near.get(there, 0.0) + 1.0
    for splice in loom.splices:
        around = [
            end.connector for wire in loom.wires_at.get(splice, ()) for end in wire.ends if end != splice
        ]
        boxed = [name for name in around if name in by_name]
        for here in boxed:
            for there in boxed:
                if here != there:
                    near = by_name[here].near
                    near[there] = near.get(there, 0.0) + 1.0 / (len(boxed) - 1)
    heights = [0.0, 0.0]
    placed: dict[str, int] = {}
    for block in sorted(blocks, key=lambda block: -len(block.ends)):
        pull = [0.0, 0.0]
        for name, weight in block.near.items():
            if name in placed:
                pull[1 - placed[name]] += weight
        lean = ROW * (pull[LEFT] - pull[RIGHT]) - 0.5 * (heights[LEFT] - heights[RIGHT])
        block.side = LEFT if lean >= 0 else RIGHT
        placed[block.connector.name] = block.side
        heights[block.side] += block.height + ROW


def _sorted(blocks: list[_Block]) -> list[_Block]:
    """Order both columns so that wires run as level as they can (sweeps of barycentres, best kept)."""
    order = list(blocks)
    members = _members(blocks)
    best, best_length = list(order), float("inf")
    for sweep in range(SWEEPS):
        _stack(order)
        length = _length(members)
        if length < best_length - 1e-9:
            best, best_length = list(order), length
        side = sweep % 2
        targets = {
            id(block): _target(block, index, members)
            for index, block in enumerate(order)
            if block.side == side
        }
        moved = sorted((block for block in order if block.side == side), key=lambda block: targets[id(block)])
        fixed = [block for block in order if block.side != side]
        order = moved + fixed if side == LEFT else fixed + moved
    _stack(best)
    return best


_Members = dict[tuple[str, str], list[tuple[_Block, int]]]


def _members(blocks: Iterable[_Block]) -> _Members:
    """Return what hangs together: the rows of each direct wire, and of all wires on each splice."""
    found: _Members = {}
    for block in blocks:
        for index, (end, wire, _) in enumerate(block.ends):
            far = wire.b if wire.a == end else wire.a
            key = ("splice", far.connector) if not far.cavity else ("wire", wire.name)
            found.setdefault(key, []).append((block, index))
    return found


def _length(members: _Members) -> float:
    total = 0.0
    for rows in members.values():
        heights = [block.y(index) for block, index in rows]
        total += max(heights) - min(heights)
    return total


def _target(block: _Block, place: int, members: _Members) -> tuple[float, int]:
    """Return the height that this box's far ends pull it to; a box without any stays last."""
    pulls = []
    for index, (end, wire, _) in enumerate(block.ends):
        far = wire.b if wire.a == end else wire.a
        key = ("splice", far.connector) if not far.cavity else ("wire", wire.name)
        others = [other.y(row) for other, row in members[key] if other is not block]
        if others:
            pulls.append(sum(others) / len(others) - ROW * index)
    return (sum(pulls) / len(pulls) if pulls else float("inf"), place)


def _stack(order: Iterable[_Block]) -> None:
    tops = [0.0, ROW / 2]
    for block in order:
        block.top = tops[block.side]
        tops[block.side] += block.height + ROW


def _settled(order: list[_Block]) -> tuple[list[Box], dict[tuple[str, End], list[Row]]]:
    boxes = []
    places: dict[tuple[str, End], list[Row]] = {}
    for block in order:
        rows = tuple(
            Row(end, wire, block.side, block.y(index), first)
            for index, (end, wire, first) in enumerate(block.ends)
        )
        boxes.append(Box(block.connector, block.side, block.top, block.height, rows, block.foot))
        for row in rows:
            places.setdefault((row.wire.name, row.end), []).append(row)
    return boxes, places


@dataclass
class _Span:
    """An upright stretch that wants a track: of a wire, or of a splice."""

    key: tuple[str, str]
    top: float
    bottom: float
    lean: float
    x: float = 0.0

    @property
    def is_bar(self) -> bool:
        """Whether it is a splice's."""
        return self.key[0] == "splice"


def _routed(
    loom: Loom, places: Mapping[tuple[str, End], list[Row]], least: float
) -> tuple[tuple[Bar, ...], tuple[Line, ...], float]:
    lanes = _lanes(loom, places)
    spans = _spans(loom, places, lanes)
    channel = max(_tracks(spans), least)
    at = {span.key: span.x for span in spans}
    bars = tuple(Bar(span.key[1], span.x, span.top, span.bottom) for span in spans if span.is_bar)
    lines = []
    for wire in loom.wires:
        rows = _rows_of(wire, places)
        edge = [(0.0 if row.side == LEFT else channel, row.y) for row in rows]
        if not wire.a.cavity and not wire.b.cavity:
            y = lanes[wire.name]
            joints = tuple((at["splice", end.connector], y) for end in wire.ends)
            lines.append(Line(wire, joints, joints))
        elif len(rows) == 2:
            x = at["wire", wire.name]
            (x0, y0), (x1, y1) = edge
            lines.append(Line(wire, ((x0, y0), (x, y0), (x, y1), (x1, y1)), ()))
        elif rows:
            splice = wire.a if not wire.a.cavity else wire.b
            x = at["splice", splice.connector]
            lines.append(Line(wire, (edge[0], (x, edge[0][1])), ((x, edge[0][1]),)))
    return bars, tuple(lines), channel


def _rows_of(wire: Wire, places: Mapping[tuple[str, End], list[Row]]) -> list[Row]:
    if wire.a == wire.b:
        return places.get((wire.name, wire.a), [])[:2]
    return [row for end in wire.ends for row in places.get((wire.name, end), [])[:1]]


def _lanes(loom: Loom, places: Mapping[tuple[str, End], list[Row]]) -> dict[str, float]:
    """Return a height for each wire between two splices, a quarter step off the rows of both columns."""
    found: dict[str, float] = {}
    taken: set[float] = set()
    busy = {row.y for rows in places.values() for row in rows}
    for wire in loom.wires:
        if wire.a.cavity or wire.b.cavity:
            continue
        heights = [
            row.y
            for splice in wire.ends
            for other in loom.wires_at.get(splice, ())
            for row in _rows_of(other, places)
        ]
        wanted = sum(heights) / len(heights) if heights else ROW
        step = round(wanted / (ROW / 2))
        steps = (step + sign * offset for offset in range(len(loom.wires) + 60) for sign in (1, -1))
        first, beside = 0.0, 0.0
        for y in (ROW / 2 * (one + 0.5) for one in steps):
            if y <= 0 or y in taken:
                continue
            first = first or y
            # Best is a height with no row beside it: between boxes, or at a heading.
            if not {y - ROW / 4, y + ROW / 4} & busy:
                beside = y
                break
        y = beside or first
        taken.add(y)
        found[wire.name] = y
    return found


def _spans(
    loom: Loom, places: Mapping[tuple[str, End], list[Row]], lanes: Mapping[str, float]
) -> list[_Span]:
    spans = []
    for splice in loom.splices:
        wires = loom.wires_at.get(splice, ())
        rows = [row for wire in wires for row in _rows_of(wire, places)]
        heights = [row.y for row in rows] + [lanes[wire.name] for wire in wires if wire.name in lanes]
        if not heights:
            continue
        lean = sum(1 if row.side == RIGHT else -1 for row in rows) / max(len(rows), 1)
        top, bottom = _bar_of(splice.connector, heights, lanes.values())
        spans.append(_Span(("splice", splice.connector), top, bottom, lean))
    for wire in loom.wires:
        rows = _rows_of(wire, places)
        if len(rows) == 2 and wire.a.cavity and wire.b.cavity:
            low, high = sorted(row.y for row in rows)
            lean = sum(1 if row.side == RIGHT else -1 for row in rows) / 2
            spans.append(_Span(("wire", wire.name), low, high, lean))
    return spans


def _bar_of(name: str, heights: Iterable[float], lanes: Iterable[float]) -> tuple[float, float]:
    """Return top and bottom of a splice's bar, which reaches all its wires and has room for its name.

    ``lanes`` are the heights of wires between splices: their labels may lie over the bar, and the name
    finds room beside them.
    """
    reached = sorted(heights)
    length = 6.4 * len(name) + 8
    middle = (reached[0] + reached[-1]) / 2
    half = max(reached[-1] - reached[0], length) / 2
    top = max(middle - half, 0.0)
    bottom = max(reached[-1], top + length)
    crossed = [y for y in sorted(lanes) if top <= y <= bottom]
    if crossed and max(b - a for a, b in itertools.pairwise((top, *crossed, bottom))) < length + ROW:
        return min(reached[0], crossed[0]), max(reached[-1], crossed[-1] + length + ROW)
    return top, bottom


def _tracks(spans: list[_Span]) -> float:
    """Give each stretch a track that nothing it would meet is on; return the channel's width.

    Stretches of one column stay near it, so that a wire that turns back does not cross the channel.
    """
    tracks: list[tuple[bool, float, list[_Span]]] = []
    groups: dict[tuple[bool, int], list[_Span]] = {}
    for span in spans:
        groups.setdefault((span.is_bar, round(span.lean)), []).append(span)
    for (is_bar, lean), group in groups.items():
        mine: list[list[_Span]] = []
        busy: list[tuple[float, int]] = []
        free: list[int] = []
        for span in sorted(group, key=lambda span: (span.top, span.key)):
            while busy and busy[0][0] <= span.top:
                heapq.heappush(free, heapq.heappop(busy)[1])
            if not free:
                free.append(len(mine))
                mine.append([])
            at = heapq.heappop(free)
            mine[at].append(span)
            heapq.heappush(busy, (span.bottom + ROW / 2, at))
        tracks += ((is_bar, lean, held) for held in mine)
    x = TRACK
    for is_bar, _, held in sorted(tracks, key=lambda track: track[1]):
        width = BAR if is_bar else TRACK
        for span in held:
            span.x = x + width / 2
        x += width
    return x + TRACK
