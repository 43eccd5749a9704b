"""Parts, mates and whole files of VEC as strangers write them: relays, pins, inserts, roots, harnesses."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from loomproof.cli.main import run
from loomproof.errors import DescriptionError
from loomproof.loom.model import ComponentKind, End
from loomproof.loom.reading import load
from tests.loom import kbl_text as t
from tests.loom.test_vec import nets, read, told
from tests.loom.test_vec_strange import changed, connection, node, plugs, wire
from tests.loom.vec_text import Vec, specification, tag


def test_mates_of_which_nobody_says_the_cavities_are_told(tmp_path: Path) -> None:
    made = plugs("A", "B", "X")
    made.cable("C", [wire("W1", "A.1", "B.1")])
    coupling = (
        f'<CouplingPoint id="cp">{tag("Identification", "cp")}{tag("FirstConnector", "A.role")}'
        f"{tag('SecondConnector', 'X.role')}</CouplingPoint>"
    )
    made.more.append(specification("CouplingSpecification", "cs", coupling))
    assert "coupling cp says that two connectors are mated and not which cavities" in told(
        read(tmp_path, made)
    )


def test_pins_of_a_part_without_its_housing_take_mates(tmp_path: Path) -> None:
    made = plugs()
    made.cable("C", [wire("W1", "A.1", "B.1")])
    pins = "".join(f'<PinComponent id="p{n}">{tag("Identification", n)}</PinComponent>' for n in "12")
    made.masters.append(
        specification(
            "FuseSpecification",
            "fs",
            f'<HousingComponent id="fh">{tag("Identification", "h")}{pins}</HousingComponent>'
            f'<IMax id="im">{tag("UnitComponent", "amp")}{tag("ValueComponent", "15")}</IMax>',
        )
    )
    made.masters.append(specification("TerminalSpecification", "ts", ""))
    legs = "".join(
        f'<PinComponentRef id="r{n}">{tag("Identification", n)}{tag("PinComponent", f"p{n}")}'
        f'<TerminalRole xsi:type="vec:TerminalRole" id="F1.{n}">{tag("Identification", n)}'
        f"{tag('TerminalSpecification', 'ts')}</TerminalRole></PinComponentRef>"
        for n in "12"
    )
    made.component(
        "F1",
        f'<Role xsi:type="vec:FuseRole" id="F1.r">{tag("Identification", "F1")}'
        f'{tag("EEComponentSpecification", "fs")}<HousingComponentRef id="F1.h">{tag("Identification", "h")}'
        f"{tag('HousingComponent', 'fh')}{legs}</HousingComponentRef></Role>",
    )
    made.terminal("T1")
    made.terminal("T2")
    mates = "".join(
        f'<MatingPoint id="mp{n}">{tag("FirstTerminalRole", f"T{n}.t")}{tag("SecondTerminalRole", f"F1.{n}")}'
        "</MatingPoint>"
        for n in "12"
    )
    point = f'<CouplingPoint id="cp">{tag("Identification", "cp")}{mates}</CouplingPoint>'
    made.more.append(specification("CouplingSpecification", "cs", point))
    made.points["B.2"] = ("c", [])
    at = [
        (f">B.{n}</Identification><CavityMounting", f">B.{n}</Identification>{{}}<CavityMounting")
        for n in "12"
    ]
    changes = [
        (old, new.format(tag("MountedTerminal", f"T{n}.t"))) for n, (old, new) in zip("12", at, strict=True)
    ]
    found = changed(tmp_path, made, *changes)
    assert "schema" not in told(found)
    (fuse,) = found.loom.components
    assert (fuse.rating_a, fuse.ends) == (15.0, (End("B", "1"), End("B", "2")))
    assert "F1" not in found.loom.by_name


@pytest.mark.parametrize("told_apart", [True, False])
def test_the_coil_of_a_relay_is_the_connection_that_no_state_switches(
    tmp_path: Path, told_apart: bool
) -> None:
    made = plugs()
    made.housing("X", "1", "2", "3", "4")
    made.cable("C", [wire("W1", "A.1", "X.1")])
    inside = "".join(
        f'<Connections id="k{n}">{tag("Identification", n)}{tag("Pins", pins)}</Connections>'
        for n, pins in (("contact", "p1 p2"), ("coil", "p3 p4"))
    )
    cavities = "".join(
        f'<PinComponent id="p{n}">{tag("Identification", n)}{tag("ReferencedCavity", f"X.{n}.m")}'
        "</PinComponent>"
        for n in "1234"
    )
    states = "".join(
        f'<States id="s{n}">{tag("Identification", n)}{tag("SwitchedConnections", held)}</States>'
        for n, held in (("rest", "kcoil"), ("on", "kcoil kcontact" if told_apart else "kcoil"))
    )
    body = (
        f'{inside}<HousingComponent id="kh">{tag("Identification", "h")}{cavities}</HousingComponent>{states}'
    )
    made.masters.append(specification("RelaySpecification", "ks", body))
    held = "".join(
        f'<CavityReference id="K1.{n}">{tag("ReferencedCavity", f"X.{n}.m")}</CavityReference>'
        for n in "1234"
    )
    pins = "".join(
        f'<PinComponentRef id="K1.p{n}">{tag("PinComponent", f"p{n}")}</PinComponentRef>' for n in "1234"
    )
    role = (
        f'<Role xsi:type="vec:RelayRole" id="K1.r">{tag("Identification", "K1")}'
        f'{tag("EEComponentSpecification", "ks")}<HousingComponentRef id="K1.h">'
        f'{tag("HousingComponent", "kh")}<ConnectorHousingRole id="K1.hr">{tag("Identification", "K1")}'
        f"{tag('ConnectorHousingSpecification', 'X.m')}"
        f'<SlotReference xsi:type="vec:SlotReference" id="K1.slot">{tag("ReferencedSlot", "X.slot.m")}{held}'
        f"</SlotReference></ConnectorHousingRole>{pins}</HousingComponentRef></Role>"
    )
    made.component("K1", role)
    coupling = (
        f'<CouplingPoint id="cp">{tag("FirstConnector", "X.role")}{tag("SecondConnector", "K1.hr")}'
        f'<SlotCoupling id="sc">{tag("FirstSlot", "X.slot")}{tag("SecondSlot", "K1.slot")}</SlotCoupling>'
        "</CouplingPoint>"
    )
    made.more.append(specification("CouplingSpecification", "cs", coupling))
    found = read(tmp_path, made)
    if told_apart:
        (relay,) = found.loom.components
        assert relay.kind is ComponentKind.RELAY
        assert {pin: str(end) for pin, end in relay.terminals} == {
            "1": "X:1",
            "2": "X:2",
            "85": "X:3",
            "86": "X:4",
        }
    else:
        assert found.loom.left_out == ("part K1: the file does not say which legs are the coil",)


def test_a_connector_of_inserts_alone_is_no_connector(tmp_path: Path) -> None:
    made = plugs()
    made.cable("C", [wire("W1", "A.1", "B.1")])
    made.masters.append(
        specification(
            "ConnectorHousingSpecification",
            "mod.m",
            f'{tag("DescribedPart", "A.p")}<Slot xsi:type="vec:ModularSlot" id="mod.s.m">'
            f"{tag('SlotNumber', '1')}</Slot>",
        )
    )
    made.component(
        "MOD",
        f'<Role xsi:type="vec:ConnectorHousingRole" id="mod.r">{tag("Identification", "MOD")}'
        f"{tag('ConnectorHousingSpecification', 'mod.m')}"
        f'<SlotReference xsi:type="vec:ModularSlotReference" id="mod.s">{tag("Identification", "s")}'
        f"{tag('ReferencedSlot', 'mod.s.m')}</SlotReference></Role>",
    )
    found = read(tmp_path, made)
    assert "schema" not in told(found)
    assert "MOD" not in found.loom.by_name
    assert "the modular slots of MOD are left out" in told(found)


def test_the_root_of_a_file_says_what_it_is(tmp_path: Path) -> None:
    made = plugs()
    made.cable("C", [wire("W1", "A.1", "B.1")])
    start, rest = made.bytes().split(b"<vec:", 1)
    content = start + b"<!--" + b"x" * 9000 + b"--><vec:" + rest
    for name in ("loom.kbl", "loom.xml", "loom.vec"):
        (tmp_path / name).write_bytes(content)
        assert nets(load(tmp_path / name).loom) == [{"A:1", "B:1"}, {"A:2"}, {"B:2"}]
    wrong = '<?xml version="1.0" encoding="UTF-8"?>' + content.decode()
    (tmp_path / "loom.xml").write_bytes(wrong.encode("utf-16"))
    assert load(tmp_path / "loom.xml").loom.wire_by_name.keys() == {"W1"}
    (tmp_path / "kbl.vec").write_bytes(t.file("", ""))
    with pytest.raises(DescriptionError, match="no connector"):
        load(tmp_path / "kbl.vec")


def test_one_of_several_harnesses_can_be_asked_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    made = plugs()
    made.cable("C", [wire("W1", "A.1", "B.1")])
    content = made.bytes().decode()
    at = content.index('<DocumentVersion id="harness"')
    doc = content[at : content.index("<PartVersion id")]
    second = re.sub(r'id="([^"]+)"', r'id="z\1"', doc).replace("LOOM-1", "LOOM-2")
    (tmp_path / "two.vec").write_text(content[:at] + second + content[at:])
    assert run(["import", str(tmp_path / "two.vec"), "--to", str(tmp_path / "loom")]) == 2
    assert "loomproof import --harness NAME makes a loom of one" in capsys.readouterr().err
    told_which = ["--harness", "LOOM-1"]
    assert run(["import", str(tmp_path / "two.vec"), "--to", str(tmp_path / "loom"), *told_which]) == 0
    assert load(tmp_path / "loom").loom.wire_by_name.keys() == {"W1"}


def variants(second: str) -> str:
    listed = (("v1", ""), ("v2", second))
    return specification(
        "VariantConfigurationSpecification",
        "vs",
        "".join(
            f'<VariantConfiguration id="{own}">{tag("Identification", own.upper())}{more}'
            "</VariantConfiguration>"
            for own, more in listed
        ),
    )


@pytest.mark.parametrize(("based", "both"), [(tag("BaseInclusion", "v1"), True), ("", False)])
def test_a_configuration_has_what_its_base_has(tmp_path: Path, based: str, both: bool) -> None:
    made = plugs()
    made.cable("C1", [wire("W1", "A.1", "B.1")], config="v1")
    made.cable("C2", [wire("W2", "A.2", "B.2")], config="v2")
    made.more.append(variants(based))
    loom = read(tmp_path, made, configuration="V2").loom
    assert loom.wire_by_name.keys() == ({"W1", "W2"} if both else {"W2"})


def test_a_configuration_chooses_the_connections_of_a_schematic(tmp_path: Path) -> None:
    made = Vec()
    drawn = node("M1") + node("M2") + connection("7", "M1.1", "M2.1") + connection("8", "M1.2", "M2.2")
    made.more.append(specification("ConnectionSpecification", "con", drawn))
    made.more.append(variants(""))
    old = '<Connection id="con8">'
    found = changed(tmp_path, made, (old, old + tag("ConfigInfo", "v2")), configuration="V1")
    assert [one.name for one in found.loom.wires] == ["7"]


def test_an_alternative_of_a_component_is_left_out_and_told(tmp_path: Path) -> None:
    made = plugs()
    made.housing("X", "1", "2")
    made.cable("C", [wire("W1", "A.1", "B.1")])
    part = "</Role><Part>X.p</Part>"
    second = tag("IsSecondaryAlternative", "true")
    found = changed(tmp_path, made, (part, f"</Role>{second}<Part>X.p</Part>"))
    assert "schema" not in told(found)
    assert [one.name for one in found.loom.connectors] == ["A", "B"]
    assert "components that are alternatives of others, left out (1): X" in told(found)


def test_a_connector_of_another_document_is_there_where_a_wire_is_in_it(tmp_path: Path) -> None:
    made = plugs("A", "B", "X")
    made.cable("C", [wire("W1", "A.1", "B.1")])
    content = made.bytes().decode()
    listed = re.findall(r'<Component id="[BX]\.c">.*?</Component>', content)
    assert len(listed) == 2
    for one in listed:
        content = content.replace(one, "")
    other = (
        f'<DocumentVersion id="other">{tag("CompanyName", "Tern")}{tag("DocumentNumber", "PLUGS")}'
        f"{tag('DocumentVersion', '1')}{specification('CompositionSpecification', 'oc', ''.join(listed))}"
        "</DocumentVersion>"
    )
    at = content.index('<DocumentVersion id="harness"')
    (tmp_path / "two.vec").write_text(content[:at] + other + content[at:])
    loom = load(tmp_path / "two.vec").loom
    assert [one.name for one in loom.connectors] == ["A", "B"]
    assert {"A:1", "B:1"} in nets(loom)
