"""VEC: what contact points place, what the schematic says where they do not, what is refused and told."""

from __future__ import annotations

import os
import random
from pathlib import Path

import pytest
from lxml import etree

from loomproof.cli.main import run
from loomproof.electrics.expectation import expect
from loomproof.errors import DescriptionError
from loomproof.loom import vec
from loomproof.loom.model import ComponentKind, ConnectorKind, End, Loom, Wire
from loomproof.loom.reading import LoadedLoom
from loomproof.loom.vec.opening import VERSIONS, parse
from tests.fuzz.damaged_xml import FINDS, mutated_bytes, mutated_tree
from tests.fuzz.vec_fuzz import samples, tried
from tests.loom.kbl_files import ROOT, VARIABLE
from tests.loom.vec_and_kbl import both
from tests.loom.vec_text import Vec

FOLDER = Path(os.environ.get(VARIABLE) or ROOT.parent / "shared" / "open_data" / "kbl").parent / "vec"
CHANGE, ROUTING, KOSTAL = "change_example_1.vec", "routing-examples.vec", "kostal-32124733993.vec"


def open_data(name: str) -> Path:
    path = FOLDER / name
    if not path.is_file():
        pytest.skip(f"open data vec/{name} is not there: {VARIABLE} names the folder kbl beside it")
    return path


def read(tmp_path: Path, made: Vec, version: str = "2.1.0", **options: str) -> LoadedLoom:
    path = tmp_path / "loom.vec"
    path.write_bytes(made.bytes(version))
    return vec.read(path, **options)


def told(found: LoadedLoom) -> str:
    return "\n".join(str(problem) for problem in found.warnings)


def nets(loom: Loom) -> list[set[str]]:
    return sorted(({str(end) for end in net.ends} for net in expect(loom).nets), key=sorted)


def small() -> Vec:
    """Two plugs of two cavities, a splice and a ring; a cable of two cores and a single wire."""
    made = Vec()
    made.housing("A", "1", "2")
    made.housing("B", "1", "2")
    made.terminal("S1", splice=True)
    made.terminal("R1")
    made.cable(
        "C1",
        [("W1", 0.5, "RD/WH", 1.0, "V.30.A", ("A.1", "S1.t")), ("W2", 0.5, "BK", 1.2, "", ("A.2", "R1.t"))],
        twisted=True,
    )
    made.cable("C2", [("W3", 0.75, "RD", None, "", ("S1.t", "B.1"))])
    return made


@pytest.mark.parametrize("version", VERSIONS)
def test_every_version_is_read_without_a_breach(tmp_path: Path, version: str) -> None:
    made = small()
    if version.startswith("1.1"):
        flat = Vec(flat=True)
        flat.housing("A", "1", "2")
        flat.housing("B", "1", "2")
        flat.terminal("S1", splice=True)
        flat.terminal("R1")
        flat.cable(
            "C1",
            [
                ("W1", 0.5, "RD/WH", 1.0, "V.30.A", ("A.1", "S1.t")),
                ("W2", 0.5, "BK", 1.2, "", ("A.2", "R1.t")),
            ],
            twisted=True,
        )
        flat.cable("C2", [("W3", 0.75, "RD", None, "", ("S1.t", "B.1"))])
        made = flat
    found = read(tmp_path, made, version)
    assert "schema" not in told(found)
    assert found.loom.wires == (
        Wire("W1", End("A", "1"), End("S1"), "RD/WH", 0.5, 1.0, "V.30.A", "W2", note="core of C1"),
        Wire("W2", End("A", "2"), End("R1", "1"), "BK", 0.5, 1.2, "", "W1", note="core of C1"),
        Wire("W3", End("S1"), End("B", "1"), "RD", 0.75),
    )
    kinds = {one.name: one.kind for one in found.loom.connectors}
    assert (kinds["S1"], kinds["R1"]) == (ConnectorKind.SPLICE, ConnectorKind.RING)
    assert found.loom.circuit_by_name["V.30.A"].designation == "30"
    assert {facts.end for facts in found.loom.cavity_facts if facts.spare} == {End("B", "2")}
    assert "wires without a length (1): W3" in told(found)


def test_the_counted_facts_of_the_open_files() -> None:
    found = vec.read(open_data(CHANGE))
    assert found.loom.wires == (
        Wire("264002", End("XA.F2.1_1", "2"), End("XA.44.1", "1"), "BN", 0.5, 1.063, note="core of SL1"),
        Wire("264001", End("YW001", "1"), End("XA.F2.1_1", "1"), "BK", 0.5, 0.503, note="core of SL1"),
    )
    assert sum(len(one.cavities) for one in found.loom.connectors) == 4
    routed = vec.read(open_data(ROUTING)).loom
    assert [(w.name, str(w.a), str(w.b), w.csa_mm2, w.length_m) for w in routed.wires] == [
        ("W1", "A1:1", "A2:1", 0.5, None),
        ("W2", "A1:1", "A3:1", 0.5, None),
        ("W3", "A1:1", "A2:1", 0.5, None),
    ]
    assert routed.wire_by_name["W1"].bundles == ("SEG-1", "SEG-2")


@pytest.mark.parametrize(
    ("configuration", "segments"),
    [("RL", "SEG-2 SEG-3 SEG-4 SEG-5 SEG-6"), ("LL", "SEG-2 SEG-3 SEG-7 SEG-8 SEG-6")],
)
def test_a_configuration_chooses_the_route(configuration: str, segments: str) -> None:
    found = vec.read(open_data(ROUTING), configuration=configuration)
    assert found.loom.wire_by_name["W2"].bundle == segments
    assert "several variants" not in told(found)


def test_a_file_that_breaks_its_schema_says_so_and_part_data_is_no_loom() -> None:
    with pytest.raises(DescriptionError, match="only part data") as caught:
        vec.read(open_data(KOSTAL))
    assert "TerminalPairing" in " ".join(str(problem) for problem in caught.value.problems)


def test_what_is_sound_of_a_broken_file_is_read(tmp_path: Path) -> None:
    content = small().bytes().replace(b"<GroupType>", b"<Colour>loud</Colour><GroupType>")
    path = tmp_path / "loom.vec"
    path.write_bytes(content)
    found = vec.read(path)
    assert "this breaks the schema of VEC 2.1.0: <Colour> does not belong here" in told(found)
    assert len(found.loom.wires) == 3


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"PK\x03\x04", "zip archive"),
        (b'<!DOCTYPE a [<!ENTITY b "c">]><a/>', "document type"),
        (b"<a>", "not well-formed"),
        (b"<a/>", "not <VecContent>"),
    ],
)
def test_what_is_no_vec_is_refused(tmp_path: Path, content: bytes, words: str) -> None:
    path = tmp_path / "loom.vec"
    path.write_bytes(content)
    with pytest.raises(DescriptionError, match=words):
        vec.read(path)


def test_an_unknown_version_is_read_as_the_nearest_and_said(tmp_path: Path) -> None:
    found = read(tmp_path, small(), "2.0.9")
    assert "its VecVersion is '2.0.9'; it is read as VEC 2.0.1" in told(found)


def test_one_contact_point_in_two_cavities_joins_them(tmp_path: Path) -> None:
    made = Vec()
    made.housing("A", "1", "2")
    made.housing("B", "1")
    made.cable("C", [("W", 0.5, "RD", 1.0, "", ("A.1", "B.1"))])
    content = made.bytes().replace(b">A.1</EquippedCavityRef>", b">A.1 A.2</EquippedCavityRef>")
    (tmp_path / "loom.vec").write_bytes(content)
    loom = vec.read(tmp_path / "loom.vec").loom
    assert nets(loom) == [{"A:1", "A:2", "B:1"}]
    assert [(one.kind, one.note) for one in loom.components] == [(ComponentKind.LINK, "one terminal in both")]


def coaxial(one_cable: bool) -> Vec:
    """Core and screen with a contact point each, both in the only cavity of B."""
    made = Vec()
    made.housing("A", "1", "2")
    made.housing("B", "1")
    screen = ("W2", 0.1, "", 1.0, "", ("A.2", "B.1"))
    core = ("W1", 0.1, "BK", 1.0, "", ("A.1", "B.1"))
    if one_cable:
        made.cable("COA", [screen, core], screen="W2")
    else:
        made.cable("C1", [screen])
        made.cable("C2", [core])
    kind, ends = made.points.pop("B.1")
    for number, end in enumerate(ends):
        made.points[f"B.1{' ' * number}"] = (kind, [end])
    return made


def test_a_coaxial_contact_is_two_potentials(tmp_path: Path) -> None:
    found = read(tmp_path, coaxial(one_cable=True))
    loom = found.loom
    assert "taken for a coaxial contact (1): B" in told(found)
    assert nets(loom) == [{"A:1", "B:1"}, {"A:2", str(End("B", "1 screen"))}]
    assert loom.wire_by_name["W1"].screened_by == "W2"


def test_two_single_wires_in_one_cavity_are_one(tmp_path: Path) -> None:
    assert nets(read(tmp_path, coaxial(one_cable=False)).loom) == [{"A:1", "A:2", "B:1"}]


def test_no_conductor_is_lost(tmp_path: Path) -> None:
    made = small()
    made.cable("C3", [("W9", 0.5, "BU", 1.0, "", ("A.1", "B.2"))])
    made.points.pop("B.2")
    loom = read(tmp_path, made).loom
    assert loom.left_out == ("wire W9: the file places 1 of its ends",)


def test_a_loose_end_and_a_joint_without_a_part_stay_in_the_loom(tmp_path: Path) -> None:
    made = small()
    made.cable("C3", [("W8", 0.5, "BU", 1.0, "", ("B.2", "loose"))])
    content = made.bytes()
    mounting = content[
        content.index(b"<CavityMounting", content.index(b">loose</Identification><CavityMounting")) :
    ]
    content = content.replace(mounting[: mounting.index(b"</CavityMounting>") + 17], b"")
    (tmp_path / "loom.vec").write_bytes(content)
    loom = vec.read(tmp_path / "loom.vec").loom
    assert loom.wire_by_name["W8"].b == End("loose", "1")
    assert loom.by_name["loose"].kind is ConnectorKind.TAIL


def test_a_colour_that_cannot_be_read_is_whole_in_the_note(tmp_path: Path) -> None:
    made = Vec()
    made.housing("A", "1")
    made.housing("B", "1")
    made.cable("C", [("W", 0.5, "RD/B+K", 1.0, "", ("A.1", "B.1"))])
    found = read(tmp_path, made)
    assert (found.loom.wires[0].colour, found.loom.wires[0].note) == ("", "colour RD B+K")
    assert "'B+K' (1)" in told(found)


# The schematic ----------------------------------------------------------------------------------------


# Variants, mated connectors, parts -----------------------------------------------------------------------


def test_the_schemas_are_those_of_the_versions() -> None:
    for version in VERSIONS:
        _, warnings = parse(small().bytes("9.9.9").replace(b"9.9.9", version.encode()), "loom.vec")
        if not version.startswith("1.1"):
            assert warnings == ()


def test_damaged_files_are_refused_or_read_whole() -> None:
    rng = random.Random(22)
    for content in samples():
        root = etree.fromstring(content)
        assert "read" in {tried(mutated_tree(root, rng)) for _ in range(60)}
        assert "refused" in {tried(mutated_bytes(content, rng)) for _ in range(60)}


def test_what_was_ever_found_stays_mended() -> None:
    for path in sorted(FINDS.glob("vec_*.vec")):
        assert tried(path.read_bytes()) in ("refused", "read"), path.name


@pytest.mark.parametrize("command", ["check", "nets", "plan", "draw", "prove", "fit", "import"])
@pytest.mark.parametrize("ending", [".vec", ".xml", ".kbl"])
def test_every_command_that_takes_a_loom_takes_such_a_file(
    command: str,
    ending: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    source = tmp_path / f"loom{ending}"
    source.write_bytes(small().bytes() if ending != ".kbl" else both(1)[1])
    more = {
        "prove": ["--bench", "sim:", "--made-safe", "--out", "out", "--store", "records.db"],
        "fit": ["--store", "records.db"],
        "draw": ["--to", "drawn"],
        "import": ["--to", "made"],
    }
    assert run([command, str(source), *more.get(command, [])]) == 0, capsys.readouterr().err
