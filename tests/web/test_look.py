"""Looking at a loom without a browser: the drawing says which part is which wire, and names stay names."""

from __future__ import annotations

import csv
import html
import json
import re
import shutil
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import networkx
import pytest

from loomproof.loom.model import Loom
from loomproof.loom.reading import load
from loomproof.reports.drawing import loom_face
from loomproof.reports.drawing_loom import picture
from loomproof.web import look
from loomproof.web.answers import Asked, Page
from loomproof.web.app import templates
from tests.web.asking import LOOMS, house

HOSTILE = "<script>document.title='taken'</script>\"'&"


def page_of(looms: Path, name: str, out: Path) -> tuple[Page, str]:
    """Return the page of a loom, and its text as it goes out."""
    of = house(out, looms)
    page = look.look(of, Asked(names={"loom": name}))
    assert isinstance(page, Page)
    return page, templates(of).get_template(page.template).render(
        **page.values, seat="drives", path=f"/looms/{name}/look"
    )


def with_name(folder: Path, old: str, new: str) -> None:
    for path in folder.glob("*.csv"):
        with path.open(newline="", encoding="utf-8") as file:
            rows = [[new if cell == old else cell for cell in row] for row in csv.reader(file)]
        with path.open("w", newline="", encoding="utf-8") as file:
            csv.writer(file).writerows(rows)


@pytest.fixture(scope="module")
def engine() -> Loom:
    return load(LOOMS / "hillclimb_engine").loom


def test_the_drawing_says_which_part_is_which_wire(engine: Loom) -> None:
    root = ElementTree.fromstring(picture(engine))
    parts = [node for node in root.iter() if node.get("data-wire")]
    assert {node.get("data-wire") for node in parts} == set(engine.wire_by_name)
    at = {(node.get("data-wire"), node.get("data-end")) for node in parts if node.get("data-end")}
    assert at == {(wire.name, str(end)) for wire in engine.wires for end in wire.ends if end.cavity}


def test_a_face_says_which_part_is_which_cavity(engine: Loom) -> None:
    for connector in engine.connectors:
        root = ElementTree.fromstring(loom_face(engine, connector))
        named = [node.get("data-cavity") for node in root.iter() if node.get("data-cavity") is not None]
        assert named == list(connector.cavities)


def test_each_wire_has_its_net_as_a_graph_tells_it(engine: Loom, tmp_path: Path) -> None:
    """The oracle is networkx: ends joined by wires, splices and parts that join without resistance."""
    page, _ = page_of(LOOMS, "hillclimb_engine", tmp_path)
    graph = networkx.Graph((str(wire.a), str(wire.b)) for wire in engine.wires)
    joined = {row["name"]: row["net"] for row in page.values["rows"]}
    nets = json.loads(page.values["nets"])
    for part in networkx.connected_components(graph):
        wires = [wire.name for wire in engine.wires if str(wire.a) in part]
        assert len({joined[wire] for wire in wires}) == 1
        assert part <= set(nets[str(joined[wires[0]])])
    assert len(set(joined.values())) <= networkx.number_connected_components(graph)


def test_names_that_want_to_be_scripts_are_text_in_drawings_and_page(tmp_path: Path) -> None:
    looms = tmp_path / "looms"
    shutil.copytree(LOOMS / "tail_lamp", looms / "lamp")
    with_name(looms / "lamp", "LAMP", HOSTILE)
    with_name(looms / "lamp", "W2", HOSTILE)
    loom = load(looms / "lamp").loom
    for drawing in (picture(loom), loom_face(loom, loom.by_name[HOSTILE])):
        root = ElementTree.fromstring(drawing)
        assert not [node for node in root.iter() if node.tag.endswith("script")]
        assert HOSTILE in "".join(root.itertext())
    _, text = page_of(looms, "lamp", tmp_path)
    assert "<script>" not in text
    assert re.findall(r"<script[^>]*>", text) == [
        '<script src="/static/forms.js">',
        '<script type="module" src="/static/look.js">',
    ]
    assert HOSTILE in html.unescape(text)
    assert not re.search(r"\son\w+\s*=|javascript:", re.sub(r'"[^"]*"', '""', text))


def test_what_is_wrong_stands_beside_its_cell(tmp_path: Path) -> None:
    looms = tmp_path / "looms"
    shutil.copytree(LOOMS / "tail_lamp", looms / "lamp")
    with_name(looms / "lamp", "BK/RD", "QQ")
    page, text = page_of(looms, "lamp", tmp_path)
    assert page.status == 400
    wrong = [each for each in page.values["placed"] if each.column == "colour"]
    assert wrong
    for each in wrong:
        assert "QQ" in each.cells[each.headings.index("colour")]
    assert re.search(r'<td class="here">.*QQ</td>', text)


def test_a_warning_stands_with_its_wire_and_its_connector(tmp_path: Path) -> None:
    looms = tmp_path / "looms"
    shutil.copytree(LOOMS / "hillclimb_engine", looms / "engine")
    table = looms / "engine" / "wires.csv"
    with table.open(newline="", encoding="utf-8") as file:
        headings, *rows = list(csv.reader(file))
    length = headings.index("length_m")
    rows = [[*row[:length], "900", *row[length + 1 :]] if row[0] == "W45" else row for row in rows]
    with table.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([headings, *rows])
    page, text = page_of(looms, "engine", tmp_path)
    told = {row["name"]: row["odd"] for row in page.values["rows"] if row["odd"]}
    assert list(told) == ["W45"]
    assert told["W45"][0] in text
    assert "900" in told["W45"][0]
    beside_face = {name: said for name, _, _, said in page.values["faces"] if said}
    assert any("INJ1, INJ2, INJ3 look alike" in said for said in beside_face["INJ1"])


def test_a_part_of_a_loom_is_drawn_around_a_connector(engine: Loom, tmp_path: Path) -> None:
    page = look.look(
        house(tmp_path), Asked(names={"loom": "hillclimb_engine"}, query={"connector": "STARTER"})
    )
    assert isinstance(page, Page)
    assert {row["name"] for row in page.values["rows"]} == {
        wire.name for wire in engine.wires if "STARTER" in (wire.a.connector, wire.b.connector)
    }
