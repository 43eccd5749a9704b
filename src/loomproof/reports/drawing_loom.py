"""The loom as one picture: every connector with its wires, every splice, and the circuits below.

Lines show how the loom hangs together; each row also says in words where its wire goes, so that nobody
has to follow a line through the whole sheet.
"""

from __future__ import annotations

from collections.abc import Iterator

from loomproof.loom.model import (
    Circuit,
    Component,
    ComponentKind,
    ConnectorKind,
    End,
    Hazard,
    Loom,
    Need,
    Wire,
)
from loomproof.reports import drawing_svg as svg
from loomproof.reports.drawing_layout import HEAD_ROWS, LEFT, ROW, Box, Layout, Line, lay_out

MARGIN = 28.0
LEGEND_ROW = 13.0

COLUMNS = (("cavity", 40.0), ("swatch", 30.0), ("colour", 54.0), ("csa", 34.0), ("wire", 56.0))
FAR, CIRCUIT = 104.0, 92.0
BOX = sum(width for _, width in COLUMNS) + FAR + CIRCUIT + 8
"""Widths in px of a row's parts, and of a box."""


def picture(loom: Loom) -> str:
    """Return the loom as an SVG document; equal looms give equal bytes."""
    layout = lay_out(
        loom, {connector.name: tuple(_foot(loom, connector.name)) for connector in loom.connectors}
    )
    width = 2 * MARGIN + 2 * BOX + layout.channel
    title, title_height = _title(loom, width)
    origin_x, origin_y = MARGIN + BOX, MARGIN + title_height
    legend_top = origin_y + layout.height + 2 * ROW
    legend, legend_height = _legend(loom, MARGIN, legend_top, width - 2 * MARGIN)
    body = [
        *title,
        f'<g transform="translate({origin_x:g} {origin_y:g})">',
        *(_bar(bar.name, bar.x, bar.top, bar.bottom) for bar in layout.bars),
        *(part for line in layout.lines for part in _line(line)),
        *(_bar_name(bar.name, bar.x, (bar.top + bar.bottom) / 2) for bar in layout.bars),
        *(part for line in layout.lines for part in _between_bars(line)),
        *(part for box in layout.boxes for part in _box(box, layout)),
        "</g>",
        *legend,
    ]
    height = legend_top + legend_height + MARGIN
    return svg.document(width, height, f"Loom {loom.name}", "".join(_told(loom)), body)


KEY = (
    "Upright bars are splices, dots are joints; lines that cross do not join. ″ is a further wire in the "
    "cavity above, tw twisted, sc screened. The arrow says where a wire goes; sections in mm²."
)


def _told(loom: Loom) -> Iterator[str]:
    yield f"{len(loom.connectors)} connectors and splices, {len(loom.wires)} wires. "
    for wire in loom.wires:
        yield f"Wire {wire.name} {wire.colour or 'of unknown colour'} from {wire.a} to {wire.b}. "


def _title(loom: Loom, width: float) -> tuple[list[str], float]:
    """Return the heading and its height."""
    inner = width - 2 * MARGIN
    name = loom.name + (f", {loom.serial}" if loom.serial else "")
    name, size = svg.fitted(name, inner, 22, 12, bold=True)
    drawn = [svg.text(MARGIN, MARGIN + 18, name, size, weight="bold")]
    splices = len(loom.splices)
    counted = (
        f"{len(loom.connectors) - splices} connectors, {len(loom.cavities)} cavities, {splices} splices, "
        f"{len(loom.wires)} wires. Drawn from description {loom.digest[:12]}."
    )
    y = MARGIN + 36
    for said, paint in ((loom.description, svg.INK), (counted, svg.PALE), (KEY, svg.PALE)):
        for line in svg.wrapped(said, inner, 10.5):
            drawn.append(svg.text(MARGIN, y, line, 10.5, fill=paint))
            y += 15
    return drawn, y - MARGIN + 4


def _box(box: Box, layout: Layout) -> Iterator[str]:
    left = -BOX if box.side == LEFT else layout.channel
    connector = box.connector
    pyrotechnic = connector.hazard is Hazard.PYROTECHNIC
    edge = svg.MARK if pyrotechnic else svg.INK
    round_corner = 14.0 if connector.kind in (ConnectorKind.RING, ConnectorKind.BULLET) else 4.0
    yield svg.rect(left, box.top, BOX, box.height, fill=svg.PAPER, corner=round_corner)
    name, size = svg.fitted(connector.name, BOX * 0.42, 12.5, 8, bold=True)
    yield svg.text(left + 8, box.top + 14, name, size, weight="bold")
    beside = left + 15 + svg.text_width(name, size, bold=True)
    kind = "PYROTECHNIC: never on the bench" if pyrotechnic else f"{connector.kind}"
    told = " · ".join(filter(None, (kind, connector.description)))
    about, size = svg.fitted(told, left + BOX - beside - 6, 9.5, 7.5)
    yield svg.text(beside, box.top + 14, about, size, fill=edge if pyrotechnic else svg.PALE)
    second = " · ".join(filter(None, (connector.housing, connector.location)))
    about, size = svg.fitted(second, BOX - 16, 8.5, 7)
    yield svg.text(left + 8, box.top + 24.5, about, size, fill=svg.PALE)
    yield svg.rect(left, box.top + ROW * HEAD_ROWS, BOX, 0.6, fill="#c9c9c9")
    for index, row in enumerate(box.rows):
        if index % 2:
            yield svg.rect(left + 1, row.y - ROW / 2, BOX - 2, ROW, fill="#f5f5f2")
        yield from _row(row.end, row.wire, row.first, left, row.y)
    for index, line in enumerate(box.foot):
        y = box.top + ROW * (HEAD_ROWS + len(box.rows) + index) + 10
        shown, size = svg.fitted(line, BOX - 16, 8.5, 7)
        yield svg.text(left + 8, y, shown, size, fill=svg.PALE)
    # The outline comes last, so that no stripe of a row lies over its corners.
    yield svg.rect(left, box.top, BOX, box.height, stroke=edge, line=1.3, corner=round_corner)


def _row(end: End, wire: Wire, first: bool, left: float, y: float) -> Iterator[str]:
    """Yield one row: cavity, colour, section, wire, where it goes, circuit."""
    base = y + 3.4
    far = wire.b if wire.a == end else wire.a
    marks = " ".join(filter(None, ("tw" if wire.twisted_with else "", "sc" if wire.screened_by else "")))
    cells = (
        ("cavity", end.cavity if first else "″", 10.5),
        ("swatch", "", 0.0),
        ("colour", wire.colour or "?", 9.0),
        ("csa", "" if wire.csa_mm2 is None else f"{wire.csa_mm2:.3g}", 8.5),
        ("wire", f"{wire.name} {marks}".strip(), 9.0),
    )
    x = left + 6
    widths = dict(COLUMNS)
    for name, said, size in cells:
        width = widths[name]
        if name == "swatch":
            yield svg.swatch(x + 1, y - 4, width - 8, 8, wire.colour)
        elif said:
            bold = name == "cavity"
            shown, fits = svg.fitted(said, width - 4, size, 6, bold=bold)
            yield svg.text(x, base, shown, fits, weight="bold" if bold else "normal")
        x += width
    shown, fits = svg.fitted(f"→ {far}", FAR - 4, 9, 6)
    yield svg.text(x, base, shown, fits)
    shown, fits = svg.fitted(wire.circuit, CIRCUIT - 6, 8.5, 6)
    yield svg.text(x + FAR, base, shown, fits, fill=svg.PALE)


def _line(line: Line) -> Iterator[str]:
    """Yield a wire: white halo so that it passes over others, dark edge, base colour, tracer as dashes."""
    path = "M" + " L".join(f"{x:g} {y:g}" for x, y in line.points)
    parts = svg.paints(line.wire.colour) or (svg.UNKNOWN_PAINT,)
    strokes = [(svg.PAPER, 5.4, ""), (svg.INK, 3.4, ""), (parts[0], 2.4, "")]
    strokes += [(paint, 2.4, f"5 {9 + 5 * index}") for index, paint in enumerate(parts[1:])]
    told = f"{line.wire.name} {line.wire.colour} {line.wire.a} to {line.wire.b}"
    yield f"<g><title>{svg.escaped(told)}</title>"
    for paint, width, dash in strokes:
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        yield f'<path d="{path}" fill="none" stroke="{paint}" stroke-width="{width:g}"{dashed}/>'
    for x, y in line.joints:
        yield f'<circle cx="{x:g}" cy="{y:g}" r="3.2" fill="{svg.INK}"/>'
    yield "</g>"


def _between_bars(line: Line) -> Iterator[str]:
    """Yield the label of a wire between two splices, which has no row in any box."""
    if len(line.joints) < 2:
        return
    wire = line.wire
    said = " ".join(
        filter(None, (wire.name, wire.colour, "" if wire.csa_mm2 is None else f"{wire.csa_mm2:.3g}"))
    )
    x = (line.points[0][0] + line.points[-1][0]) / 2
    y = line.points[0][1]
    length = svg.text_width(said, 7.5) + 6
    yield svg.rect(x - length / 2, y - 5, length, 10, fill=svg.PAPER, stroke=svg.INK, line=0.6, corner=2)
    yield svg.text(x, y + 2.7, said, 7.5, anchor="middle")


def _bar(name: str, x: float, top: float, bottom: float) -> str:
    bar = svg.rect(x - 1.6, top, 3.2, bottom - top, fill=svg.INK, corner=1.6)
    return f"<g><title>{svg.escaped(f'splice {name}')}</title>{bar}</g>"


def _bar_name(name: str, x: float, middle: float) -> str:
    """Return a splice's name, upright on its bar, over the wires that cross there."""
    length = svg.text_width(name, 8.5) + 6
    tag = svg.rect(
        x - 5.5, middle - length / 2, 11, length, fill="#fff7d6", stroke=svg.INK, line=0.7, corner=3
    )
    written = svg.text(0, 3, name, 8.5, anchor="middle", weight="bold")
    return f'{tag}<g transform="translate({x:g} {middle:g}) rotate(-90)">{written}</g>'


def _foot(loom: Loom, name: str) -> Iterator[str]:
    """Yield lines below a connector: the parts built in or plugged there, and its empty cavities."""
    for part in loom.components:
        if part.ends and part.ends[0].connector == name:
            yield _part(part, name)
    connector = loom.by_name[name]
    if connector.kind is ConnectorKind.SPLICE:
        return
    busy = {end for part in loom.components for end in part.ends} | set(loom.wires_at)
    empty = [end.cavity for end in connector.ends if end not in busy]
    if empty:
        yield from _wrapped("empty: ", empty)


def _wrapped(head: str, names: list[str], most: int = 62) -> Iterator[str]:
    line = head
    for name in names:
        if len(line) + len(name) > most and line.strip():
            yield line.rstrip()
            line = "   "
        line += f"{name} "
    yield line.rstrip()


def _part(part: Component, name: str) -> str:
    legs = " ".join(
        f"{terminal}={end.cavity if end.connector == name and end.cavity else end}"
        for terminal, end in part.terminals
        if end != (name, terminal)
    )
    value = ""
    if part.rating_a is not None and part.kind is ComponentKind.FUSE:
        value = f" {part.rating_a:g} A"
    elif part.resistance_ohm is not None:
        value = f" {part.resistance_ohm:g} Ω"
    pulled = "" if part.fitted else ", pulled while proved"
    return f"{part.name} {part.kind}{value}" + (f": {legs}" if legs else "") + pulled


def _legend(loom: Loom, left: float, top: float, width: float) -> tuple[list[str], float]:
    """Return the table of circuits, in as many columns as the sheet is wide, and its height."""
    circuits = loom.circuits
    if not circuits:
        return [], 0.0
    drawn = [svg.text(left, top, "Circuits", 12, weight="bold")]
    columns = max(1, int(width // 500))
    deep = -(-len(circuits) // columns)
    wires: dict[str, list[str]] = {}
    for wire in loom.wires:
        wires.setdefault(wire.circuit, []).append(wire.name)
    each = width / columns
    for index, circuit in enumerate(circuits):
        x = left + each * (index // deep)
        y = top + 18 + LEGEND_ROW * (index % deep)
        name, size = svg.fitted(circuit.name, 0.24 * each - 8, 9, 6.5, bold=True)
        drawn.append(svg.text(x, y, name, size, weight="bold"))
        about, size = svg.fitted(_circuit(circuit), 0.48 * each - 8, 8.5, 6.5)
        drawn.append(svg.text(x + 0.24 * each, y, about, size))
        listed, size = svg.fitted(" ".join(wires.get(circuit.name, ["no wires"])), 0.28 * each - 12, 8, 5.5)
        drawn.append(svg.text(x + 0.72 * each, y, listed, size, fill=svg.PALE))
    return drawn, 18 + LEGEND_ROW * deep


def _circuit(circuit: Circuit) -> str:
    parts = [
        circuit.designation,
        circuit.purpose,
        "" if circuit.load_a is None else f"{circuit.load_a:g} A",
        f"fuse {circuit.fuse}" if circuit.fuse else "",
        "" if circuit.need is Need.NEEDED else circuit.need.value,
    ]
    return " · ".join(filter(None, parts))
