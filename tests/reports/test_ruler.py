"""A place is drawn on its wire to scale, with the bundles under it, and is the same each time."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import pytest

from loomproof.loom.model import End
from loomproof.reports.ruler import rulers, text_rulers
from loomproof.results.document import Document, WireEntry
from loomproof.results.findings import Finding, Kind, Severity
from loomproof.results.places import Place, Span, WirePlace
from tests.reports.sample import document

NEAR, FAR = End("B", "1"), End("A", "1")
STRETCH = WirePlace(
    "W1", NEAR, 0.5, 0.75, 0.95, wire_m=2.0, runs=(Span("tail", 0.0, 0.8), Span("trunk", 0.8, 2.0))
)
SVG = "{http://www.w3.org/2000/svg}"


def _finding(stretch: WirePlace, answer: str = "wire") -> Finding:
    place = Place("wire" if answer == "wire" else "none", "", 0.95, (), (stretch,))
    return Finding(Kind.OPEN, Severity.FAULT, "W1 open", (NEAR, FAR), ("W1",), place=place)


def _document() -> Document:
    return document().model_copy(update={"wires": (WireEntry(name="W1", ends=(FAR, NEAR), colour="RD"),)})


def _drawn(stretch: WirePlace) -> ElementTree.Element:
    ((drawn, _),) = rulers(_document(), _finding(stretch))
    return ElementTree.fromstring(drawn)


def _x_of(root: ElementTree.Element, said: str) -> float:
    return next(float(each.attrib["x"]) for each in root.iter(f"{SVG}text") if each.text == said)


@pytest.mark.parametrize(("low_m", "high_m"), [(0.5, 0.75), (0.0, 0.2), (1.9, 2.0)])
def test_the_mark_is_where_the_scale_says_it_is(low_m: float, high_m: float) -> None:
    root = _drawn(replace(STRETCH, low_m=low_m, high_m=high_m))
    # The scale's own figures say how many px are a metre; the mark must lie by them.
    start, one = _x_of(root, "0.0"), _x_of(root, "1.0")
    rects = [each for each in root.iter(f"{SVG}rect") if each.get("stroke") == "#c1121f"]
    (mark,) = rects
    left, width = float(mark.attrib["x"]), float(mark.attrib["width"])
    assert (left - start) / (one - start) == pytest.approx(low_m, abs=1e-3)
    assert width / (one - start) == pytest.approx(high_m - low_m, abs=1e-3)


def test_the_ends_the_wire_and_its_bundles_are_named() -> None:
    root = _drawn(STRETCH)
    texts = [each.text for each in root.iter(f"{SVG}text")]
    for said in ("B:1", "A:1", "W1 RD, 2.00 m", "0.50 m to 0.75 m", "tail", "trunk", "2.0 m"):
        assert said in texts
    assert _x_of(root, "B:1") < _x_of(root, "A:1"), "counted from the nearer end, which is at the left"
    start, one = _x_of(root, "0.0"), _x_of(root, "1.0")
    bars = re.findall(r"M([\d.]+) \S+H([\d.]+)V", rulers(_document(), _finding(STRETCH))[0][0])
    metres = [tuple((float(x) - start) / (one - start) for x in bar) for bar in bars]
    assert metres == [pytest.approx((0.0, 0.8), abs=1e-3), pytest.approx((0.8, 2.0), abs=1e-3)]


def test_a_share_is_drawn_in_percent_and_names_no_length() -> None:
    share = replace(STRETCH, low_m=0.25, high_m=0.4, wire_m=1.0, as_share=True, runs=())
    texts = [each.text for each in _drawn(share).iter(f"{SVG}text")]
    assert {"W1 RD", "25% to 40%", "50%", "100%"} <= set(texts)
    (line,) = text_rulers(_document(), _finding(share))
    assert line == f"B:1 |{'-' * 12}{'#' * 8}{'-' * 28}| A:1, no length given"


def test_in_characters_it_is_to_scale() -> None:
    assert text_rulers(_document(), _finding(STRETCH)) == [f"B:1 |{'-' * 12}{'#' * 6}{'-' * 30}| A:1, 2.00 m"]


def test_what_has_no_place_on_a_wire_has_no_ruler() -> None:
    made = _document()
    for finding in (
        _finding(STRETCH, "none"),
        replace(_finding(STRETCH), place=None),
        _finding(replace(STRETCH, wire_m=None)),
        _finding(replace(STRETCH, wire="W9")),
    ):
        assert rulers(made, finding) == []
        assert text_rulers(made, finding) == []
