"""Schematics, variants, mated slots and fuses of VEC files."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.errors import DescriptionError
from loomproof.loom import vec
from loomproof.loom.model import ComponentKind, End
from tests.loom.test_vec import nets, read, small, told
from tests.loom.vec_text import Vec, key, specification, tag


def schematic(text_ends: bool) -> Vec:
    """Connections only: two plugs, one net of two ends and one of three."""
    made = Vec()
    ports = "".join(
        f'<ComponentNode id="{node}">{tag("Identification", node)}<ComponentConnector id="{node}.k">'
        f"{tag('Identification', 'K')}"
        + "".join(f'<ComponentPort id="{node}.{n}">{tag("Identification", n)}</ComponentPort>' for n in "12")
        + "</ComponentConnector></ComponentNode>"
        for node in ("M1", "M2")
    )

    def end(node: str, pin: str) -> str:
        name = f"{node} : {pin} " if text_ends else "e"
        port = "" if text_ends else tag("ConnectedComponentPort", f"{node}.{pin}")
        return (
            f'<ConnectionEnd id="{key()}">{tag("Identification", name)}{tag("IsExternalEnd", "false")}{port}'
            "</ConnectionEnd>"
        )

    connections = "".join(
        f'<Connection id="con{n}">{tag("Identification", n)}{"".join(end(*at) for at in ends)}</Connection>'
        for n, ends in (
            ("7", [("M1", "1"), ("M2", "2")]),
            ("8", [("M1", "2"), ("M2", "1"), ("M3", "1")] if text_ends else [("M1", "2"), ("M2", "1")]),
        )
    )
    made.more.append(
        specification("ConnectionSpecification", "con", ("" if text_ends else ports) + connections)
    )
    return made


@pytest.mark.parametrize("text_ends", [False, True])
def test_the_schematic_stands_in_and_is_marked(tmp_path: Path, text_ends: bool) -> None:
    found = read(tmp_path, schematic(text_ends))
    wire = found.loom.wire_by_name["7"]
    assert (str(wire.a), str(wire.b), wire.note) == ("M1:1", "M2:2", "from the schematic")
    assert "wires from the schematic" in found.loom.description
    assert "no contact point of this file places a wire" in told(found)
    joint = {str(End("joint of 8")), "M1:2", "M2:1", "M3:1"}
    wanted = [{"M1:1", "M2:2"}, joint if text_ends else {"M1:2", "M2:1"}]
    assert nets(found.loom) == sorted(wanted, key=sorted)
    assert ("nets whose shape the schematic does not state" in told(found)) is text_ends
    assert ("whose connector and cavity stand in one text" in told(found)) is text_ends


def test_variants_are_a_choice_and_a_configuration_leaves_the_others_out(tmp_path: Path) -> None:
    made = small()
    made.more.append(
        specification(
            "VariantConfigurationSpecification",
            "variants",
            "".join(
                f'<VariantConfiguration id="v.{name}">{tag("Identification", name)}</VariantConfiguration>'
                for name in ("tow", "plain")
            ),
        )
    )
    made.cable("C5", [("W5", 0.5, "BU", 1.0, "horn", ("A.2", "B.2"))], config="v.tow")
    whole = read(tmp_path, made)
    assert "schema" not in told(whole)
    assert "Name a configuration: 'tow', 'plain'." in " ".join(str(each.cure) for each in whole.warnings)
    (choice,) = whole.loom.choices
    assert [answer.name for answer in choice.answers] == ["tow", "plain"]
    assert whole.loom.need_of("horn", {choice.name: "plain"}).value == "unused"
    assert "W5" in read(tmp_path, made, configuration="tow").loom.wire_by_name
    assert "W5" not in read(tmp_path, made, configuration="plain").loom.wire_by_name
    with pytest.raises(DescriptionError, match="no configuration 'towing'"):
        read(tmp_path, made, configuration="towing")


def test_mated_slots_are_linked_cavity_by_cavity(tmp_path: Path) -> None:
    made = small()
    made.housing("X", "1", "2")
    coupling = (
        f'<CouplingPoint id="cp">{tag("Identification", "cp")}{tag("FirstConnector", "A.role")}'
        f'{tag("SecondConnector", "X.role")}<SlotCoupling id="sc">{tag("Identification", "s")}'
        f"{tag('FirstSlot', 'A.slot')}{tag('SecondSlot', 'X.slot')}</SlotCoupling></CouplingPoint>"
    )
    made.more.append(specification("CouplingSpecification", "coup", coupling))
    loom = read(tmp_path, made).loom
    assert {tuple(map(str, one.ends)) for one in loom.components} == {("A:1", "X:1"), ("A:2", "X:2")}
    assert all(one.pullable for one in loom.components)


def test_a_fuse_sits_where_its_legs_are_mated(tmp_path: Path) -> None:
    made = small()
    made.masters.append(
        specification(
            "FuseSpecification",
            "fs",
            f'<HousingComponent id="fh">{tag("Identification", "h")}</HousingComponent>'
            f'<IMax id="im">{tag("UnitComponent", "amp")}{tag("ValueComponent", "15")}</IMax>',
        )
    )
    legs = "".join(
        f'<CavityReference id="F1.{n}">{tag("Identification", n)}{tag("ReferencedCavity", f"A.{n}.m")}'
        "</CavityReference>"
        for n in "12"
    )
    role = (
        f'<Role xsi:type="vec:EEComponentRole" id="F1.r">{tag("Identification", "F1")}'
        f'{tag("EEComponentSpecification", "fs")}<HousingComponentRef id="F1.h">{tag("Identification", "h")}'
        f'{tag("HousingComponent", "fh")}<ConnectorHousingRole id="F1.hr">{tag("Identification", "F1")}'
        f"{tag('ConnectorHousingSpecification', 'A.m')}"
        '<SlotReference xsi:type="vec:SlotReference" id="F1.slot">'
        f"{tag('Identification', 'A')}{tag('ReferencedSlot', 'A.slot.m')}{legs}</SlotReference>"
        "</ConnectorHousingRole></HousingComponentRef></Role>"
    )
    made.component("F1", role, part="A.p")
    coupling = (
        f'<CouplingPoint id="cp">{tag("Identification", "cp")}{tag("FirstConnector", "B.role")}'
        f'{tag("SecondConnector", "F1.hr")}<SlotCoupling id="sc">{tag("Identification", "s")}'
        f"{tag('FirstSlot', 'B.slot')}{tag('SecondSlot', 'F1.slot')}</SlotCoupling></CouplingPoint>"
    )
    made.more.append(specification("CouplingSpecification", "coup", coupling))
    found = read(tmp_path, made)
    assert "schema" not in told(found)
    (fuse,) = found.loom.components
    assert (fuse.kind, fuse.rating_a, fuse.ends) == (ComponentKind.FUSE, 15.0, (End("B", "1"), End("B", "2")))
    assert (fuse.fitted, fuse.pullable) == (False, True)
    assert "F1" not in found.loom.by_name


def test_two_harnesses_want_one_named(tmp_path: Path) -> None:
    content = small().bytes()
    start, stop = content.index(b'<DocumentVersion id="harness">'), content.index(b"<PartVersion")
    other = content[start:stop].replace(b'id="', b'id="o.').replace(b">LOOM-1<", b">LOOM-2<")
    path = tmp_path / "two.vec"
    path.write_bytes(content[:stop] + other + content[stop:])
    with pytest.raises(DescriptionError, match="describes 2 harnesses: LOOM-1, LOOM-2"):
        vec.read(path)
    assert len(vec.read(path, harness="LOOM-1").loom.wires) == 3
