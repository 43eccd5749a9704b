"""Segments of KBL and VEC files become bundles, and come back whole from every form a loom travels in."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

import networkx
import pytest

from loomproof.loom import kbl, vec
from loomproof.loom.bundles import Bundle
from loomproof.loom.reading import load
from loomproof.loom.writing import write_folder, write_workbook
from tests.loom import kbl_text as t
from tests.loom.kbl_files import COMPONENT_BOX, GENERATOR_CABLE, MAIN_HARNESS, Counted, open_data
from tests.loom.test_vec import ROUTING, small
from tests.loom.test_vec import open_data as open_vec
from tests.loom.vec_text import key, specification, tag, value

POINT = '<Cartesian_point id="c"><Coordinates>1</Coordinates><Coordinates>2</Coordinates></Cartesian_point>'
TWO = t.housing("two", "1", "2")


def _routed(*nodes: tuple[str, str]) -> bytes:
    """Two wires from X1 to X2 over two segments; each node with its Id and what it refers to."""
    body = (
        "".join(t.connection(n, f"X1.{n}", f"X2.{n}") for n in ("1", "2"))
        + t.connector("X1", "two", "1", "2")
        + t.connector("X2", "two", "1", "2")
        + t.wire("1")
        + t.wire("2")
    )
    said = "".join(
        f'<Node id="n{i}"><Id>{name}</Id><Cartesian_point>c</Cartesian_point>'
        + (f"<Referenced_components>{at}</Referenced_components>" if at else "")
        + "</Node>"
        for i, (name, at) in enumerate(nodes)
    )
    segments = "".join(
        f'<Segment id="g{i}"><Id>branch {i}</Id>{t.value("Virtual_length", 400 + i, "mm") if i < 2 else ""}'
        f"<End_node>n{i + 1}</End_node><Start_node>n{i}</Start_node></Segment>"
        for i in range(3)
    )
    ways = "".join(
        f'<Routing id="r{n}"><Routed_wire>c{n}</Routed_wire><Segments>g0 g1</Segments></Routing>'
        for n in (1, 2)
    )
    return t.file(POINT + TWO + t.wire_part(), body, rest=said + ways + segments)


@pytest.mark.parametrize(
    ("nodes", "bundles"),
    [
        (
            (("N0", "X1.o"), ("N1", ""), ("N2", "X2.o"), ("N3", "")),
            (Bundle("branch 0", 0.4, "X1", "N1"), Bundle("branch 1", 0.401, "N1", "X2")),
        ),
        (  # a node that is called as a connector that sits elsewhere, and one at which two sit
            (("N0", "X1.o"), ("X2", ""), ("N2", "X1.o X2.o"), ("N3", "")),
            (Bundle("branch 0", 0.4, "X1", "X2#2"), Bundle("branch 1", 0.401, "X2#2", "N2")),
        ),
    ],
)
def test_segments_that_wires_run_through_are_bundles(
    tmp_path: Path, nodes: tuple[tuple[str, str], ...], bundles: tuple[Bundle, ...]
) -> None:
    path = tmp_path / "file.kbl"
    path.write_bytes(_routed(*nodes))
    assert kbl.read(path).loom.bundles == bundles


@pytest.mark.parametrize("name", [MAIN_HARNESS, COMPONENT_BOX, GENERATOR_CABLE])
def test_bundles_of_the_open_files_are_their_segments(name: str) -> None:
    counted = Counted(open_data(name))
    loom = kbl.read(counted.path).loom
    used = {
        each
        for routing in counted.root.findall("Routing")
        for each in routing.findtext("Segments", "").split()
    }
    segments = [one for one in counted.root.findall("Segment") if one.attrib["id"] in used]
    lengths = [float(one.findtext("Virtual_length/Value_component", "nan")) for one in segments]
    assert [bundle.length_m for bundle in loom.bundles] == pytest.approx([mm / 1000 for mm in lengths])
    ways: networkx.MultiGraph[str] = networkx.MultiGraph([(one.a, one.b) for one in loom.bundles])
    stated: networkx.MultiGraph[str | None] = networkx.MultiGraph(
        [(one.findtext("Start_node"), one.findtext("End_node")) for one in segments]
    )
    assert Counter(dict(ways.degree()).values()) == Counter(dict(stated.degree()).values())
    reached = [
        wire for wire in loom.wires if wire.bundles and {wire.a.connector, wire.b.connector} <= set(ways)
    ]
    assert reached
    for wire in reached:  # by its own bundles alone one comes from one of its connectors to the other
        own = networkx.Graph([loom.bundle_by_name[bundle].places for bundle in wire.bundles])
        assert networkx.has_path(own, wire.a.connector, wire.b.connector), wire.name


@pytest.mark.parametrize("name", [MAIN_HARNESS, COMPONENT_BOX, GENERATOR_CABLE])
def test_an_open_file_goes_through_folder_and_back_with_its_bundles(tmp_path: Path, name: str) -> None:
    first = kbl.read(open_data(name)).loom
    write_folder(first, tmp_path / "one")
    (tmp_path / "again.kbl").write_bytes(kbl.write(load(tmp_path / "one").loom).content)
    write_folder(load(tmp_path / "again.kbl").loom, tmp_path / "two")
    last = load(tmp_path / "two").loom
    assert last.bundles == first.bundles
    assert last.digest == first.digest


def test_what_a_table_says_of_bundles_comes_back_from_kbl_and_workbook(tmp_path: Path) -> None:
    path = tmp_path / "file.kbl"
    path.write_bytes(_routed(("N0", "X1.o"), ("N1", ""), ("N2", "X2.o"), ("N3", "")))
    loom = kbl.read(path).loom
    told = replace(loom, bundles=(*loom.bundles, Bundle("spare", 0.2, "N1", "", "cut off")))
    for bundles in (told.bundles, loom.bundles[:1], ()):
        changed = replace(loom, bundles=bundles)
        path.write_bytes(kbl.write(changed).content)
        assert kbl.read(path).loom.bundles == bundles
        write_workbook(changed, tmp_path / "loom.xlsx", over=True)
        assert load(tmp_path / "loom.xlsx").loom.bundles == bundles


def test_segments_of_a_vec_topology_are_bundles(tmp_path: Path) -> None:
    made = small()
    nodes = "".join(
        f'<TopologyNode id="n{k}">{tag("Identification", f"N{k}")}</TopologyNode>' for k in range(3)
    )
    long = f'<LengthInformation id="{key()}">{value("Length", 700, "mm")}{tag("Classification", "Designed")}'
    segments = "".join(
        f'<TopologySegment id="s{k}">{tag("Identification", "same")}{tag("EndNode", f"n{k + 1}")}'
        f"{tag('StartNode', f'n{k}')}{long + '</LengthInformation>' if not k else ''}</TopologySegment>"
        for k in range(2)
    )
    made.more += [
        specification("TopologySpecification", "topology", nodes + segments),
        specification(
            "PlacementSpecification",
            "placements",
            f'<Placement xsi:type="vec:OnPointPlacement" id="p1">{tag("Identification", "A")}'
            f'{tag("PlacedElement", "A.role")}<Location xsi:type="vec:NodeLocation" id="l1">'
            f"{tag('Identification', 'A')}{tag('ReferencedNode', 'n0')}</Location></Placement>",
        ),
        specification(
            "RoutingSpecification",
            "routings",
            f'<Routing id="r1">{tag("Identification", "W1")}{tag("RoutedElement", "W1.r")}'
            f'<Path id="path">{tag("Segment", "s0 s1")}</Path></Routing>',
        ),
    ]
    path = tmp_path / "loom.vec"
    path.write_bytes(made.bytes())
    loom = vec.read(path).loom
    assert loom.wire_by_name["W1"].bundles == ("same", "s1")
    assert loom.bundles == (Bundle("same", 0.7, "A", "N1"), Bundle("s1", None, "N1", "N2"))


def test_the_topology_of_the_open_vec_file() -> None:
    loom = vec.read(open_vec(ROUTING), configuration="RL").loom
    assert loom.bundle_by_name["SEG-2"] == Bundle("SEG-2", None, "A1", "ND-2")
    assert loom.bundle_by_name["SEG-6"].places == ("ND-6", "A3")
    assert not {"SEG-7", "SEG-8"} & set(loom.bundle_by_name)
