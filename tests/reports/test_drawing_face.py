"""The face of a connector: every cavity, every wire, in paint and in letters, and nothing that breaks XML."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomproof.loom.model import Connector, ConnectorKind, End, Loom, Wire
from loomproof.reports.drawing import loom_face, printed_faces
from loomproof.reports.drawing_face import face
from loomproof.results.document import ConnectorEntry

SVG = "{http://www.w3.org/2000/svg}"


def texts(drawing: str) -> list[str]:
    return [node.text or "" for node in ElementTree.fromstring(drawing).iter(f"{SVG}text")]


def test_every_cavity_is_numbered_and_every_wire_lettered() -> None:
    drawing = face(
        "C1", "socket", (("01", "02"), ("03", "")), {"01": "RD/YE", "03": "BK WH"}, description="bulkhead"
    )
    shown = texts(drawing)
    assert {"C1", "bulkhead", "01", "02", "03", "RD/YE", "BK", "WH", "empty"} <= set(shown)
    assert "1" not in shown


def test_long_cavity_names_make_the_cavities_wider() -> None:
    names = ("SCREEN_OF_PAIR_1", "SCREEN_OF_PAIR_2")
    drawing = face("C1", "plug", (names,), {names[0]: "RD"})
    assert set(names) <= set(texts(drawing))


def test_a_drawing_tells_the_blind_what_it_shows() -> None:
    root = ElementTree.fromstring(face("C1", "plug", (("1", "2"),), {"1": "GN/YE"}, marked=("1",)))
    assert root.findtext(f"{SVG}title") == "Connector C1"
    told = root.findtext(f"{SVG}desc") or ""
    assert "1: GN/YE (fault here)" in told
    assert "2: empty" in told
    assert root.get("role") == "img"


def test_a_marked_cavity_is_not_marked_by_colour_alone() -> None:
    assert "!" in texts(face("C1", "plug", (("1",),), {}, marked=("1",)))


def painted(colour: str) -> list[str | None]:
    """Return what the face of one wire is painted with, from the back to the front."""
    drawn = ElementTree.fromstring(face("C1", "plug", (("1",),), {"1": colour}))
    return [node.get("fill") for node in drawn.iter(f"{SVG}rect") if node.get("fill") != "none"]


def test_a_tracer_is_painted_over_its_base() -> None:
    base, tracer = painted("RD"), painted("YE")
    assert painted("RD/YE") == [*base, tracer[-1]]


def test_every_wire_has_an_outline_in_front() -> None:
    for colour in ("RD", "RD/YE"):
        drawn = ElementTree.fromstring(face("C1", "plug", (("1",),), {"1": colour}))
        assert [node.get("stroke-width") for node in drawn.iter(f"{SVG}rect")][-1] == "0.8"


def test_more_wires_than_fit_are_counted() -> None:
    assert "+3 wires" in texts(face("R1", "ring", (("1",),), {"1": "BN BN BN BN BN"}))


@pytest.mark.parametrize("kind", list(ConnectorKind))
def test_every_kind_can_be_drawn(kind: ConnectorKind) -> None:
    rows: tuple[tuple[str, ...], ...] = () if kind is ConnectorKind.SPLICE else (("1",),)
    assert kind.value in " ".join(texts(face("X", kind, rows, {})))


def test_loom_and_results_document_give_the_same_face() -> None:
    plug = Connector("C1", ConnectorKind.PLUG, (("1", "2"),), description="lamp")
    loom = Loom("l", connectors=(plug,), wires=(Wire("W1", End("C1", "1"), End("C1", "2"), "RD"),))
    entry = ConnectorEntry(
        name="C1", kind="plug", description="lamp", rows=(("1", "2"),), colours={"1": "RD", "2": "RD"}
    )
    (printed,) = printed_faces(entry, 174.0)
    in_cavities = [letters.content for letters in printed.letters]
    assert in_cavities == ["1", "RD", "2", "RD"]
    assert sorted(texts(loom_face(loom, plug))) == sorted([*texts(printed.svg), *in_cavities])


@given(st.text(min_size=1), st.text(), st.lists(st.lists(st.text(), max_size=4), max_size=4), st.text())
def test_any_text_gives_a_drawing_that_parses(
    name: str, description: str, rows: list[list[str]], colour: str
) -> None:
    cavities = {cavity: colour for row in rows for cavity in row}
    ElementTree.fromstring(face(name, "plug", rows, cavities, description=description))


def test_a_drawn_row_stays_a_row_up_to_twenty_cavities_and_is_cut_evenly_beyond() -> None:
    """Cavities of one row stand at one height."""
    for across, lines in ((3, 1), (20, 1), (21, 2), (50, 3)):
        names = tuple(f"c{n}" for n in range(across))
        svg = face("C1", "plug", (names,), {})
        heights: dict[str, int] = {}
        for node in ElementTree.fromstring(svg).iter(f"{SVG}text"):
            if node.text in names:
                heights[node.get("y", "")] = heights.get(node.get("y", ""), 0) + 1
        assert len(heights) == lines
        assert max(heights.values()) - min(heights.values()) <= lines - 1
