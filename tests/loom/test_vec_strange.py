"""VEC files as strangers write them: roles of their own, alternatives, ends that lead nowhere, units, ids.

What a contact point is, and that its mountings may be alternatives, stands in VEC's own class descriptions.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from loomproof.errors import DescriptionError
from loomproof.loom import vec
from loomproof.loom.model import ConnectorKind, End
from loomproof.loom.reading import LoadedLoom
from tests.loom.test_vec import nets, read, told
from tests.loom.vec_text import Vec, key, specification, tag


def plugs(*names: str) -> Vec:
    made = Vec()
    for name in names or ("A", "B"):
        made.housing(name, "1", "2")
    return made


def wire(name: str, *ends: str) -> tuple[str, float, str, float, str, tuple[str, ...]]:
    return (name, 0.5, "BK", 1.0, "", ends)


def changed(tmp_path: Path, made: Vec, *pairs: tuple[str, str], **options: str) -> LoadedLoom:
    """Read a file after texts of it were replaced; each has to be there."""
    content = made.bytes().decode()
    for old, new in pairs:
        assert old in content
        content = content.replace(old, new)
    (tmp_path / "loom.vec").write_bytes(content.encode())
    return vec.read(tmp_path / "loom.vec", **options)


@pytest.mark.parametrize(
    ("role", "kind"),
    [
        ("RingTerminalRole", ConnectorKind.RING),
        ("BoltTerminalRole", ConnectorKind.RING),
        ("HoleTerminalRole", ConnectorKind.RING),
        ("PluggableTerminalRole", ConnectorKind.RING),
        ("OpenWireEndTerminalRole", ConnectorKind.TAIL),
        ("BridgeTerminalRole", ConnectorKind.SPLICE),
    ],
)
def test_every_role_of_a_terminal_is_an_end(tmp_path: Path, role: str, kind: ConnectorKind) -> None:
    made = plugs()
    made.terminal("R1")
    made.cable("C1", [wire("W1", "A.1", "R1.t")])
    made.cable("C2", [wire("W2", "B.1", "R1.t")])
    found = changed(tmp_path, made, ('"vec:TerminalRole"', f'"vec:{role}"'))
    assert "schema" not in told(found)
    end = found.loom.by_name["R1"]
    assert (end.kind, end.housing) == (kind, "" if kind is ConnectorKind.SPLICE else "T-R1")
    assert {"A:1", "B:1", str(end.ends[0])} in nets(found.loom)
    assert role not in told(found)


def test_a_ring_in_a_cavity_is_that_housing_and_no_second_end(tmp_path: Path) -> None:
    made = Vec()
    made.housing("A", "1")
    made.housing("B", "1")
    made.terminal("R1")
    made.cable("C1", [wire("W1", "A.1", "B.1")])
    mounted = "<Identification>B.1</Identification>"
    found = changed(
        tmp_path,
        made,
        ('"vec:TerminalRole"', '"vec:RingTerminalRole"'),
        (f"{mounted}<CavityMounting", f"{mounted}{tag('MountedTerminal', 'R1.t')}<CavityMounting"),
    )
    assert [(one.name, one.kind) for one in found.loom.connectors] == [
        ("A", ConnectorKind.PLUG),
        ("B", ConnectorKind.RING),
    ]


def test_three_conductors_of_one_contact_stay_apart(tmp_path: Path) -> None:
    made = Vec()
    made.housing("A", "1", "2", "3")
    made.housing("B", "1")
    made.cable(
        "C", [wire("W1", "A.1", "B.1"), wire("W2", "A.2", "B.1"), wire("W3", "A.3", "B.1")], screen="W3"
    )
    kind, ends = made.points.pop("B.1")
    for number, end in enumerate(ends):
        made.points["B.1" + " " * number] = (kind, [end])
    assert nets(read(tmp_path, made).loom) == [
        {"A:1", "B:1"},
        {"A:2", str(End("B", "1 core 2"))},
        {"A:3", str(End("B", "1 screen"))},
    ]


def test_contact_points_that_are_taken_to_touch_are_said(tmp_path: Path) -> None:
    made = plugs()
    made.cable("C1", [wire("W1", "A.1", "B.1")])
    made.cable("C2", [wire("W2", "A.2", "B.1")])
    kind, ends = made.points.pop("B.1")
    for number, end in enumerate(ends):
        made.points["B.1" + " " * number] = (kind, [end])
    assert "several contact points, which are taken to touch there (1): B:1" in told(read(tmp_path, made))


def alternatives() -> str:
    listed = "".join(
        f'<VariantConfiguration id="v{n}">{tag("Identification", f"V{n}")}</VariantConfiguration>'
        for n in "12"
    )
    return specification("VariantConfigurationSpecification", "vs", listed)


@pytest.mark.parametrize(("chosen", "cavity"), [("V1", "1"), ("V2", "2")])
def test_a_contact_point_of_a_configuration_counts_in_it_alone(
    tmp_path: Path, chosen: str, cavity: str
) -> None:
    made = plugs()
    made.cable("C", [wire("W1", "A.1", "B.1")])
    made.points["B.2"] = ("c", ["W1.1.e"])
    made.more.append(alternatives())
    pairs = [
        (f"{tag('Identification', f'B.{n}')}<CavityMounting", f"{tag('ConfigInfo', f'v{n}')}{{}}")
        for n in "12"
    ]
    changes = [(old, new.format(old)) for old, new in pairs]
    found = changed(tmp_path, made, *changes, configuration=chosen)
    assert (str(found.loom.wires[0].b), found.loom.left_out) == (f"B:{cavity}", ())
    whole = changed(tmp_path, made, *changes)
    assert whole.loom.left_out == ("wire W1: the file places one end at B:1 and at B:2 as well",)


@pytest.mark.parametrize("varied", [False, True])
def test_cavities_of_alternative_housings_are_not_joined(tmp_path: Path, varied: bool) -> None:
    made = Vec()
    made.housing("A", "1")
    made.housing("B", "1", config="v1" if varied else "")
    made.housing("X", "1", config="v2" if varied else "")
    made.cable("C", [wire("W1", "A.1", "B.1")])
    made.more.append(alternatives())
    mounting = f'<CavityMounting id="{key()}">{tag("EquippedCavityRef", "X.1")}</CavityMounting>'
    old = f"{tag('EquippedCavityRef', 'B.1')}</CavityMounting>"
    found = changed(tmp_path, made, (old, old + mounting))
    joined = {"A:1", "B:1", "X:1"}
    assert nets(found.loom) == ([{"A:1", "B:1"}, {"X:1"}] if varied else [joined])
    assert ("for each of several variants" in told(found)) is varied
    if varied:
        found = changed(tmp_path, made, (old, old + mounting), configuration="V2")
        assert nets(found.loom) == [{"A:1", "X:1"}]


def test_a_cavity_that_is_not_there_joins_nothing(tmp_path: Path) -> None:
    made = plugs()
    made.cable("C1", [wire("W1", "A.1", "B.9")])
    made.cable("C2", [wire("W2", "A.2", "B.9")])
    found = read(tmp_path, made)
    assert [one.name for one in found.loom.connectors] == ["A", "B"]
    assert found.loom.left_out == tuple(f"wire W{n}: the file places 1 of its ends" for n in "12")
    assert "contact points whose cavity or terminal is not in the harness (1): B.9 (B.9)" in told(found)


def test_an_end_that_leads_nowhere_is_told(tmp_path: Path) -> None:
    made = plugs()
    made.cable("C", [wire("W1", "A.1", "B.1", "B.2")])
    made.points.pop("B.1")
    loom = read(tmp_path, made).loom
    assert loom.left_out == ("wire W1: the file places 2 of its 3 ends",)
    assert {"A:1", "B:2"} in nets(loom)


def test_ends_without_an_order_have_no_lengths(tmp_path: Path) -> None:
    made = plugs()
    made.cable("C", [wire("W1", "A.1", "B.1", "B.2")])
    found = changed(tmp_path, made, (tag("PositionOnWire", 0.5), tag("PositionOnWire", 1.0)))
    assert [one.length_m for one in found.loom.wires] == [None, None]
    assert {"A:1", "B:1", "B:2"} in nets(found.loom)
    assert "whose positions say no order" in told(found)


def test_wires_of_which_the_file_says_nothing_are_told(tmp_path: Path) -> None:
    made = plugs()
    made.cable("C", [wire("W1", "A.1", "B.1")])
    said = tag("Identification", "r") + tag("WireSpecification", "C.ws")
    head = f'<Role xsi:type="vec:WireRole" id="{{0}}">{said}'
    bare = (
        f'<WireElementReference id="l1">{tag("Identification", "L1")}{tag("ReferencedWireElement", "C.root")}'
        "</WireElementReference>"
    )
    made.component("LOST1", head.format("r1") + bare + "</Role>")
    made.component("LOST2", head.format("r2") + "</Role>")
    assert read(tmp_path, made).loom.left_out == (
        "wire LOST2: the file says nothing of its conductors",
        "wire L1: the file gives it no ends",
    )


@pytest.mark.parametrize("again", ["W2.r", "W2.1.e", "B.2"])
def test_an_id_given_twice_is_refused(tmp_path: Path, again: str) -> None:
    made = plugs()
    made.cable("C1", [wire("W1", "A.1", "B.1")])
    made.cable("C2", [wire("W2", "A.2", "B.2")])
    first = again.replace("2", "1", 1)
    with pytest.raises(DescriptionError, match="gives ids twice") as error:
        changed(tmp_path, made, (f'id="{again}"', f'id="{first}"'))
    assert f"the id {first!r} is given to this" in str(error.value.problems[0])


def test_contact_points_of_another_harness_make_no_ends(tmp_path: Path) -> None:
    made, other = plugs(), plugs("X", "Y")
    made.cable("C", [wire("W1", "A.1", "B.1")])
    other.cable("D", [wire("V1", "X.1", "Y.1")])
    second = other.bytes().decode()
    second = second[second.index("<DocumentVersion ") : second.index("<Unit ")]
    for name in ("masters", "harness", "comp", "contacts"):
        second = second.replace(f'id="{name}"', f'id="{name}2"')
    second = second.replace("LOOM-1", "LOOM-2")
    docs, parts = second[: second.index("<PartVersion id")], second[second.index("<PartVersion id") :]
    content = made.bytes().decode()
    at = content.index("<PartVersion id")
    content = content[:at] + docs + content[at:].replace("<Unit ", parts + "<Unit ", 1)
    (tmp_path / "two.vec").write_text(content)
    found = vec.read(tmp_path / "two.vec", harness="LOOM-1")
    assert [one.name for one in found.loom.connectors] == ["A", "B"]
    assert "not in the harness" not in told(found)


def node(name: str, extra: str = "") -> str:
    ports = "".join(
        f'<ComponentPort id="{name}.{n}">{tag("Identification", n)}</ComponentPort>' for n in "12"
    )
    connector = f'<ComponentConnector id="{name}.k">{tag("Identification", "K")}{ports}</ComponentConnector>'
    return f'<ComponentNode id="{name}">{tag("Identification", name)}{extra}{connector}</ComponentNode>'


def connection(name: str, *ports: str) -> str:
    ends = "".join(
        f'<ConnectionEnd id="{key()}">{tag("Identification", "e")}{tag("IsExternalEnd", "false")}'
        f"{tag('ConnectedComponentPort', port)}</ConnectionEnd>"
        for port in ports
    )
    return f'<Connection id="con{name}">{tag("Identification", name)}{ends}</Connection>'


def test_the_inside_of_a_part_is_no_wire_of_the_schematic(tmp_path: Path) -> None:
    made = Vec()
    drawn = node("M1") + node("M2") + connection("7", "M1.1", "M2.2")
    made.more.append(specification("ConnectionSpecification", "con", drawn))
    inside = node("BOX") + node("F1") + connection("i1", "BOX.1", "F1.1") + connection("i2", "BOX.2", "F1.2")
    made.masters.append(specification("ConnectionSpecification", "inner", inside, "inner"))
    made.component("EE", "")
    loom = read(tmp_path, made).loom
    assert [one.name for one in loom.wires] == ["7"]
    assert [one.name for one in loom.connectors] == ["M1", "M2"]


def ported(name: str, **ports: str) -> str:
    """A connector of the schematic with its ports, id by id."""
    listed = "".join(
        f'<ComponentPort id="{own}">{tag("Identification", said)}</ComponentPort>'
        for own, said in ports.items()
    )
    return f'<ComponentConnector id="{name}">{tag("Identification", "K")}{listed}</ComponentConnector>'


def test_ports_whose_names_hold_connector_and_cavity(tmp_path: Path) -> None:
    """As one exporter writes them: a plug in two pieces of one name, and housings that nothing refers to."""
    made = plugs()
    made.cable("C1", [wire("W1"), wire("W2")])
    plug = ported("k1", p8="Plug 1 : 8 ", p9="Plug 1 : 9") + ported("k2", p17="Plug 1 : 17")
    other = ported("k3", o2="Other : 2", o3="Other : 3", again="Other : 3")
    drawn = "".join(
        f'<ComponentNode id="{own}">{tag("Identification", own)}{held}</ComponentNode>'
        for own, held in (("n1", plug), ("n2", other))
    )
    drawn += connection("a", "p8", "o2") + connection("b", "p17", "again")
    drawn += connection("c", "p9", "o3", "nowhere")
    made.more.append(specification("ConnectionSpecification", "con", drawn))
    found = read(tmp_path, made)
    assert {one.name: one.cavities for one in found.loom.connectors} == {
        "Plug 1": ("8", "9", "17"),
        "Other": ("2", "3", "K.3"),
    }
    assert nets(found.loom) == [
        {str(End("Plug 1", "17")), "Other:K.3"},
        {str(End("Plug 1", "8")), "Other:2"},
        {str(End("Plug 1", "9")), "Other:3"},
    ]
    assert set(found.loom.left_out) == {
        "connection c of the schematic: 2 of its 3 ends are known",
        *(f"wire W{n}: the file places none of its ends, and no schematic of it names it" for n in "12"),
        *(f"connector {n}: the schematic does not say which of its connectors it is" for n in "AB"),
    }


def test_what_the_schematic_joins_and_the_contacting_lacks_is_told(tmp_path: Path) -> None:
    made = plugs()
    made.cable("C", [wire("W1", "A.1", "B.1")])
    drawn = node("M1") + node("M2") + connection("7", "M1.1", "M2.1") + connection("8", "M1.2", "M2.2")
    made.more.append(specification("ConnectionSpecification", "con", drawn))
    reference = f'<WireElementReference id="W1.r">{tag("Identification", "W1")}'
    found = changed(tmp_path, made, (reference, reference + tag("Connection", "con7")))
    assert "no wire of the contacting is said to be (1): 8" in told(found)
    assert [one.name for one in found.loom.wires] == ["W1"]


def test_no_schematic_is_claimed_where_there_is_none(tmp_path: Path) -> None:
    made = plugs()
    made.cable("C", [wire("W1", "A.1", "B.1")])
    made.points.clear()
    found = read(tmp_path, made)
    assert "no schematic of it joins two ends: it has no wire" in told(found)
    assert "is taken from its schematic" not in told(found)
    assert "schematic" not in found.loom.description
    (left_out,) = found.loom.left_out
    assert left_out.startswith("wire W1: the file places none of its ends")


def test_part_usages_are_a_harness_too(tmp_path: Path) -> None:
    made = plugs()
    made.cable("C", [wire("W1", "A.1", "B.1")])
    content = made.bytes().decode().replace("CompositionSpecification", "PartUsageSpecification")
    content = re.sub(r"<(/?)Component\b", r"<\1PartUsage", content)
    usage = tag("PrimaryPartUsageType", "Other") + "</PartUsage>"
    content = re.sub(r"<Part>[\w.]+</Part></PartUsage>", usage, content)
    (tmp_path / "usage.vec").write_text(content)
    found = vec.read(tmp_path / "usage.vec")
    assert "schema" not in told(found)
    assert nets(found.loom) == [{"A:1", "B:1"}, {"A:2"}, {"B:2"}]


SECTION = (
    '<Unit xsi:type="vec:SIUnit" id="mm2"><Exponent>2</Exponent><SiUnitName>Metre</SiUnitName>'
    "<SiPrefix>Milli</SiPrefix></Unit>"
)
LENGTH = '<Unit xsi:type="vec:SIUnit" id="mm"><SiUnitName>Metre</SiUnitName><SiPrefix>Milli</SiPrefix></Unit>'


def test_units_of_inches_and_gauges(tmp_path: Path) -> None:
    # 1 inch is 25.4 mm by definition; the section of AWG 18 is 0.823 mm² (ASTM B258, table of nominal areas).
    made = plugs()
    made.cable("C", [("W1", 18, "BK", 0.012, "", ("A.1", "B.1"))])
    gauge = '<Unit xsi:type="vec:USUnit" id="mm2"><UsUnitName>AWG</UsUnitName></Unit>'
    inch = '<Unit xsi:type="vec:ImperialUnit" id="mm"><ImperialUnitName>Inch</ImperialUnitName></Unit>'
    found = changed(tmp_path, made, (SECTION, gauge), (LENGTH, inch))
    assert "schema" not in told(found)
    assert found.loom.wires[0].csa_mm2 == pytest.approx(0.823, abs=0.0005)
    assert found.loom.wires[0].length_m == pytest.approx(12 * 0.0254)


def test_a_unit_of_no_length_is_said_once(tmp_path: Path) -> None:
    made = plugs()
    made.cable("C1", [wire("W1", "A.1", "B.1")])
    made.cable("C2", [wire("W2", "A.2", "B.2")])
    other = '<Unit xsi:type="vec:OtherUnit" id="mm"><OtherUnitName>Piece</OtherUnitName></Unit>'
    found = changed(tmp_path, made, (LENGTH, other))
    assert told(found).count("unit 'mm' is no unit of length: values in it are left out") == 1


def test_a_namespace_on_everything_is_taken_off_and_said(tmp_path: Path) -> None:
    made = plugs()
    made.cable("C", [wire("W1", "A.1", "B.1")])
    found = changed(
        tmp_path,
        made,
        ("vec:VecContent xmlns:vec=", "VecContent xmlns="),
        ("</vec:VecContent", "</VecContent"),
        ('"vec:', '"'),
    )
    assert "namespace that the schema has on the root alone" in told(found)
    assert "breaks the schema" not in told(found)
    assert {"A:1", "B:1"} in nets(found.loom)


def test_what_is_taken_of_contacts_and_what_is_left_out_is_told(tmp_path: Path) -> None:
    made = plugs()
    made.cable("C1", [wire("W1", "A.1", "B.1"), wire("W2", "A.2", "B.2")])
    content = made.bytes().decode()

    def without(element: str) -> LoadedLoom:
        cut, count = re.subn(rf"<{element} .*?</{element}>", "", content, count=1, flags=re.DOTALL)
        assert count == 1
        (tmp_path / "loom.vec").write_text(cut, encoding="utf-8")
        return vec.read(tmp_path / "loom.vec")

    assert "into no cavity, taken for loose ends (1)" in told(without("CavityMounting"))
    short = without("WireMounting")
    assert short.loom.left_out == ("wire W1: the file places 1 of its ends",)
    assert "named in the loom as such (1): wire W1: the file places 1 of its ends" in told(short)
    assert "taken for" not in told(changed(tmp_path, made))
