"""A wire as a ruler drawn to scale: where on it a fault lies, and which bundles it runs through."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from loomproof.reports import drawing_svg as svg
from loomproof.results.document import Document, WireEntry
from loomproof.results.findings import Finding
from loomproof.results.places import HAIR, Span, WirePlace, rounded_down, rounded_up

WIDTH, SIDE = 640.0, 14.0
"""Width of the picture and what is left free at its sides, px."""

NAME_Y, PLACE_Y, WIRE_Y, WIRE_HEIGHT, SCALE_Y, BUNDLE_Y = 14.0, 32.0, 40.0, 9.0, 56.0, 82.0
SMALL, PLAIN = 9.0, 11.0
MOST_TICKS = 12
TEXT_COLUMNS = 48


def rulers(document: Document, finding: Finding) -> list[tuple[str, str]]:
    """Return a picture (SVG) of each stretch of wire that a finding's place names, and what it shows.

    None where no place is claimed on a wire. Equal findings give equal bytes.
    """
    wires = {entry.name: entry for entry in document.wires}
    return [(_drawn(each, wires), told(each, wires)) for each in _stretches(finding, wires)]


def text_rulers(document: Document, finding: Finding) -> list[str]:
    """Return each stretch as a line of characters to scale: ``BODY:2 |---####------| LAMP:2, 1.40 m``."""
    wires = {entry.name: entry for entry in document.wires}
    return [_in_characters(each, wires) for each in _stretches(finding, wires)]


def told(place: WirePlace, wires: Mapping[str, WireEntry]) -> str:
    """Return in words what a ruler shows, for those who cannot see it."""
    return f"{place.wire} from {place.end} to {_far(place, wires)}: {_reach(place)} marked"


def _stretches(finding: Finding, wires: Mapping[str, WireEntry]) -> Iterator[WirePlace]:
    if finding.place is None or finding.place.answer not in ("wire", "near", "either"):
        return
    for each in finding.place.stretches:
        if each.wire_m and each.wire in wires:
            yield each


def _far(place: WirePlace, wires: Mapping[str, WireEntry]) -> str:
    return next((str(end) for end in wires[place.wire].ends if end != place.end), "")


def _reach(place: WirePlace) -> str:
    """Return from where to where, outwards: what is printed leaves out nothing of the interval."""
    if place.as_share:
        return f"{rounded_down(100 * place.low_m, 0)}% to {rounded_up(100 * place.high_m, 0)}%"
    return f"{rounded_down(place.low_m)} m to {rounded_up(place.high_m)} m"


def _in_characters(place: WirePlace, wires: Mapping[str, WireEntry]) -> str:
    whole_m = place.wire_m or 1.0
    low = min(int(place.low_m / whole_m * TEXT_COLUMNS), TEXT_COLUMNS - 1)
    high = min(max(math.ceil(place.high_m / whole_m * TEXT_COLUMNS - HAIR), low + 1), TEXT_COLUMNS)
    line = "-" * low + "#" * (high - low) + "-" * (TEXT_COLUMNS - high)
    long = "no length given" if place.as_share else f"{whole_m:.2f} m"
    return f"{place.end} |{line}| {_far(place, wires)}, {long}"


def _drawn(place: WirePlace, wires: Mapping[str, WireEntry]) -> str:
    whole_m = place.wire_m or 1.0
    px_per_m = (WIDTH - 2 * SIDE) / whole_m
    wire = wires[place.wire]
    low, high = SIDE + place.low_m * px_per_m, SIDE + min(place.high_m, whole_m) * px_per_m
    said = _reach(place)
    half = svg.text_width(said, PLAIN, bold=True) / 2
    middle = min(max((low + high) / 2, SIDE + half), WIDTH - SIDE - half)
    near, far = str(place.end), _far(place, wires)
    long = "" if place.as_share else f", {whole_m:.2f} m"
    name, size = svg.fitted(f"{place.wire} {wire.colour}{long}".strip(), WIDTH / 3, PLAIN)
    body = [
        svg.text(SIDE, NAME_Y, *svg.fitted(near, WIDTH / 3, PLAIN), weight="bold"),
        svg.text(WIDTH / 2, NAME_Y, name, size, anchor="middle", fill=svg.PALE),
        svg.text(WIDTH - SIDE, NAME_Y, *svg.fitted(far, WIDTH / 3, PLAIN), anchor="end", weight="bold"),
        svg.text(middle, PLACE_Y, said, PLAIN, anchor="middle", weight="bold", fill=svg.MARK),
        svg.swatch(SIDE, WIRE_Y, WIDTH - 2 * SIDE, WIRE_HEIGHT, wire.colour),
        svg.rect(low, WIRE_Y - 4, max(high - low, 2.0), WIRE_HEIGHT + 8, stroke=svg.MARK, line=2.2, corner=2),
        *_scale(place, px_per_m),
        *(part for span in place.runs for part in _bundle(span, px_per_m)),
    ]
    height = BUNDLE_Y + 18 if place.runs else BUNDLE_Y
    return svg.document(WIDTH, height, f"Place on {place.wire}", told(place, wires), body)


def _scale(place: WirePlace, px_per_m: float) -> Iterator[str]:
    """Yield the scale: a tick for each step of 1, 2 or 5 times a power of ten, with its figure."""
    whole_m = place.wire_m or 1.0
    steps = (factor * 10.0**power for power in range(-2, 4) for factor in (1.0, 2.0, 5.0))
    step_m = next(step for step in steps if whole_m / step <= MOST_TICKS)
    count = int(whole_m / step_m + 1e-9)
    digits = 2 if step_m < 0.1 else 1 if step_m < 1.0 else 0
    for k in range(count + 1):
        x = SIDE + k * step_m * px_per_m
        yield (
            f'<line x1="{x:.5g}" y1="{SCALE_Y:g}" x2="{x:.5g}" y2="{SCALE_Y + 5:g}" stroke="{svg.PALE}" '
            'stroke-width="1"/>'
        )
        figure = f"{k * step_m:.0%}" if place.as_share else f"{k * step_m:.{digits}f}"
        if k == count and not place.as_share:
            figure += " m"
        half = svg.text_width(figure, SMALL) / 2
        yield svg.text(min(x, WIDTH - half), SCALE_Y + 15, figure, SMALL, anchor="middle", fill=svg.PALE)


def _bundle(span: Span, px_per_m: float) -> Iterator[str]:
    """Yield one bundle that the wire runs through: its reach as a bar with its name under it."""
    low, high = SIDE + span.low_m * px_per_m, SIDE + span.high_m * px_per_m
    yield (
        f'<path d="M{low:.5g} {BUNDLE_Y - 5:g}V{BUNDLE_Y:g}H{high:.5g}V{BUNDLE_Y - 5:g}" fill="none" '
        f'stroke="{svg.INK}" stroke-width="1"/>'
    )
    name, size = svg.fitted(span.bundle, max(high - low - 2, 12.0), SMALL)
    yield svg.text((low + high) / 2, BUNDLE_Y + 12, name, size, anchor="middle")
