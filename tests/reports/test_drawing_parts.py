"""Looms that are too big for one picture: one for each connector, and a page that leads to them."""

from __future__ import annotations

import itertools
import random
import re
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote

import pytest
from lxml import etree

from loomproof.loom.model import Circuit, Connector, ConnectorKind, End, Loom, Wire
from loomproof.loom.reading import load
from loomproof.reports import drawing_parts
from loomproof.reports.drawing import drawings
from loomproof.reports.drawing_layout import ROW, lay_out

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"


class Links(HTMLParser):
    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        links = (value or "" for name, value in attrs if name == "href")
        self.found += [unquote(link) for link in links if not link.startswith("#")]


def wires_in(drawing: bytes) -> set[str]:
    titles = [node.text or "" for node in etree.fromstring(drawing).iter("{http://www.w3.org/2000/svg}title")]
    return {title.split(" ")[0] for title in titles if " to " in title}


@pytest.mark.parametrize("name", ["tail_lamp", "hillclimb_engine"])
def test_above_a_size_there_is_a_picture_for_each_connector(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    loom = load(FIXTURES / name).loom
    monkeypatch.setattr(drawing_parts, "LARGEST", len(loom.wires))
    assert "loom.svg" in drawings(loom)
    monkeypatch.setattr(drawing_parts, "LARGEST", len(loom.wires) - 1)
    files = drawings(loom)
    assert "loom.svg" not in files
    page = files["index.html"].decode()
    assert set(Links(page).found) == set(files) - {"index.html"}
    assert loom.digest[:12] in page
    for connector in loom.connectors:
        if connector.kind is ConnectorKind.SPLICE:
            continue
        drawing = files[f"wires_{connector.name.replace('.', '_')}.svg"]
        mine = {wire.name for end in connector.ends for wire in loom.wires_at.get(end, ())}
        assert mine <= wires_in(drawing)
        near = {end for wire in loom.wires if wire.name in mine for end in wire.ends if not end.cavity}
        reached = {wire.name for end in near for wire in loom.wires_at[end]}
        assert wires_in(drawing) == mine | reached
        assert loom.digest[:12] in drawing.decode()


def test_names_that_no_page_or_file_holds_as_they_are(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(drawing_parts, "LARGEST", 0)
    plugs = tuple(Connector(name, ConnectorKind.PLUG, (("1",),)) for name in ("A<b>", "a_b_", "A&B", "ä"))
    wires = (Wire("W", End("A<b>", "1"), End("A&B", "1"), circuit="<lamp>"),)
    files = drawings(Loom("<loom>", connectors=plugs, wires=wires, circuits=(Circuit("<lamp>"),)))
    page = files["index.html"].decode()
    assert set(Links(page).found) == set(files) - {"index.html"}
    assert not re.search("<(b|loom|lamp)>", page)


def test_no_two_upright_stretches_of_a_track_meet() -> None:
    rng = random.Random(5)
    plugs = tuple(Connector(f"C{k}", ConnectorKind.PLUG, (tuple(map(str, range(20))),)) for k in range(12))
    ends = [end for plug in plugs for end in plug.ends]
    rng.shuffle(ends)
    wires = tuple(Wire(f"W{k}", a, b) for k, (a, b) in enumerate(zip(ends[::2], ends[1::2], strict=True)))
    layout = lay_out(Loom("many", connectors=plugs, wires=wires), {})
    tracks: dict[float, list[tuple[float, float]]] = {}
    for line in layout.lines:
        if len(line.points) == 4:
            (_, top), (x, _), _, (_, bottom) = line.points
            tracks.setdefault(x, []).append((min(top, bottom), max(top, bottom)))
    assert 10 < len(tracks) < len(wires)
    for spans in tracks.values():
        spans.sort()
        for (_, low), (high, _) in itertools.pairwise(spans):
            assert high >= low + ROW / 2
