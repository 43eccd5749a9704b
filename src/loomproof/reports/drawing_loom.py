"""The loom as one picture: every connector with its wires, every splice, and the circuits below.

Lines show how the loom hangs together; each row also says in words where its wire goes, so that nobody
has to follow a line through the whole sheet.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from loomproof.loom.model import (
    Circuit,
    Component,
    Connector,
    ConnectorKind,
    End,
    Hazard,
    Loom,
    Need,
    Wire,
)
from loomproof.reports import drawing_svg as svg
from loomproof.reports.drawing_layout import (
    HEAD_ROWS,
    LEFT,
    NARROWEST,
    ROW,
    Bar,
    Box,
    FootLine,
    Layout,
    Line,
    Row,
    lay_out,
)
from loomproof.reports.drawing_symbols import WIDTH, symbol
from loomproof.results.figures import value_of

MARGIN = 28.0
LEGEND_ROW = 13.0

CAVITY, SWATCH, COLOUR, CSA, WIRE, FAR, CIRCUIT = 40.0, 30.0, 54.0, 34.0, 56.0, 104.0, 92.0
WIDEST = 340.0
"""Widths in px of a row's parts where names are short, and the most that a name gets."""
SMALL = 6.5
"""Font size in px down to which a name is made smaller before its part of the row is made wider."""


@dataclass(frozen=True)
class Sizes:
    """Widths in px of a row's parts in all boxes of one picture."""

    cavity: float
    wire: float
    far: float
    circuit: float

    @property
    def box(self) -> float:
        """Width of a box."""
        return self.cavity + SWATCH + COLOUR + CSA + self.wire + self.far + self.circuit + 8


def sizes_of(loom: Loom) -> Sizes:
    """Return how wide a row's parts are for the names of a loom, so that hardly any is cut."""

    def wide(least: float, names: Iterable[str], *, bold: bool = False) -> float:
        needed = max((svg.text_width(name, SMALL, bold=bold) for name in names), default=0.0)
        return max(least, min(needed + 6, WIDEST))

    return Sizes(
        wide(CAVITY, (end.cavity for end in loom.cavities), bold=True),
        wide(WIRE, (_wire(wire) for wire in loom.wires)),
        wide(FAR, (f"→ {end}" for wire in loom.wires for end in wire.ends)),
        wide(CIRCUIT, (wire.circuit for wire in loom.wires)),
    )


def picture(loom: Loom, part: str = "", whole: Loom | None = None) -> str:
    """Return the loom as an SVG document; equal looms give equal bytes.

    ``part`` names the connector around which it is a part of ``whole``.
    """
    sizes = sizes_of(loom)
    feet = {connector.name: tuple(_foot(loom, connector.name, sizes.box)) for connector in loom.connectors}
    tags = [svg.text_width(_tag(wire), TAG) for wire in loom.wires if not wire.a.cavity and not wire.b.cavity]
    layout = lay_out(loom, feet, max([NARROWEST, *(min(tag, WIDEST) + 12 for tag in tags)]))
    labels = [_label(line, layout.channel) for line in layout.lines if len(line.joints) > 1]
    width = 2 * MARGIN + 2 * sizes.box + layout.channel
    title, title_height = _title(loom, width, part, whole or loom)
    origin_x, origin_y = MARGIN + sizes.box, MARGIN + title_height
    legend_top = origin_y + layout.height + 2 * ROW
    legend, legend_height = _legend(loom, MARGIN, legend_top, width - 2 * MARGIN)
    body = [
        *title,
        f'<g transform="translate({origin_x:g} {origin_y:g})">',
        *(_bar(bar.name, bar.x, bar.top, bar.bottom) for bar in layout.bars),
        *(part for line in layout.lines for part in svg.named(_line(line), wire=line.wire.name)),
        *(_bar_name(bar, labels) for bar in layout.bars),
        *(part for label in labels for part in svg.named(_labelled(label), wire=label.wire)),
        *(part for box in layout.boxes for part in _box(box, layout, sizes)),
        "</g>",
        *legend,
    ]
    height = legend_top + legend_height + MARGIN
    return svg.document(
        width, height, f"Loom {loom.name}{f', around {part}' if part else ''}", "".join(_told(loom)), body
    )


KEY = (
    "Upright bars are splices, dots are joints; lines that cross do not join. ″ is a further wire in the "
    "cavity above, tw twisted, sc screened. The arrow says where a wire goes; sections in mm²."
)


def _told(loom: Loom) -> Iterator[str]:
    yield f"{len(loom.connectors)} connectors and splices, {len(loom.wires)} wires. "
    for wire in loom.wires:
        yield f"Wire {wire.name} {wire.colour or 'of unknown colour'} from {wire.a} to {wire.b}. "


def _title(loom: Loom, width: float, part: str, whole: Loom) -> tuple[list[str], float]:
    """Return the heading and its height."""
    inner = width - 2 * MARGIN
    name = loom.name + (f", {loom.serial}" if loom.serial else "") + (f": {part}" if part else "")
    drawn = []
    y = MARGIN + 18
    names, size = svg.laid(name, inner, 22, 14, bold=True)
    for line in names:
        drawn.append(svg.text(MARGIN, y, line, size, weight="bold"))
        y += 18
    splices = len(loom.splices)
    counted = (
        f"{len(loom.connectors) - splices} connectors, {len(loom.cavities)} cavities, {splices} splices, "
        f"{len(loom.wires)} wires{f' around {part}' if part else ''}. "
        f"Drawn from description {whole.digest[:12]}."
    )
    for said, paint in ((loom.description, svg.INK), (counted, svg.PALE), (KEY, svg.PALE)):
        for line in svg.wrapped(said, inner, 10.5):
            drawn.append(svg.text(MARGIN, y, line, 10.5, fill=paint))
            y += 15
    return drawn, y - MARGIN + 4


def _box(box: Box, layout: Layout, sizes: Sizes) -> Iterator[str]:
    left = -sizes.box if box.side == LEFT else layout.channel
    connector = box.connector
    edge = svg.MARK if connector.hazard is Hazard.PYROTECHNIC else svg.INK
    round_corner = 14.0 if connector.kind in (ConnectorKind.RING, ConnectorKind.BULLET) else 4.0
    yield svg.rect(left, box.top, sizes.box, box.height, fill=svg.PAPER, corner=round_corner)
    yield from _head(connector, left, box.top, sizes.box)
    yield svg.rect(left, box.top + ROW * HEAD_ROWS, sizes.box, 0.6, fill="#c9c9c9")
    for index, row in enumerate(box.rows):
        if index % 2:
            yield svg.rect(left + 1, row.y - ROW / 2, sizes.box - 2, ROW, fill="#f5f5f2")
        yield from svg.named(_row(row, left, sizes), wire=row.wire.name, end=str(row.end))
    for index, line in enumerate(box.foot):
        y = box.top + ROW * (HEAD_ROWS + len(box.rows) + index) + 10
        if line.kind is not None:
            yield symbol(line.kind, left + 8, y - FOOT / 3)
        yield svg.text(left + 8 + (GUTTER if line.part else 0), y, line.text, FOOT, fill=svg.PALE)
    # The outline comes last, so that no stripe of a row lies over its corners.
    yield svg.rect(left, box.top, sizes.box, box.height, stroke=edge, line=1.3, corner=round_corner)


def _head(connector: Connector, left: float, top: float, width: float) -> Iterator[str]:
    """Yield two lines: name and what it is; housing and place. A long name has the first line to itself."""
    pyrotechnic = connector.hazard is Hazard.PYROTECHNIC
    kind = "PYROTECHNIC: never on the bench" if pyrotechnic else f"{connector.kind}"
    about = [kind, connector.description]
    others = [connector.housing, connector.location]
    paint = svg.MARK if pyrotechnic else svg.PALE
    name, size = svg.fitted(connector.name, width * 0.42, 12.5, 10, bold=True)
    if name != connector.name:
        name, size = svg.fitted(connector.name, width - 16, 12.5, 8, bold=True)
    beside = 15 + svg.text_width(name, size, bold=True)
    yield svg.text(left + 8, top + 14, name, size, weight="bold")
    if width - beside - 6 >= svg.text_width(kind, 7.5):
        said, size = svg.fitted(" · ".join(filter(None, about)), width - beside - 6, 9.5, 7.5)
        yield svg.text(left + beside, top + 14, said, size, fill=paint)
        paint = svg.PALE
    else:
        others = about + others
    said, size = svg.fitted(" · ".join(filter(None, others)), width - 16, 8.5, 7)
    yield svg.text(left + 8, top + 24.5, said, size, fill=paint)


def _row(row: Row, left: float, sizes: Sizes) -> Iterator[str]:
    """Yield one row: cavity, colour, section, wire, where it goes, circuit."""
    end, wire, base = row.end, row.wire, row.y + 3.4
    far = wire.b if wire.a == end else wire.a
    to = str(End(far.connector))
    csa = "" if wire.csa_mm2 is None else f"{wire.csa_mm2:.3g}"
    x = left + 6
    # Nothing to see: what lies under the whole row is what is pointed at, and what can be lit.
    yield svg.rect(left + 1, row.y - ROW / 2, sizes.box - 2, ROW)
    yield svg.swatch(x + sizes.cavity + 1, row.y - 4, SWATCH - 8, 8, wire.colour)
    for said, tail, width, size, paint in (
        (end.cavity if row.first else "″", "", sizes.cavity, 10.5, svg.INK),
        ("", "", SWATCH, 0.0, ""),
        (wire.colour or "?", "", COLOUR, 9.0, svg.INK),
        (csa, "", CSA, 8.5, svg.INK),
        (_wire(wire), "", sizes.wire, 9.0, svg.INK),
        (f"→ {to}", str(far).removeprefix(to), sizes.far, 9.0, svg.INK),
        (wire.circuit, "", sizes.circuit, 8.5, svg.PALE),
    ):
        if said:
            bold = size > 10
            shown, fits = svg.fitted(said, width - 4, size, 6, bold=bold, tail=tail)
            yield svg.text(x, base, shown, fits, weight="bold" if bold else "normal", fill=paint)
        x += width


def _wire(wire: Wire) -> str:
    """Return a wire's name with marks for twisted and screened."""
    marks = ("tw" if wire.twisted_with else "", "sc" if wire.screened_by else "")
    return " ".join(filter(None, (wire.name, *marks)))


def _line(line: Line) -> Iterator[str]:
    """Yield a wire: white halo so that it passes over others, dark edge, base colour, tracer as dashes."""
    path = "M" + " L".join(f"{x:g} {y:g}" for x, y in line.points)
    parts = svg.paints(line.wire.colour) or (svg.UNKNOWN_PAINT,)
    strokes = [(svg.PAPER, 5.4, ""), (svg.INK, 3.4, ""), (parts[0], 2.4, "")]
    strokes += [(paint, 2.4, f"5 {9 + 5 * index}") for index, paint in enumerate(parts[1:])]
    told = f"{line.wire.name} {line.wire.colour} {line.wire.a} to {line.wire.b}"
    yield f"<title>{svg.escaped(told)}</title>"
    for paint, width, dash in strokes:
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        yield f'<path d="{path}" fill="none" stroke="{paint}" stroke-width="{width:g}"{dashed}/>'
    for x, y in line.joints:
        yield f'<circle cx="{x:g}" cy="{y:g}" r="3.2" fill="{svg.INK}"/>'


TAG = 7.5
"""Font size in px of what stands on a wire between two splices."""


def _tag(wire: Wire) -> str:
    """Return what stands on a wire between two splices, which has no row in any box."""
    csa = "" if wire.csa_mm2 is None else f"{wire.csa_mm2:.3g}"
    return " ".join(filter(None, (wire.name, wire.colour, csa)))


@dataclass(frozen=True)
class _Label:
    """The label of a wire between two splices: whose, its middle, length, what it says, its font size."""

    wire: str
    x: float
    y: float
    length: float
    said: str
    size: float


def _label(line: Line, channel: float) -> _Label:
    """Return a wire's label, on the wire and inside the channel."""
    said, size = svg.fitted(_tag(line.wire), channel - 12, TAG)
    length = svg.text_width(said, size) + 6
    middle = (line.points[0][0] + line.points[-1][0]) / 2
    return _Label(
        line.wire.name,
        min(max(middle, length / 2 + 2), channel - length / 2 - 2),
        line.points[0][1],
        length,
        said,
        size,
    )


def _labelled(label: _Label) -> Iterator[str]:
    left, top = label.x - label.length / 2, label.y - 5
    yield svg.rect(left, top, label.length, 10, fill=svg.PAPER, stroke=svg.INK, line=0.6, corner=2)
    yield svg.text(label.x, label.y + 2.7, label.said, label.size, anchor="middle")


def _bar(name: str, x: float, top: float, bottom: float) -> str:
    bar = svg.rect(x - 1.6, top, 3.2, bottom - top, fill=svg.INK, corner=1.6)
    return f"<g><title>{svg.escaped(f'splice {name}')}</title>{bar}</g>"


def _bar_name(bar: Bar, labels: Iterable[_Label]) -> str:
    """Return a splice's name, upright on its bar, over the wires that cross there, beside the labels."""
    length = svg.text_width(bar.name, 8.5) + 6
    over = sorted(label.y for label in labels if abs(label.x - bar.x) < label.length / 2 + 7)
    middle = _free(bar.top, bar.bottom, length, over)
    tag = svg.rect(
        bar.x - 5.5, middle - length / 2, 11, length, fill="#fff7d6", stroke=svg.INK, line=0.7, corner=3
    )
    written = svg.text(0, 3, bar.name, 8.5, anchor="middle", weight="bold")
    return f'{tag}<g transform="translate({bar.x:g} {middle:g}) rotate(-90)">{written}</g>'


def _free(top: float, bottom: float, length: float, over: Iterable[float]) -> float:
    """Return where something so long stands clear of what lies over a bar, as near its middle as can be."""
    middle = (top + bottom) / 2
    stops = (top - 6, *over, bottom + 6)
    clear = [
        min(max(middle, above + 6 + length / 2), below - 6 - length / 2)
        for above, below in itertools.pairwise(stops)
        if below - above >= length + 12
    ]
    return min(clear, key=lambda at: abs(at - middle), default=middle)


FOOT = 8.0
"""Font size in px of the lines below a connector."""


GUTTER = WIDTH + 4
"""What is left free for symbols before the lines of parts, px."""


def _foot(loom: Loom, name: str, width: float) -> Iterator[FootLine]:
    """Yield lines below a connector: the parts built in or plugged there, and its empty cavities."""
    for part in loom.components:
        if any(end.connector == name for end in part.ends):
            for line, said in enumerate(svg.wrapped(_part(part, name), width - 16 - GUTTER, FOOT)):
                yield FootLine(said, True, None if line else part.kind)
    connector = loom.by_name[name]
    if connector.kind is ConnectorKind.SPLICE:
        return
    busy = {end for part in loom.components for end in part.ends} | set(loom.wires_at)
    empty = [end.cavity for end in connector.ends if end not in busy]
    if empty:
        yield from map(FootLine, svg.wrapped(f"empty: {' '.join(empty)}", width - 16, FOOT))


def _part(part: Component, name: str) -> str:
    legs = " ".join(
        f"{terminal}={end.cavity if end.connector == name and end.cavity else end}"
        for terminal, end in part.terminals
        if end != (name, terminal)
    )
    pulled = "" if part.fitted else ", pulled while proved"
    said = " ".join(filter(None, (part.name, part.kind, value_of(part))))
    return said + (f": {legs}" if legs else "") + pulled


def _legend(loom: Loom, left: float, top: float, width: float) -> tuple[list[str], float]:
    """Return the table of circuits, in as many columns as the sheet is wide, and its height."""
    circuits = loom.circuits
    if not circuits:
        return [], 0.0
    wires: dict[str, list[str]] = {}
    for wire in loom.wires:
        wires.setdefault(wire.circuit, []).append(wire.name)
    columns = max(1, int(width // 500))
    each = width / columns
    entries = [_entry(circuit, wires.get(circuit.name, ["no wires"]), each) for circuit in circuits]
    deep = sum(deep for _, deep in entries) / columns
    drawn = [svg.text(left, top, "Circuits", 12, weight="bold")]
    x, y, lowest = left, 0.0, 0.0
    for parts, high in entries:
        if y >= deep - 1e-6:
            x, y = x + each, 0.0
        drawn += [
            svg.text(x + at, top + 18 + y + down, line, size, weight=weight, fill=paint)
            for at, down, line, size, weight, paint in parts
        ]
        y += high
        lowest = max(lowest, y)
    return drawn, 18 + lowest


_Said = tuple[float, float, str, float, str, str]
"""A line of the legend: how far right and down, the line, its size, weight and paint."""


def _entry(circuit: Circuit, wires: list[str], width: float) -> tuple[list[_Said], float]:
    """Return the lines of a circuit in the legend, side by side: name, facts, wires; and their height."""
    parts: list[_Said] = []
    most = 1
    for at, share, said, size, smallest, paint in (
        (0.0, 0.24, circuit.name, 9.0, 6.5, svg.INK),
        (0.24, 0.48, _circuit(circuit), 8.5, 6.5, svg.INK),
        (0.72, 0.28, " ".join(wires), 8.0, 6.5, svg.PALE),
    ):
        bold = not at
        lines, fits = svg.laid(said, share * width - 10, size, smallest, bold=bold)
        weight = "bold" if bold else "normal"
        parts += [(at * width, 9.0 * row, line, fits, weight, paint) for row, line in enumerate(lines)]
        most = max(most, len(lines))
    return parts, LEGEND_ROW + 9.0 * (most - 1)


def _circuit(circuit: Circuit) -> str:
    parts = [
        circuit.designation,
        circuit.purpose,
        "" if circuit.load_a is None else f"{circuit.load_a:g} A",
        f"fuse {circuit.fuse}" if circuit.fuse else "",
        "" if circuit.need is Need.NEEDED else circuit.need.value,
    ]
    return " · ".join(filter(None, parts))
