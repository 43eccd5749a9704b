"""The picture of a loom: every wire and cavity is in it, nothing lies on anything else."""

from __future__ import annotations

import itertools
import xml.etree.ElementTree as ElementTree
from pathlib import Path
from typing import NamedTuple

import pytest
from click.testing import CliRunner

from loomproof.cli.loom import draw
from loomproof.loom import kbl, reading
from loomproof.loom.model import Connector, ConnectorKind, End, Hazard, Loom, Wire
from loomproof.reports.drawing import drawings
from loomproof.reports.drawing_layout import LEFT, Layout, lay_out
from loomproof.reports.drawing_loom import picture
from loomproof.reports.drawing_svg import paints, text_width
from tests.long_names import long_names
from tests.loom.kbl_files import MAIN_HARNESS, ROOT, open_data

SVG = "{http://www.w3.org/2000/svg}"
DEMOS = ("hillclimb_engine", "tail_lamp")


def demo(name: str) -> Loom:
    return reading.load(ROOT / "fixtures" / name).loom


def shown(drawing: str) -> set[str]:
    return {node.text or "" for node in ElementTree.fromstring(drawing).iter(f"{SVG}text")}


@pytest.mark.parametrize("name", DEMOS)
def test_every_name_can_be_read(name: str) -> None:
    loom = demo(name)
    read = shown(picture(loom))
    words = {word for text in read for word in text.split()}
    assert {connector.name for connector in loom.connectors} <= read | words
    assert {wire.name for wire in loom.wires} <= words
    assert {wire.colour for wire in loom.wires if wire.colour} <= read | words
    assert {end.cavity for end in loom.cavities} <= words
    assert {circuit.name for circuit in loom.circuits} <= read


@pytest.mark.parametrize("name", DEMOS)
def test_the_picture_is_told_in_words(name: str) -> None:
    loom = demo(name)
    root = ElementTree.fromstring(picture(loom))
    told = root.findtext(f"{SVG}desc") or ""
    assert loom.name in (root.findtext(f"{SVG}title") or "")
    for wire in loom.wires:
        assert f"Wire {wire.name} {wire.colour or 'of unknown colour'} from {wire.a} to {wire.b}." in told


def test_long_names_are_whole_and_keep_their_cavities() -> None:
    loom = long_names(demo("hillclimb_engine"))
    read = shown(picture(loom))
    words = {word for text in read for word in text.split()}
    assert {connector.name for connector in loom.connectors} <= read
    assert {wire.name for wire in loom.wires} <= words
    # A row stands at each cavity and says where its wire goes; a splice has no rows.
    pairs = [pair for wire in loom.wires for pair in (wire.ends, wire.ends[::-1])]
    assert {str(far) for here, far in pairs if here.cavity} <= words
    assert not any("…" in word for word in words)


def test_a_name_too_long_for_any_sheet_is_cut_before_its_cavity() -> None:
    plug = Connector("P" * 300, ConnectorKind.PLUG, (("1", "12b"),))
    loom = Loom("l", connectors=(plug,), wires=(Wire("W1", plug.ends[0], plug.ends[1]),))
    read = shown(picture(loom))
    assert any(text.startswith("→ PPP") and text.endswith("…:12b") for text in read)
    assert any(text.startswith("→ PPP") and text.endswith("…:1") for text in read)


class Said(NamedTuple):
    """A text of a picture and the box that its letters fill."""

    text: str
    left: float
    top: float
    right: float
    bottom: float


def extents(drawing: str) -> list[Said]:
    """Measure every text with the font that the picture asks for first, as another library reads it."""
    import matplotlib
    from PIL import ImageFont

    fonts = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    face = {
        "normal": ImageFont.truetype(fonts / "DejaVuSans.ttf", 100),
        "bold": ImageFont.truetype(fonts / "DejaVuSans-Bold.ttf", 100),
    }
    root = ElementTree.fromstring(drawing)
    found = []

    def walk(node: ElementTree.Element, x: float, y: float) -> None:
        moved, _, turned = node.get("transform", "").partition(" rotate")
        if moved:
            right, down = (float(part) for part in moved[len("translate(") :].rstrip(")").split())
            x, y = x + right, y + down
        if turned:  # a splice's name, upright, its middle where the group is
            (written,) = node
            size = float(written.attrib["font-size"])
            half = face["bold"].getlength(written.text or "") * size / 200
            found.append(Said(written.text or "", x - 0.37 * size, y - half, x + 0.37 * size, y + half))
            return
        if node.tag == f"{SVG}text":
            size = float(node.attrib["font-size"])
            width = face[node.attrib["font-weight"]].getlength(node.text or "") * size / 100
            at, base = x + float(node.attrib["x"]), y + float(node.attrib["y"])
            left = at - (width / 2 if node.get("text-anchor") == "middle" else 0.0)
            # Capitals of this font are 0.73 of its size high; what hangs below the line is left out.
            found.append(Said(node.text or "", left, base - 0.73 * size, left + width, base))
        for child in node:
            walk(child, x, y)

    walk(root, 0.0, 0.0)
    return found


@pytest.mark.parametrize("names", ["short", "long"])
def test_no_text_lies_on_another_or_leaves_the_sheet(names: str) -> None:
    loom = demo("hillclimb_engine")
    drawing = picture(loom if names == "short" else long_names(loom))
    width = float(ElementTree.fromstring(drawing).get("width", "0"))
    found = extents(drawing)
    assert len(found) > 500
    assert [said.text for said in found if said.left < 0 or said.right > width] == []
    for a, b in itertools.combinations(found, 2):
        upright = min(a.bottom, b.bottom) - max(a.top, b.top)
        level = min(a.right, b.right) - max(a.left, b.left)
        assert upright <= 0.5 or level <= 0.5, (a.text, b.text)


def harnesses() -> list[Loom]:
    main = kbl.read(open_data(MAIN_HARNESS)).loom
    return [*(demo(name) for name in DEMOS), main]


def upright(layout: Layout) -> list[tuple[float, float, float]]:
    found = [(bar.x, bar.top, bar.bottom) for bar in layout.bars]
    for line in layout.lines:
        for (x0, y0), (x1, y1) in itertools.pairwise(line.points):
            if x0 == x1 and y0 != y1:
                found.append((x0, min(y0, y1), max(y0, y1)))
    return found


def level(layout: Layout) -> list[tuple[float, float, float]]:
    found = []
    for line in layout.lines:
        for (x0, y0), (x1, y1) in itertools.pairwise(line.points):
            if y0 == y1:
                found.append((y0, min(x0, x1), max(x0, x1)))
    return found


def test_no_two_wires_lie_on_each_other_even_at_254_wires() -> None:
    for loom in harnesses():
        layout = lay_out(loom, {})
        assert len(layout.lines) == len(loom.wires)
        for stretches in (upright(layout), level(layout)):
            for (at, start, stop), (other, low, high) in itertools.combinations(stretches, 2):
                assert at != other or stop <= low or high <= start


def test_every_wire_meets_its_rows_and_bars() -> None:
    for loom in harnesses():
        layout = lay_out(loom, {})
        bars = {bar.name: bar for bar in layout.bars}
        rows = {
            (row.wire.name, row.end): (0.0 if box.side == LEFT else layout.channel, row.y)
            for box in layout.boxes
            for row in box.rows
        }
        for line in layout.lines:
            tips = {line.points[0], line.points[-1]}
            for end in line.wire.ends:
                if end.cavity:
                    assert rows[line.wire.name, end] in tips
                else:
                    bar = bars[end.connector]
                    (joint,) = [point for point in line.joints if point[0] == bar.x]
                    assert bar.top <= joint[1] <= bar.bottom


def test_boxes_of_a_column_stand_clear_and_both_columns_are_about_as_tall() -> None:
    for loom in harnesses():
        layout = lay_out(loom, {})
        heights = []
        for side in (0, 1):
            column = sorted((box for box in layout.boxes if box.side == side), key=lambda box: box.top)
            for above, below in itertools.pairwise(column):
                assert above.top + above.height < below.top
            heights.append(max((box.top + box.height for box in column), default=0.0))
        assert max(heights) < 1.6 * min(heights) or len(layout.boxes) < 6


def test_a_loom_of_sixty_wires_keeps_readable_letters() -> None:
    root = ElementTree.fromstring(picture(demo("hillclimb_engine")))
    width = float(root.get("width", "0"))
    small = [
        node.text
        for node in root.iter(f"{SVG}text")
        # Printed 297 mm wide (A3 upright, ISO 216); below 1.5 mm letters are hard to read at arm's length
        # (common practice, no source).
        if float(node.get("font-size", "0")) * 297 / width < 1.5
    ]
    assert small == []


def test_a_pyrotechnic_connector_says_so_in_words() -> None:
    airbag = Connector("AB1", ConnectorKind.PLUG, (("1", "2"),), hazard=Hazard.PYROTECHNIC)
    assert any("never on the bench" in text for text in shown(picture(Loom("l", connectors=(airbag,)))))


def test_odd_looms_can_be_drawn() -> None:
    plug = Connector("P", ConnectorKind.PLUG, (("1", "2"),))
    ends = End("P", "1"), End("P", "2")
    lone = Connector("S", ConnectorKind.SPLICE)
    pair = Connector("T", ConnectorKind.SPLICE)
    for loom in (
        Loom("nothing at all"),
        Loom("one plug", connectors=(plug,)),
        Loom("bridge", connectors=(plug,), wires=(Wire("W1", *ends),)),
        Loom("both ends in one cavity", connectors=(plug,), wires=(Wire("W1", ends[0], ends[0]),)),
        Loom("a splice of nothing", connectors=(lone,)),
        Loom("two splices", connectors=(lone, pair), wires=(Wire("W1", End("S"), End("T"), "RD"),)),
    ):
        ElementTree.fromstring(picture(loom))


def test_equal_looms_give_equal_drawings() -> None:
    assert drawings(demo("tail_lamp")) == drawings(demo("tail_lamp"))


def test_shades_and_words_are_painted() -> None:
    assert paints("light GN") != paints("GN") != paints("dark GN")
    assert len(paints("GNYE")) == 2
    assert paints("bare") != paints("clear")
    assert paints("") == ()
    assert text_width("mm", 10) > text_width("ii", 10)


def test_file_names_are_safe_and_different(tmp_path: Path) -> None:
    names = ("a/b", "a:b", "A/B", "../x", "Ü 1")
    loom = Loom("l", connectors=tuple(Connector(name, ConnectorKind.PLUG, (("1",),)) for name in names))
    files = drawings(loom)
    assert len({name.casefold() for name in files}) == len(names) + 1
    assert all(Path(name).name == name for name in files)


def test_the_command_writes_them_and_writes_over_nothing_unasked(tmp_path: Path) -> None:
    target = tmp_path / "out"
    arguments = [str(ROOT / "fixtures" / "tail_lamp"), "--to", str(target)]
    first = CliRunner().invoke(draw, arguments)
    assert first.exit_code == 0
    assert first.stdout.strip() == str(target / "loom.svg")
    assert {path.name for path in target.iterdir()} == set(drawings(demo("tail_lamp")))
    assert CliRunner().invoke(draw, arguments).exit_code != 0
    assert CliRunner().invoke(draw, [*arguments, "--over"]).exit_code == 0
